"""Reading: a path (or a PostGIS table) to rows that know their file and line."""

from pathlib import Path

from etl.sources.layers import read_layer
from etl.sources.rows import Rows
from etl.sources.sheets import SUFFIXES, WORKBOOKS, read_sheet
from sewermap.errors import SourceError

__all__ = ["read_file"]


def read_file(path: Path, *, layer: str | None = None, encoding: str | None = None, separator: str | None = None) -> Rows:
    """The rows of a file: a sheet by its suffix (.csv, .txt, .tsv), else one of its layers.

    Raises SourceError for what cannot be read, and for a workbook.
    """
    suffix = path.suffix.casefold()
    if suffix in WORKBOOKS:
        raise SourceError(f"{path.name} is a workbook; save each of its sheets as CSV and name that")
    if suffix in SUFFIXES:
        return read_sheet(path, encoding, separator)
    return read_layer(path, layer)
