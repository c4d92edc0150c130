"""Workbooks of the OpenDocument format (.ods, ISO/IEC 26300): one sheet as rows, through odfpy."""

import datetime as dt
import zipfile
from collections.abc import Iterator
from collections.abc import Set as AbstractSet
from pathlib import Path
from typing import Any
from xml.parsers.expat import ExpatError
from xml.sax import SAXException

from odf import opendocument, table, teletype
from odf.namespaces import OFFICENS, TABLENS, TEXTNS

from etl.sources.cells import text_of
from etl.sources.grid import Grid, rows_of
from etl.sources.rows import Rows
from etl.sources.workbook import sheet_named
from sewermap.errors import SourceError

SUFFIXES = (".ods",)

_NUMBERS = ("float", "percentage", "currency")
_UNREADABLE = (OSError, ValueError, KeyError, TypeError, AttributeError, zipfile.BadZipFile, ExpatError, SAXException)


def read_ods(path: Path, sheet: str | None = None) -> Rows:
    """The rows of one sheet as text, as ``etl.sources.workbook.read_workbook`` gives those of the other format.

    Raises SourceError for a file that is no such workbook, and for a sheet that is not there or not said.
    """
    sheets = _sheets(path)
    name = sheet_named(list(sheets), sheet, path.name)
    return rows_of(_grid(sheets[name], name), path.name)


def filled_ods_sheets(path: Path, known: AbstractSet[str]) -> list[Grid]:
    """The filled cells of all sheets but the known ones; sheets without any are left out. Raises SourceError."""
    grids = [_grid(one, name) for name, one in _sheets(path).items() if name not in known]
    return [grid for grid in grids if grid.text]


def _sheets(path: Path) -> dict[str, Any]:
    try:
        document = opendocument.load(path)
        return {one.getAttrNS(TABLENS, "name"): one for one in document.spreadsheet.getElementsByType(table.Table)}
    except _UNREADABLE as error:
        told = str(error).splitlines()[0] if str(error) else type(error).__name__
        raise SourceError(f"{path.name} cannot be read as a workbook: {told.rstrip('.')}") from None


def _grid(sheet: Any, name: str) -> Grid:
    """The cells of a sheet. A row or cell may stand for many equal ones: empty ones, up to the end of the sheet, cost nothing."""
    grid, row = Grid(name), 0
    for element in sheet.getElementsByType(table.TableRow):
        times = _times(element, "number-rows-repeated")
        filled = [cell for cell in _cells(element) if cell[1]]
        for at in range(row + 1, row + times + 1) if filled else ():
            for column, told, area in filled:
                grid.add(at, column, told)
                if area != (1, 1):
                    grid.merged.append((at, column, at + area[0] - 1, column + area[1] - 1))
        row += times
    return grid


def _cells(row: Any) -> Iterator[tuple[int, str, tuple[int, int]]]:
    """Column (from 1), text, and how many rows and columns it covers, of each cell of a row that holds anything."""
    column = 0
    for cell in row.childNodes:
        if cell.qname not in {(TABLENS, "table-cell"), (TABLENS, "covered-table-cell")}:
            continue
        times = _times(cell, "number-columns-repeated")
        told = _told(cell)
        for at in range(column + 1, column + times + 1) if told else ():
            yield at, told, (_times(cell, "number-rows-spanned"), _times(cell, "number-columns-spanned"))
        column += times


def _times(element: Any, name: str) -> int:
    return int(element.attributes.get((TABLENS, name), 1))


def _told(cell: Any) -> str:
    """The text of a cell by its type; a formula's result has one as any other value."""
    told = {
        name: cell.attributes.get((OFFICENS, name))
        for name in ("value-type", "value", "date-value", "time-value", "boolean-value")
    }
    # only the paragraphs of the cell itself: a comment or a shape on it has paragraphs of its own
    shown = "\n".join(teletype.extractText(one) for one in cell.childNodes if one.qname == (TEXTNS, "p")).strip()
    kind = told["value-type"]
    if kind in _NUMBERS and told["value"] is not None:
        return text_of(float(told["value"]), "0%" if kind == "percentage" else "")
    if kind == "boolean" and told["boolean-value"] is not None:
        return text_of(told["boolean-value"] == "true")
    if kind == "date" and told["date-value"] is not None:
        return text_of(_moment(told["date-value"]))
    return shown


def _moment(value: str) -> dt.datetime | str:
    try:
        return dt.datetime.fromisoformat(value)
    except ValueError:
        return value
