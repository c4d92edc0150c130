"""Sheets of a workbook that no section reads: somebody may have filled them, so they are told."""

from collections.abc import Iterable

import numpy as np
import pandas as pd

from etl.plan import Plan
from etl.problems import Problems
from etl.sources import other_sheets
from etl.sources.cells import letters
from etl.sources.grid import Grid
from etl.template.words import NOT_LOADED, SHEETS

_SHOWN = 20


def tell_unread(plan: Plan, read: Iterable[tuple[str, str]], problems: Problems) -> None:
    """One warning for each filled sheet that is not among ``read`` (file and sheet, as they were read).

    Sheets of our own workbook that explain and hold no rows are left out.
    """
    by_file: dict[str, set[str]] = {}
    for file, sheet in read:
        by_file.setdefault(file, set(NOT_LOADED)).add(sheet)
    for file, known in sorted(by_file.items()):
        for grid in other_sheets(plan.folder / file, known):
            if grid.sheet in SHEETS and max(grid.row) == 1:
                continue  # nobody has written below the headings of this sheet of our workbook
            problems.add_aside("", file, _line(grid))


def _line(grid: Grid) -> pd.DataFrame:
    cells = zip(grid.column[:_SHOWN], grid.row, grid.text, strict=False)
    shown = ", ".join(f"{letters(column)}{row} '{text}'" for column, row, text in cells)
    more = f" and {len(grid.text) - _SHOWN} more" if len(grid.text) > _SHOWN else ""
    reason = f'no section reads sheet {grid.sheet}, so it is not loaded (layer = "{grid.sheet}" would): {shown}{more}'
    line = {"row": np.array(grid.row[:1], dtype=np.int64), "field": [""], "value": grid.text[:1], "reason": [reason]}
    return pd.DataFrame(line).astype({"field": "str", "value": "str", "reason": "str"})
