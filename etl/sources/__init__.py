"""Reading: a path (or a PostGIS table) to rows that know their file and line."""

from collections.abc import Set as AbstractSet
from pathlib import Path

from etl.sources.exchange import SUFFIXES as EXCHANGE
from etl.sources.exchange import read_exchange
from etl.sources.grid import Grid
from etl.sources.layers import read_layer
from etl.sources.rows import Rows
from etl.sources.sheets import SUFFIXES, WORKBOOKS, read_sheet
from etl.sources.workbook import SUFFIXES as OPEN_WORKBOOKS
from etl.sources.workbook import filled_sheets, read_workbook
from sewermap.errors import SourceError

__all__ = ["other_sheets", "read_file"]


def read_file(path: Path, *, layer: str | None = None, encoding: str | None = None, separator: str | None = None) -> Rows:
    """The rows of a file, by its suffix: a sheet (.csv, .txt, .tsv), a workbook's (.xlsx, .xlsm), else one of its layers.

    ``layer`` names the sheet of a workbook. Raises SourceError for what cannot be read, and for workbooks of other formats.
    """
    suffix = path.suffix.casefold()
    if suffix in EXCHANGE:
        return read_exchange(path, layer)
    if suffix in OPEN_WORKBOOKS:
        return read_workbook(path, layer)
    if suffix in WORKBOOKS:
        raise SourceError(f"{path.name} is a workbook; save each of its sheets as CSV and name that")
    if suffix in SUFFIXES:
        return read_sheet(path, encoding, separator)
    return read_layer(path, layer)


def other_sheets(path: Path, known: AbstractSet[str]) -> list[Grid]:
    """The filled sheets of a workbook but the known ones; none for any other file. Raises SourceError as ``read_file`` does."""
    if path.suffix.casefold() in OPEN_WORKBOOKS:
        return filled_sheets(path, known)
    return []
