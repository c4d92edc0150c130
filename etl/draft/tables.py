"""The tables that a strange file holds: its sheets, its layers, or itself."""

from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import shapely

from etl.sources import other_sheets, read_file
from etl.sources.jsonl import SUFFIXES as JSON_LINES
from etl.sources.layers import layer_names
from etl.sources.ods import SUFFIXES as ODS
from etl.sources.parquet import SUFFIXES as PARQUET
from etl.sources.rows import Rows
from etl.sources.sheets import OLD_WORKBOOKS
from etl.sources.sheets import SUFFIXES as SHEETS
from etl.sources.workbook import SUFFIXES as WORKBOOKS
from sewermap.errors import SourceError

Drawn = Literal["lines", "areas", "points", "nothing"]

_DRAWN: dict[Drawn, tuple[shapely.GeometryType, ...]] = {
    "lines": (shapely.GeometryType.LINESTRING, shapely.GeometryType.MULTILINESTRING),
    "areas": (shapely.GeometryType.POLYGON, shapely.GeometryType.MULTIPOLYGON),
    "points": (shapely.GeometryType.POINT, shapely.GeometryType.MULTIPOINT),
}
_ONE_TABLE = (*SHEETS, *JSON_LINES, *PARQUET, *WORKBOOKS, *ODS, *OLD_WORKBOOKS)
"""Suffixes of files that hold no layers by name; an empty workbook has no sheet to offer either."""


@dataclass(frozen=True)
class Table:
    """One sheet or layer: ``layer`` is its name where the file has several, ``what`` names it for people."""

    layer: str | None
    what: str
    rows: Rows

    @property
    def drawn(self) -> Drawn:
        """Of what shape most of its geometries are."""
        if self.rows.geometry is None:
            return "nothing"
        types = shapely.get_type_id(self.rows.geometry)
        counts = {name: sum(int((types == one).sum()) for one in of) for name, of in _DRAWN.items()}
        return max(counts, key=lambda name: counts[name]) if any(counts.values()) else "nothing"


def tables_of(path: Path) -> tuple[list[Table], list[str]]:
    """The tables of a file, and what is to be said of those that cannot be read. Raises SourceError where none can."""
    names = [grid.sheet for grid in other_sheets(path, frozenset())]
    if not names and path.suffix.casefold() not in _ONE_TABLE:
        names = layer_names(path)
        names = names if len(names) > 1 else []
    if not names:
        return [Table(None, path.stem, read_file(path))], []
    tables, told = [], []
    for name in names:
        try:
            tables.append(Table(name, name, read_file(path, layer=name)))
        except SourceError as error:
            told.append(f"{name} cannot be read: {error}")
    if not tables:
        raise SourceError(told[0])
    return tables, told
