"""Reading: a path (or a PostGIS table) to rows that know their file and line."""

from collections.abc import Callable
from collections.abc import Set as AbstractSet
from pathlib import Path

from etl.sources.exchange import SUFFIXES as EXCHANGE
from etl.sources.exchange import read_exchange
from etl.sources.grid import Grid
from etl.sources.jsonl import SUFFIXES as JSON_LINES
from etl.sources.jsonl import read_json_lines
from etl.sources.layers import read_layer
from etl.sources.ods import SUFFIXES as ODS
from etl.sources.ods import filled_ods_sheets, read_ods
from etl.sources.parquet import SUFFIXES as PARQUET
from etl.sources.parquet import has_geometry, read_parquet
from etl.sources.rows import Rows
from etl.sources.sheets import OLD_WORKBOOKS, SUFFIXES, read_sheet
from etl.sources.workbook import SUFFIXES as OPEN_WORKBOOKS
from etl.sources.workbook import filled_sheets, read_workbook
from sewermap.errors import SourceError

__all__ = ["other_sheets", "read_file"]


def read_file(path: Path, *, layer: str | None = None, encoding: str | None = None, separator: str | None = None) -> Rows:
    """The rows of a file, by its suffix: a sheet (.csv, .txt, .tsv), a workbook's (.xlsx, .xlsm, .ods), JSON lines, Parquet, the
    exchange form (.xml), else one of its layers.

    ``layer`` names the sheet of a workbook. Raises SourceError for what cannot be read, and for workbooks of old formats.
    """
    suffix = path.suffix.casefold()
    if suffix in OLD_WORKBOOKS:
        raise SourceError(f"{path.name} is a workbook of an old format; save it as .xlsx or .ods, or its sheets as CSV")
    if suffix in PARQUET and has_geometry(path):
        return read_layer(path, layer)
    readers: dict[tuple[str, ...], Callable[[], Rows]] = {
        EXCHANGE: lambda: read_exchange(path, layer),
        OPEN_WORKBOOKS: lambda: read_workbook(path, layer),
        ODS: lambda: read_ods(path, layer),
        JSON_LINES: lambda: read_json_lines(path, encoding),
        PARQUET: lambda: read_parquet(path),
        SUFFIXES: lambda: read_sheet(path, encoding, separator),
    }
    found = [read for suffixes, read in readers.items() if suffix in suffixes]
    return found[0]() if found else read_layer(path, layer)


def other_sheets(path: Path, known: AbstractSet[str]) -> list[Grid]:
    """The filled sheets of a workbook but the known ones; none for any other file. Raises SourceError as ``read_file`` does."""
    if path.suffix.casefold() in OPEN_WORKBOOKS:
        return filled_sheets(path, known)
    if path.suffix.casefold() in ODS:
        return filled_ods_sheets(path, known)
    return []
