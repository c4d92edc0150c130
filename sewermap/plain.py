"""Answers as plain values: what JSON, CSV and GeoJSON writers take; and the one way in which a CSV is written.

No cell of a CSV of ours runs as a formula in a spreadsheet, and nothing is lost: a text that a spreadsheet would run (it begins
with ``=``, ``+``, ``-``, ``@``, a tab or a line end, and is no plain number) gets an apostrophe in front, and so does one that
begins with an apostrophe already. Numbers stay numbers. Common practice, no source. Loading takes the apostrophe off again.

>>> shielded("=1+1"), shielded("-3.2"), shielded("- see film"), shielded("'=1"), shielded("'tis")
("'=1+1", '-3.2', "'- see film", "''=1", "'tis")
>>> as_written("'=1+1"), as_written("-3.2"), as_written("''=1"), as_written("'tis")
('=1+1', '-3.2', "'=1", "'tis")
"""

import csv
import re
from typing import Any

import pandas as pd

WHOLE = frozenset(
    (
        "grade", "crew_grade", "own_grade", "worst_grade", "source_row", "row", "times_seen", "days_after_work", "fixes",
        "set_aside", "issues", "repeats", "runs", "days_left", "open_issues", "check_lead", "cure", "stop", "due",
    )
)  # fmt: skip
"""Columns of whole numbers, whichever way they travelled."""

_RUNS = re.compile(r"'*(?:\s*[=+\-@\uff1d\uff0b\uff0d\uff20]|[\t\r\n\v\f\0])")
"""What a spreadsheet may run. Apostrophes before it count, so that what is shielded twice can be told from once."""

_CRLF = "\r\n"
_NUMBER = re.compile(r"[+-]?[0-9]+(?:[.,][0-9]+)?")


def shielded(text: str) -> str:
    """A cell's text so that no spreadsheet runs it."""
    return f"'{text}" if _RUNS.match(text) and not _NUMBER.fullmatch(text) else text


def as_written(text: str) -> str:
    """What a shielded cell's text was. A text that no shield can have made stays as it is."""
    bare = text.removeprefix("'")
    return bare if shielded(bare) == text else text


def csv_text(frame: pd.DataFrame, end: str = "\n") -> str:
    """A frame as CSV: plain values, texts shielded, empty where missing; lines end with ``end``.

    A cell that holds a separator, a quotation mark or any line end, a lone CR too, is quoted (RFC 4180).
    """
    cells = plain(frame)
    by_column = [[shielded(value) if isinstance(value, str) else value for value in cells[name]] for name in cells.columns]
    lines = _Lines(end)
    writer = csv.writer(lines, lineterminator=_CRLF)
    writer.writerow(cells.columns)
    writer.writerows(zip(*by_column, strict=True))
    return "".join(lines.told)


class _Lines:
    """Keeps each line that the csv module writes. The module quotes the signs of its own line end: it is given both."""

    def __init__(self, end: str) -> None:
        self.end = end
        self.told: list[str] = []

    def write(self, line: str) -> int:
        """Keep a line, and say how much was taken."""
        self.told.append(line.removesuffix(_CRLF) + self.end)
        return len(line)


def plain(frame: pd.DataFrame) -> pd.DataFrame:
    """The frame with days as YYYY-MM-DD texts, whole grades and rows, no geometry, and None for what is missing."""
    columns = typed(frame)
    return pd.DataFrame({name: _plain_column(columns[name]) for name in columns.columns}, index=frame.index, dtype=object)


def records(frame: pd.DataFrame) -> list[dict[str, Any]]:
    """Rows as dictionaries of plain values."""
    return [dict(zip(frame.columns.drop("geometry", errors="ignore"), row, strict=True)) for row in plain(frame).to_numpy(object)]


def typed(frame: pd.DataFrame) -> pd.DataFrame:
    """The frame without its geometry, days as YYYY-MM-DD texts and whole numbers as such; columns keep a type of their own."""
    names = frame.columns.drop("geometry", errors="ignore")
    return pd.DataFrame({name: _typed_column(frame[name]) for name in names}, frame.index)


def _typed_column(column: pd.Series) -> pd.Series:
    days: pd.Series = column
    if pd.api.types.is_datetime64_any_dtype(column.dtype):
        days = column.dt.strftime("%Y-%m-%d")
    if column.name in WHOLE:
        return pd.to_numeric(column).astype("Int64")
    return days


def _plain_column(column: pd.Series) -> pd.Series:
    values = column.astype(object).to_numpy(dtype=object, copy=True)
    values[column.isna().to_numpy()] = None
    # Without a dtype, pandas would make a text column of it again, in which None is NaN.
    return pd.Series([getattr(value, "item", lambda value=value: value)() for value in values], column.index, dtype=object)
