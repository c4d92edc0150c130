"""JSON lines (.jsonl, .ndjson): one object a line, as programs and phones write their logs."""

import json
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from etl.sources.cells import text_of
from etl.sources.decode import text_of as text_of_file
from etl.sources.rows import Rows
from sewermap.errors import SourceError

SUFFIXES = (".jsonl", ".ndjson")

_NO_OBJECT = 'is no JSON object such as {"run": "R1", "reading": 31.5}'
_NESTED = "holds a list or an object, which no cell can; write each value under a name of its own"
_TWICE = "names one thing twice"


def read_json_lines(path: Path, encoding: str | None = None) -> Rows:
    """The objects of a file as rows of text, each counted by its line from 1; blank lines are no rows.

    A line that is no object, that holds lists or objects in its turn, or that names a thing twice, is broken and the others are
    read. Numbers are told as they are written. Raises SourceError for a file that cannot be read, and for one without any object.
    """
    rows: list[dict[str, str]] = []
    numbers: list[int] = []
    broken: list[tuple[int, str, str, str]] = []
    for number, line in enumerate(text_of_file(path, encoding).splitlines(), start=1):
        if not line.strip():
            continue
        try:
            told = json.loads(line, object_pairs_hook=_once, parse_float=_Number, parse_int=_Number, parse_constant=_Number)
        except ValueError as error:
            broken.append((number, "", line[:80], _TWICE if isinstance(error, _TwiceError) else _NO_OBJECT))
            continue
        nested = [name for name, value in told.items() if isinstance(value, (dict, list))] if isinstance(told, dict) else []
        if not isinstance(told, dict):
            broken.append((number, "", line[:80], _NO_OBJECT))
        elif nested:
            broken.append((number, nested[0], str(told[nested[0]])[:80], _NESTED))
        else:
            rows.append({name.strip(): text_of(value) for name, value in told.items()})
            numbers.append(number)
    if not rows and not broken:
        raise SourceError(f"{path.name} is empty; each of its lines must be a JSON object")
    cells = pd.DataFrame(rows, index=pd.RangeIndex(len(rows))).astype("str")
    table = pd.DataFrame(broken, columns=["row", "field", "value", "reason"])
    types = {"row": "int64", "field": "str", "value": "str", "reason": "str"}
    return Rows(cells.mask(cells == ""), np.array(numbers, dtype=np.int64), table.astype(types))


class _Number(str):
    """A number as it was written: 31.50 keeps its nought."""

    __slots__ = ()


class _TwiceError(ValueError):
    """An object names one thing twice."""


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    told = dict(pairs)
    if len(told) < len(pairs):
        raise _TwiceError
    return told
