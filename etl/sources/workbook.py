"""Workbooks of the format .xlsx (and .xlsm, whose macros are left alone): one sheet as rows, through openpyxl."""

import re
import warnings
import zipfile
from collections.abc import Iterator
from collections.abc import Set as AbstractSet
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import openpyxl
from openpyxl.reader.excel import ExcelReader
from openpyxl.utils import range_boundaries
from openpyxl.utils.exceptions import InvalidFileException

from etl.sources.cells import text_of
from etl.sources.grid import Grid, rows_of
from etl.sources.rows import Rows
from etl.vocabulary import near, plain
from sewermap.errors import SourceError

SUFFIXES = (".xlsx", ".xlsm")

_MERGED = re.compile(rb"<(?:\w+:)?mergeCell\b[^>]*?\bref=\"([A-Z]+[0-9]+:[A-Z]+[0-9]+)\"")
_FORMULA = re.compile(rb"<(?:\w+:)?f[ >/]")
_UNREADABLE = (
    OSError, ValueError, KeyError, TypeError, AttributeError, IndexError, SyntaxError, zipfile.BadZipFile, InvalidFileException
)  # fmt: skip
"""What openpyxl raises for a file that is no workbook, or a spoilt one (its XML parser's error is a SyntaxError)."""


def read_workbook(path: Path, sheet: str | None = None) -> Rows:
    """The rows of one sheet as text, see ``etl.sources.grid``; row numbers are the sheet's.

    Values are read, not formulas; a formula whose result was never saved, and an error, are ``spoilt``. Hidden sheets, rows
    and columns are read as any other. ``sheet`` may be left out where there is one only, and is found without regard to case
    and blanks. Raises SourceError for a file that is no workbook, and for a sheet that is not there or not said.
    """
    with _opened(path) as book:
        grid = _grid(path, book, sheet_named(book.names, sheet, path.name))
    return rows_of(grid, path.name)


def filled_sheets(path: Path, known: AbstractSet[str]) -> list[Grid]:
    """The filled cells of all sheets but the known ones; sheets without any are left out. Raises SourceError."""
    with _opened(path) as book:
        grids = [_grid(path, book, name) for name in book.names if name not in known]
    return [grid for grid in grids if grid.text]


def sheet_named(names: list[str], wanted: str | None, file: str) -> str:
    """Which of a workbook's sheets is meant. Raises SourceError where it is not said or not there.

    >>> sheet_named(["read me", "Runs "], "runs", "log.xlsx")
    'Runs '
    """
    has = f"{file} has the sheets {', '.join(names)}" if names else f"{file} has no sheet"
    if wanted is None:
        if len(names) == 1:
            return names[0]
        raise SourceError(f'{has}; say which one by layer = "…" in its section')
    if wanted in names:
        return wanted
    alike = [name for name in names if plain(name) == plain(wanted)]
    if len(alike) == 1:
        return alike[0]
    raise SourceError(f"{has}, and no sheet {wanted}; {near(wanted, names)}")


@dataclass(frozen=True)
class _Book:
    """An opened workbook: its names of sheets, and the part of the file that holds each."""

    reader: ExcelReader
    names: list[str]
    parts: dict[str, str]


@contextmanager
def _opened(path: Path) -> Iterator[_Book]:
    """A workbook, closed again at the end. Raises SourceError for what openpyxl cannot read, also while it is open."""
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", module="openpyxl")  # of what it cannot keep when writing; we only read
        try:
            reader = ExcelReader(path, read_only=True, data_only=True, keep_links=False)
            reader.read()
            parts = {one.name: rel.target for one, rel in reader.parser.find_sheets()}
            try:
                yield _Book(reader, [one.title for one in reader.wb.worksheets], parts)
            finally:
                reader.wb.close()
        except _UNREADABLE as error:
            raise SourceError(f"{path.name} cannot be read as a workbook: {_sentence(error)}") from None


def _grid(path: Path, book: _Book, name: str) -> Grid:
    xml = book.reader.archive.read(book.parts[name])
    grid = Grid(name, merged=[_area(ref.decode()) for ref in _MERGED.findall(xml)])
    for cell in _cells(book.reader.wb[name]):
        number_format = cell.number_format if isinstance(cell.value, float | int) else ""
        grid.add(cell.row, cell.column, text_of(cell.value, number_format))
    if _FORMULA.search(xml):
        _add_formulas(path, grid)
    return grid


def _add_formulas(path: Path, grid: Grid) -> None:
    """Take formulas that have no result. They count as filled: somebody wrote them."""
    has_result = set(zip(grid.row, grid.column, strict=True))
    book = openpyxl.load_workbook(path, read_only=True, data_only=False, keep_links=False)
    try:
        for cell in _cells(book[grid.sheet]):
            place = (cell.row, cell.column)
            if cell.data_type == "f" and place not in has_result:
                grid.add(*place, str(getattr(cell.value, "text", cell.value)))
                grid.no_value[place] = "holds a formula whose result was never saved; open the workbook and save it"
    finally:
        book.close()


def _cells(sheet: Any) -> Any:
    """The filled cells of a sheet, row by row. What the file says of its own size is often wrong, and is not believed."""
    sheet.reset_dimensions()
    return (cell for row in sheet.iter_rows() for cell in row if cell.value is not None)


def _area(ref: str) -> tuple[int, int, int, int]:
    left, top, right, bottom = range_boundaries(ref)
    return int(top or 0), int(left or 0), int(bottom or 0), int(right or 0)


def _sentence(error: Exception) -> str:
    return str(error).splitlines()[0].rstrip(".") if str(error) else type(error).__name__
