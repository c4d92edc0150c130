"""JSON lines (.jsonl, .ndjson): one object a line, as programs and phones write their logs."""

import json
import re
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
_HALF = r"holds half a character (\ud800 to \udfff alone), which is no text"

_LINE_END = re.compile(r"\r\n|\n|\r")
"""No other sign ends a line: a text in JSON may hold those that ``str.splitlines`` also breaks at (RFC 8259, section 7)."""


def read_json_lines(path: Path, encoding: str | None = None) -> Rows:
    """The objects of a file as rows of text, each counted by its line from 1; blank lines are no rows.

    A line that is no object, that holds lists or objects in its turn, or that names a thing twice, is broken and the others are
    read. Numbers are told as they are written. Raises SourceError for a file that cannot be read, and for one without any object.
    """
    rows: list[dict[str, str]] = []
    numbers: list[int] = []
    broken: list[tuple[int, str, str, str]] = []
    for number, line in enumerate(_LINE_END.split(text_of_file(path, encoding)), start=1):
        if not line.strip():
            continue
        told = _parsed(line)
        if isinstance(told, dict):
            rows.append(told)
            numbers.append(number)
        else:
            broken.append((number, *told))
    if not rows and not broken:
        raise SourceError(f"{path.name} is empty; each of its lines must be a JSON object")
    cells = pd.DataFrame(rows, index=pd.RangeIndex(len(rows))).astype("str")
    table = pd.DataFrame(broken, columns=["row", "field", "value", "reason"])
    types = {"row": "int64", "field": "str", "value": "str", "reason": "str"}
    return Rows(cells.mask(cells == ""), np.array(numbers, dtype=np.int64), table.astype(types))


def _parsed(line: str) -> dict[str, str] | tuple[str, str, str]:
    """A line's values as text by their names; or, of a broken line, the field, its value and the reason."""
    try:
        told = json.loads(line, object_pairs_hook=_once, parse_float=_Number, parse_int=_Number, parse_constant=_constant)
        json.dumps(told, ensure_ascii=False).encode()
    except UnicodeEncodeError:
        return "", line[:80], _HALF
    except _TwiceError:
        return "", line[:80], _TWICE
    except (ValueError, RecursionError):
        return "", line[:80], _NO_OBJECT
    if not isinstance(told, dict):
        return "", line[:80], _NO_OBJECT
    nested = [name for name, value in told.items() if isinstance(value, (dict, list))]
    if nested:
        return nested[0], str(told[nested[0]])[:80], _NESTED
    return {name: text_of(value) for name, value in told.items()}


class _Number(str):
    """A number as it was written: 31.50 keeps its nought."""

    __slots__ = ()


class _TwiceError(ValueError):
    """An object names one thing twice."""


def _constant(told: str) -> _Number | None:
    """NaN, as programs write it for no value, is none; infinities are told as they are written."""
    return None if told == "NaN" else _Number(told)


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    told = {name.strip(): value for name, value in pairs}
    if len(told) < len(pairs):
        raise _TwiceError
    return told
