"""The Python door to everything: open a database, ask it, load into it, show it.

>>> import tempfile, sewermap
>>> book = sewermap.create(tempfile.mkdtemp() + "/town.gpkg", "EPSG:26910")
>>> len(book.layer("laterals"))
0
"""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING, Any

import geopandas as gpd
import pandas as pd
import pyogrio
import sqlalchemy as sa
from pyogrio.errors import DataSourceError

from etl import people
from etl.load import LoadReport, load
from etl.recompute import recompute
from sewermap.answers import defects as defect_answer
from sewermap.answers.export import READY_LAYERS, default_tables, write
from sewermap.answers.history import history
from sewermap.answers.observed import as_layer, placed
from sewermap.answers.repeats import repeats
from sewermap.answers.streets import streets
from sewermap.answers.where import where
from sewermap.errors import SourceError, UnknownNameError
from sewermap.store import bulk, recorded, reference_system, session
from sewermap.store.check import check, mend
from sewermap.store.reference_system import crs_from_text, crs_name
from sewermap.store.tables import LAYERS, metadata
from sewermap.web.site import TownTables, build

if TYPE_CHECKING:
    from collections.abc import Callable

Where = str | os.PathLike[str]


class Book:
    """One open database. Every answer is a table (GeoDataFrame in the map's CRS) or a dictionary of plain values."""

    def __init__(self, store: session.Store) -> None:
        """Take an open store; use ``sewermap.open`` or ``sewermap.create``."""
        self.store = store

    @property
    def crs(self) -> str:
        """The map's CRS, like ``EPSG:26910``."""
        return crs_name(self.store.crs)

    def layer(self, name: str) -> gpd.GeoDataFrame | pd.DataFrame:
        """A table of the database by name: current rows, in a fixed order; with a geometry where the table has one.

        Raises UnknownNameError for a name that is no table.
        """
        if name == "placed_observations":
            return placed(self.store)
        table = metadata.tables.get(name)
        if table is None:
            raise UnknownNameError(f"there is no table '{name}'; tables are {', '.join(sorted(metadata.tables))}")
        return self._rows(table)

    def _rows(self, table: sa.Table) -> gpd.GeoDataFrame | pd.DataFrame:
        with self.store.reading() as conn:
            if "withdrawn_in" in table.c:
                rows = recorded.with_source(conn, table)
                rows = rows.drop(columns=["id", "content", "loaded_in", "withdrawn_in", "replaced_by"])
            else:
                rows = bulk.read(conn, sa.select(table)).drop(columns="id")
        by = [name for name in rows.columns if name != "geometry"]
        rows = rows.sort_values(by, kind="stable", ignore_index=True)
        return as_layer(rows, self.store) if table in LAYERS else rows

    def where(self, lateral: str, reading: str, run: str) -> dict[str, Any]:
        """Where on the ground a reading of a run is: see ``sewermap.answers.where``."""
        return where(self.store, lateral, reading, run)

    def history(self, lateral: str) -> dict[str, Any]:
        """All that is known of a lateral, in order of time: see ``sewermap.answers.history``."""
        return history(self.store, lateral)

    def defects(self, **filters: Any) -> gpd.GeoDataFrame:
        """Defects by street, kind, grade, since, until, side, state, area: see ``sewermap.answers.defects.Filters``."""
        return defect_answer.defects(self.store, defect_answer.Filters(**filters))

    def repeats(self) -> gpd.GeoDataFrame:
        """What came back after work: see ``sewermap.answers.repeats``."""
        return repeats(self.store)

    def streets(self) -> pd.DataFrame:
        """The roll-up by street: see ``sewermap.answers.streets``."""
        return streets(self.store)

    def join(self, issue: str, other: str, *, who: str, why: str) -> str:
        """A person's word that two issues are one: see ``etl.people``; returns the name it bears."""
        return people.join(self.store, issue, other, who=who, why=why)

    def split(self, issue: str, observation: str, *, who: str, why: str) -> str:
        """A person's word that an observation is none of an issue's; returns the name of the issue it stands for."""
        return people.split(self.store, issue, observation, who=who, why=why)

    def load(self, sources: Where, *, check: bool = False, progress: Callable[[str], None] | None = None) -> LoadReport:
        """Load what a SOURCES.toml names, whole or not at all; with ``check`` only say what would happen."""
        return load(self.store, Path(sources), check=check, progress=progress)

    def recompute(self) -> pd.DataFrame:
        """Build the computed tables again from what was recorded; returns the warnings."""
        with self.store.writing() as conn:
            return recompute(self.store, conn)

    def export(self, out: Where, table: str | None = None) -> list[str]:
        """Write tables to a file of the format its suffix names; returns their names. Raises SourceError."""
        out = Path(out)
        if out.exists() and not session.is_server(self.store.where) and out.samefile(self.store.where):
            raise SourceError(f"'{out}' is the database itself, and an export would replace all it holds: name another file")
        names = [table] if table else default_tables(out)
        write({name: self.answer(name) for name in names}, out)
        return names

    def answer(self, name: str) -> gpd.GeoDataFrame | pd.DataFrame:
        """An answer without filters (``defects``, ``repeats``) or a table, by name. ``streets`` is the layer."""
        answers = {"defects": self.defects, "repeats": self.repeats}
        return answers[name]() if name in answers else self.layer(name)

    def site(self, outdir: Where, *, title: str = "Laterals", units: str = "ft") -> list[Path]:
        """Build the offline web map as a folder; returns the files written, index.html first."""
        layers: dict[str, Any] = {name: self.layer(name) for name in READY_LAYERS}
        return build(TownTables(title=title, units=units, **layers), Path(outdir))

    def check(self, *, mends: bool = False) -> list[str]:
        """Faults of the database, each a sentence; with ``mends`` what can be mended is, and the rest is returned."""
        if mends:
            mend(self.store)
        return check(self.store)


