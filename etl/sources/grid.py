"""The filled cells of one sheet of a workbook, of whatever format, to rows: finds the heading, and loses no cell.

What stands above the heading or belongs to no column is told, never dropped.
"""

import re
from collections import Counter
from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from etl.problems import empty_broken
from etl.sources.cells import is_error, letters
from etl.sources.rows import Rows
from sewermap.errors import SourceError

_LOOKED_AT = 30
"""A heading stands among so many first rows that are not blank, or nowhere."""

_HAS_WORD = re.compile(r"[^\W\d_]")
_DAY = re.compile(r"\d{4}-\d{2}-\d{2}( .*)?")

Texts = NDArray[np.object_]


@dataclass
class Grid:
    """Cells one by one: ``row`` and ``column`` (both counted from 1) and ``text`` of each, as the reader met them.

    ``merged``: areas that are one cell, as first row, first column, last row, last column. ``no_value``: cells (row, column)
    that have none for a reason, told in a clause such as "holds a formula without a result"; their text is what they hold.
    """

    sheet: str
    row: list[int] = field(default_factory=list)
    column: list[int] = field(default_factory=list)
    text: list[str] = field(default_factory=list)
    merged: list[tuple[int, int, int, int]] = field(default_factory=list)
    no_value: dict[tuple[int, int], str] = field(default_factory=dict)

    def add(self, row: int, column: int, text: str) -> None:
        """Take a cell, unless it holds blanks only."""
        if text:
            self.row.append(row)
            self.column.append(column)
            self.text.append(text)


@dataclass
class _Table:
    """The grid as a matrix of its used rows and columns; empty cells are empty texts."""

    rows: NDArray[np.int64]
    columns: NDArray[np.int64]
    texts: Texts


def rows_of(grid: Grid, file: str) -> Rows:
    """The rows below a sheet's heading. ``file`` is the workbook's name, for errors.

    The heading is the first row, of those that fill more than half as many cells as the fullest, whose cells are all words;
    blank rows are no rows. A cell merged over several rows stands for each of them that says anything else. Raises
    SourceError for a sheet without any cell, and for a column name that stands twice.
    """
    if not grid.text:
        raise SourceError(f"{file}, sheet {grid.sheet}, is empty; its first row must name the columns")
    table = _matrix(grid)
    head = _heading(table)
    names = _names(table, head, f"{file}, sheet {grid.sheet},")
    notes = _above(table, head) + _spread_merged(grid, table, head, names)
    body, rows = table.texts[head + 1 :], table.rows[head + 1 :]
    wrong = _wrong(grid, table, head, names)
    for at, column, *_ in wrong:
        body[at, column] = ""
    kept = np.flatnonzero(names != "")
    columns = {str(names[at]): _column(body[:, at]) for at in kept}
    return Rows(
        pd.DataFrame(columns, index=pd.RangeIndex(len(rows))),
        rows,
        empty_broken(),
        sheet=grid.sheet,
        letters={str(names[at]): letters(int(table.columns[at])) for at in kept},
        spoilt=_told([(int(rows[at]), str(names[column]), value, reason) for at, column, value, reason in wrong]),
        aside=_told(notes),
    )


def _matrix(grid: Grid) -> _Table:
    rows, at_row = np.unique(np.array(grid.row, dtype=np.int64), return_inverse=True)
    columns, at_column = np.unique(np.array(grid.column, dtype=np.int64), return_inverse=True)
    texts = np.full((len(rows), len(columns)), "", dtype=object)
    texts[at_row, at_column] = grid.text
    return _Table(rows, columns, texts)


def _heading(table: _Table) -> int:
    """The place of the heading among the rows that are not blank."""
    first = table.texts[:_LOOKED_AT]
    filled = np.count_nonzero(first != "", axis=1)
    likely = np.flatnonzero(2 * filled > filled.max())
    return next((int(at) for at in likely if all(_is_word(text) for text in first[at])), 0)


def _is_word(text: str) -> bool:
    return not text or (_HAS_WORD.search(text) is not None and _DAY.fullmatch(text) is None)


def _names(table: _Table, head: int, where: str) -> Texts:
    """The name of each used column; empty where nothing stands below the heading and in it."""
    below = (table.texts[head + 1 :] != "").any(axis=0)
    names = np.array([" ".join(text.split()) for text in table.texts[head]], dtype=object)
    unnamed = (names == "") & below
    names[unnamed] = [f"column {column}" for column in table.columns[unnamed]]
    twice = [name for name, count in Counter(names[names != ""]).items() if count > 1]
    if twice:
        raise SourceError(f"{where} has two columns named {' and two named '.join(twice)}; give each its own name")
    return names


def _above(table: _Table, head: int) -> list[tuple[int, str, str, str]]:
    """Cells above the heading: titles, mostly."""
    reason = f"stands above the heading, which is row {table.rows[head]}, and is not loaded"
    places = zip(*np.nonzero(table.texts[:head] != ""), strict=True)
    cells = [(int(table.rows[at]), int(table.columns[column]), str(table.texts[at, column])) for at, column in places]
    return [(row, "", text, f"cell {letters(column)}{row} {reason}") for row, column, text in cells]


def _spread_merged(grid: Grid, table: _Table, head: int, names: Texts) -> list[tuple[int, str, str, str]]:
    """Give the value of a cell that is merged over several rows to each of them that is not blank, and say so."""
    told = []
    for top, left, bottom, right in grid.merged:
        first = np.searchsorted(table.rows, top), np.searchsorted(table.columns, left)
        there = first[0] < len(table.rows) and first[1] < len(table.columns)
        if not there or (table.rows[first[0]], table.columns[first[1]]) != (top, left) or first[0] <= head or top == bottom:
            continue
        value = table.texts[first]
        under = np.flatnonzero((table.rows > top) & (table.rows <= bottom) & (table.texts[:, first[1]] == ""))
        table.texts[under, first[1]] = value
        area = f"{letters(left)}{top}:{letters(right)}{bottom}"
        rows = " and ".join(map(str, table.rows[under].tolist()))
        if value and rows:
            told.append((top, str(names[first[1]]), str(value), f"is merged over {area}, and stands for row {rows} too"))
    return told


def _wrong(grid: Grid, table: _Table, head: int, names: Texts) -> list[tuple[int, int, str, str]]:
    """Cells below the heading that hold no value: place in the body, place of the column, text, reason."""
    body = table.texts[head + 1 :]
    errors = [text for text in pd.unique(body.ravel()) if is_error(text)]
    found = [
        (int(at), int(column), "holds an error, so its value is not known") for at, column in np.argwhere(np.isin(body, errors))
    ]
    for (row, column), reason in grid.no_value.items():
        at, of_column = int(np.searchsorted(table.rows, row)) - head - 1, int(np.searchsorted(table.columns, column))
        if at >= 0 and names[of_column] != "":
            found.append((at, of_column, reason))
    return [(at, column, str(body[at, column]), reason) for at, column, reason in sorted(set(found))]


def _column(texts: Texts) -> "pd.Series[str]":
    column = pd.Series(texts, dtype="str")
    return column.mask(column == "")


def _told(rows: list[tuple[int, str, str, str]]) -> pd.DataFrame:
    if not rows:
        return empty_broken()
    row, column, value, reason = zip(*rows, strict=True)
    table = {"row": np.array(row, dtype=np.int64), "field": column, "value": value, "reason": reason}
    return pd.DataFrame(table).astype({"field": "str", "value": "str", "reason": "str"})
