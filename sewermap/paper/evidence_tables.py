"""The tables of an evidence folder as CSV that a spreadsheet may open: no cell of it runs as a formula, and nothing is lost.

A text that a spreadsheet would run (it begins with ``=``, ``+``, ``-``, ``@``, a tab or a line end, and is no plain number) gets
an apostrophe in front, and so does one that begins with an apostrophe already: take one off any text that begins with one, and
what was written is there again. Common practice, no source. The program's other answers leave such texts as they are: they go
to programs, while this folder is sent to people who open it with a double click.

>>> shielded("=1+1"), shielded("-3.2"), shielded("- see film"), shielded("'tis")
("'=1+1", '-3.2', "'- see film", "''tis")
>>> as_written("'=1+1"), as_written("-3.2"), as_written("''tis")
('=1+1', '-3.2', "'tis")
"""

import re

import pandas as pd

from sewermap.plain import plain

_RUNS = re.compile(r"\s*[=+\-@\uff1d\uff0b\uff0d\uff20]|[\t\r\n\v\f\0]|'")
_NUMBER = re.compile(r"[+-]?[0-9]+(?:[.,][0-9]+)?")

HINT = (
    "In the .csv files a text that a spreadsheet might run as a formula has an apostrophe (') in front. Take one apostrophe off "
    "any text that begins with one: that is what was written."
)


def shielded(text: str) -> str:
    """A cell's text so that no spreadsheet runs it."""
    return f"'{text}" if _RUNS.match(text) and not _NUMBER.fullmatch(text) else text


def as_written(text: str) -> str:
    """What a shielded cell's text was."""
    return text.removeprefix("'")


def csv_bytes(rows: pd.DataFrame) -> bytes:
    """Rows as CSV in UTF-8, days as YYYY-MM-DD, empty where missing. Lines end in CRLF (RFC 4180), so that a cell that holds a CR
    or an LF is quoted.
    """
    cells = plain(rows)
    for name in cells.columns:
        cells[name] = pd.Series([shielded(value) if isinstance(value, str) else value for value in cells[name]], dtype=object)
    return cells.to_csv(index=False, lineterminator="\r\n").encode()