def open_book(where: Where = "sewermap.gpkg", *, read_only: bool = False) -> Book:
    """Open a database: a GeoPackage's path or a postgresql:// address. Raises StoreError."""
    return Book(session.open_store(os.fspath(where), read_only=read_only))


def create_book(where: Where, crs: str | int) -> Book:
    """Create an empty database whose map is in a projected CRS, and open it. Raises StoreError."""
    session.create(os.fspath(where), crs_from_text(crs))
    return open_book(where)


def crs_like(layer_file: Where) -> str:
    """The CRS of a layer's file, as well-known text. Raises SourceError where the file cannot be read or says none."""
    try:
        crs = pyogrio.read_info(os.fspath(layer_file))["crs"]
    except DataSourceError as error:
        raise SourceError(f"'{layer_file}' cannot be read as a layer: {error}") from error
    if not crs:
        raise SourceError(f"'{layer_file}' does not say its CRS; name it by --crs EPSG:N")
    return str(crs)


def crs_near(longitude_latitude: str) -> str:
    """The UTM zone of a place given as ``LON,LAT``. Raises SourceError."""
    try:
        longitude, latitude = (float(part) for part in longitude_latitude.split(","))
    except ValueError as error:
        raise SourceError(f"'{longitude_latitude}' is no place; write LON,LAT like -122.03,36.97") from error
    return crs_name(reference_system.crs_near(longitude, latitude))


def read_area(layer_file: Where) -> gpd.GeoDataFrame:
    """The shapes of a layer's file, for ``defects(area=…)``. Raises SourceError."""
    try:
        area = gpd.read_file(os.fspath(layer_file), engine="pyogrio")
    except DataSourceError as error:
        raise SourceError(f"'{layer_file}' cannot be read as a layer: {error}") from error
    if area.crs is None or area.geometry.isna().all():
        raise SourceError(f"'{layer_file}' has no shapes or does not say their CRS")
    return area
