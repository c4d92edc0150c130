"""Where a cell stands in a workbook: its sheet and its letter, told with every problem; and the cells that no field takes."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from etl.problems import empty_broken
from etl.sources.rows import Rows

_SHOWN = 20


@dataclass(frozen=True)
class CellNames:
    """The sheet that a section reads of one workbook, and the letter of each field's column."""

    sheet: str
    letters: Mapping[str, str]

    def told(self, problems: pd.DataFrame) -> pd.DataFrame:
        """Problems (columns row, field, value, reason …) whose reasons begin with sheet and cell.

        >>> names = CellNames("runs", {"unit": "D"})
        >>> names.told(pd.DataFrame({"row": [14], "field": ["unit"], "reason": ["'yd' is no unit"]}))["reason"].item()
        "sheet runs, cell D14: 'yd' is no unit"
        """
        letters = problems["field"].map(dict(self.letters)).astype("str")
        cells = (", cell " + letters + problems["row"].astype("str")).fillna("")
        return problems.assign(reason=f"sheet {self.sheet}" + cells + ": " + problems["reason"])


def cell_names(rows: Rows, columns: Mapping[str, str]) -> CellNames:
    """The names of the cells of a workbook's rows. ``columns``: by field, its column in the source."""
    return CellNames(rows.sheet or "", {field: rows.letters[column] for field, column in columns.items()})


def settled(rows: Rows, columns: Mapping[str, str]) -> Rows:
    """The rows of a workbook, told by fields: a row with a spoilt cell in a column of a field is broken, and what stands in
    other columns is told as ``aside``. ``columns``: by field, its column.
    """
    fields = {column: field for field, column in columns.items()}
    of_field = rows.spoilt["field"].map(fields).astype("str")
    matters = of_field.notna().to_numpy(bool)
    broken = rows.spoilt[matters].assign(field=of_field[matters])
    good = ~np.isin(rows.row, broken["row"])
    spoilt = rows.spoilt[~matters]
    others = [_told_column(rows, str(name), spoilt) for name in rows.cells.columns if name not in fields]
    aside = rows.aside.assign(field=rows.aside["field"].replace(fields))
    return replace(
        rows,
        cells=rows.cells[good].reset_index(drop=True),
        row=rows.row[good],
        broken=pd.concat([rows.broken, broken], ignore_index=True),
        spoilt=empty_broken(),
        aside=pd.concat([aside, *others], ignore_index=True),
    )


def _told_column(rows: Rows, column: str, spoilt: pd.DataFrame) -> pd.DataFrame:
    """One line for a column that no field takes: its cells, with what they hold."""
    cells = rows.cells[column].dropna()
    wrong = spoilt[spoilt["field"] == column]
    numbers = np.concatenate([rows.row[cells.index], wrong["row"].to_numpy(np.int64)])
    if not len(numbers):
        return empty_broken()
    values = [*cells, *wrong["value"]]
    letter = rows.letters[column]
    shown = [f"{letter}{row} '{value}'" for row, value in zip(numbers[:_SHOWN].tolist(), values, strict=False)]
    more = f" and {len(values) - _SHOWN} more" if len(values) > _SHOWN else ""
    reason = f"column {letter} is none of this section's fields, so it is not loaded: {', '.join(shown)}{more}"
    line = {"row": [int(numbers[0])], "field": [column], "value": [values[0]], "reason": [reason]}
    return pd.DataFrame(line).astype({"field": "str", "value": "str", "reason": "str"})
