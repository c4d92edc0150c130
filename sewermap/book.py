"""The Python door to everything: open a database, ask it, load into it, show it.

>>> import tempfile, sewermap
>>> book = sewermap.create(tempfile.mkdtemp() + "/town.gpkg", "EPSG:26910")
>>> len(book.layer("laterals"))
0
"""

from __future__ import annotations

import os
from datetime import date
from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING, Any

import geopandas as gpd
import pandas as pd
import pyogrio
import sqlalchemy as sa
from pyogrio.errors import DataSourceError

from etl import people
from etl.draft import draft as draft_of_table
from etl.draft_media import draft_of_stick
from etl.load import LoadReport, load
from etl.recompute import recompute
from etl.template import write_template
from etl.watch import Watched, watch
from sewermap.answers import defects as defect_answer
from sewermap.answers.checks_ahead import checks_ahead
from sewermap.answers.claims import claims
from sewermap.answers.dig import dig_facts, dig_facts_of
from sewermap.answers.due import due
from sewermap.answers.evidence import Evidence, evidence
from sewermap.answers.exchange import SUFFIX as EXCHANGE
from sewermap.answers.exchange import write_exchange
from sewermap.answers.export import default_tables, write
from sewermap.answers.history import history
from sewermap.answers.observed import as_layer, placed
from sewermap.answers.repeats import repeats
from sewermap.answers.site_frames import site_frames
from sewermap.answers.sketch import has_drawn_line, sketch
from sewermap.answers.streets import streets
from sewermap.answers.warranties_on import today
from sewermap.answers.warranty_facts import warranty_facts
from sewermap.answers.where import where
from sewermap.errors import SourceError, UnknownNameError
from sewermap.history.life import MENDED, STATES
from sewermap.paper.calendar import OPEN, write_calendar
from sewermap.paper.digsheet import digsheet
from sewermap.paper.evidence import write_evidence
from sewermap.picture_files import folders_beside
from sewermap.store import bulk, recorded, reference_system, session
from sewermap.store.check import check, mend
from sewermap.store.reference_system import crs_from_text, crs_name
from sewermap.store.tables import LAYERS, metadata
from sewermap.web.build_site import build_site
from sewermap.web.film_links import films_in
from sewermap.web.picture_files import found
from sewermap.web.site_tables import site_tables

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

Where = str | os.PathLike[str]
MOST_SHEETS = 200
"""A site of a small town holds a dig sheet for each open issue; a larger one tells the command that makes one."""


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

    def sketch(self, lateral: str) -> gpd.GeoDataFrame:
        """Candidates for the line of a lateral that no map drew: see ``sewermap.answers.sketch``."""
        return sketch(self.store, lateral)

    def has_drawn_line(self, lateral: str) -> bool:
        """Whether a map draws the line of a lateral."""
        return has_drawn_line(self.store, lateral)

    def defects(self, **filters: Any) -> gpd.GeoDataFrame:
        """Defects by street, kind, grade, since, until, side, state, area: see ``sewermap.answers.defects.Filters``."""
        return defect_answer.defects(self.store, defect_answer.Filters(**filters))

    def repeats(self) -> gpd.GeoDataFrame:
        """What came back after work: see ``sewermap.answers.repeats``."""
        return repeats(self.store)

    def streets(self, as_of: date | None = None) -> pd.DataFrame:
        """The roll-up by street; checks are due as of a day (default today): see ``sewermap.answers.streets``."""
        return streets(self.store, as_of)

    def due(self, as_of: date | None = None, **asked: Any) -> gpd.GeoDataFrame:
        """Warranties that ask for a check, by within, all_states, route: see ``sewermap.answers.due``."""
        return due(self.store, as_of, **asked)

    def claims(self, as_of: date | None = None, *, returned: bool = False) -> gpd.GeoDataFrame:
        """What may be claimed under the warranties, as known on a day (default today): see ``sewermap.answers.claims``."""
        return claims(self.store, as_of, returned=returned)

    def warranty_facts(self, warranty: str, as_of: date | None = None) -> dict[str, Any]:
        """All that is known of one warranty on a day (default today): see ``sewermap.answers.warranty_facts``."""
        return warranty_facts(self.store, warranty, as_of)

    def evidence_of(self, name: str, as_of: date | None = None, *, what: str | None = None) -> Evidence:
        """What a notice and an evidence folder are made of, for a warranty or an issue: see ``sewermap.answers.evidence``."""
        return evidence(self.store, name, as_of, what=what)

    def evidence(
        self, name: str, outdir: Where, as_of: date | None = None, *, pictures: Where | None = None, what: str | None = None
    ) -> tuple[list[str], list[str]]:
        """Write the evidence for a warranty or an issue as a folder: see ``sewermap.paper.evidence``.

        Pictures are looked for in ``pictures`` (default: the database's own folder) and there beside the file that names them.
        Returns the files written and the pictures that are missing, each with the reason.
        """
        if pictures is None:
            folders = [] if session.is_server(self.store.where) else [Path(self.store.where).absolute().parent]
        else:
            folders = [Path(pictures)]
        return write_evidence(self.evidence_of(name, as_of, what=what), Path(outdir), folders)

    def calendar(self, out: Where, as_of: date | None = None) -> tuple[int, int]:
        """Write the warranty checks as a calendar file: see ``sewermap.paper.calendar``.

        Returns how many are ahead or open, and how many more are marked as cancelled.
        """
        day = as_of or today()
        checks = checks_ahead(self.store, day)
        write_calendar(checks, day, self._no_database(out))
        ahead = int(checks["state"].isin(OPEN).sum())
        return ahead, len(checks) - ahead

    def digsheet(
        self,
        issue: str,
        *,
        units: str | None = None,
        paper: str = "letter",
        pictures: Where | None = None,
        as_of: date | None = None,
    ) -> str:
        """The sheet for digging at an issue, as one HTML page made for print: see ``sewermap.paper.digsheet``.

        ``pictures`` is the folder of the runs' pictures (None: beside the database, and where its files came from), ``as_of`` the
        day that is printed on the sheet (None: today). Raises UnknownNameError, MeasureError.
        """
        facts = dig_facts(self.store, issue)
        folders = folders_beside(self.store.where, facts.folders) if pictures is None else [Path(pictures)]
        return digsheet(facts, as_of or today(), units=units, paper=paper, picture_folders=folders)

    def join(self, issue: str, other: str, *, who: str, why: str) -> str:
        """A person's word that two issues are one: see ``etl.people``; returns the name it bears."""
        return people.join(self.store, issue, other, who=who, why=why)

    def split(self, issue: str, observation: str, *, who: str, why: str) -> str:
        """A person's word that an observation is none of an issue's; returns the name of the issue it stands for."""
        return people.split(self.store, issue, observation, who=who, why=why)

    def load(self, sources: Where, *, check: bool = False, progress: Callable[[str], None] | None = None) -> LoadReport:
        """Load what a SOURCES.toml names, whole or not at all; with ``check`` only say what would happen."""
        return load(self.store, Path(sources), check=check, progress=progress)

    def watch(self, folder: Where, tell: Callable[[Watched], None], *, every_s: float = 2.0) -> None:
        """Load what the SOURCES.toml of a folder names, as files come; until Ctrl+C. See ``etl.watch``."""
        watch(Path(folder), self.load, tell, every_s=every_s)

    def recompute(self) -> pd.DataFrame:
        """Build the computed tables again from what was recorded; returns the warnings."""
        with self.store.writing() as conn:
            return recompute(self.store, conn)

    def export(self, out: Where, table: str | None = None) -> list[str]:
        """Write tables to a file of the format its suffix names; returns their names. Raises SourceError."""
        if Path(out).suffix.lower() == EXCHANGE:
            self.export_exchange(out, table)
            return ["runs", "observations"]
        out = self._no_database(out)
        names = [table] if table else default_tables(out)
        write({name: self.answer(name) for name in names}, out)
        return names

    def export_exchange(self, out: Where, table: str | None = None) -> dict[str, int]:
        """Write runs and observations in the exchange form of EN 13508-2; gives what that leaves out, rows by kind.

        Raises SourceError where a table is named, and as ``export`` does.
        """
        if table is not None:
            raise SourceError("the exchange form (.xml) holds runs and their observations; leave --table out")
        return write_exchange(self.layer("runs"), self.layer("observations"), self._no_database(out))

    def _no_database(self, out: Where) -> Path:
        """The file that is to be written, if it is not the database itself. Raises SourceError."""
        out = Path(out)
        if out.exists() and not session.is_server(self.store.where) and out.samefile(self.store.where):
            raise SourceError(f"'{out}' is the database itself, and would lose all it holds: name another file")
        return out

    def answer(self, name: str) -> gpd.GeoDataFrame | pd.DataFrame:
        """An answer without filters (``defects``, ``repeats``, ``due``, ``claims``; as of today) or a table, by name.

        ``streets`` is the layer.
        """
        answers: dict[str, Callable[[], gpd.GeoDataFrame]]
        answers = {"defects": self.defects, "repeats": self.repeats, "due": self.due, "claims": self.claims}
        return answers[name]() if name in answers else self.layer(name)

    def site(
        self,
        outdir: Where,
        *,
        as_of: date | None = None,
        pictures: Where | None = None,
        dig_sheets: bool = True,
        progress: Callable[[str, int, int], None] | None = None,
        **about: Any,
    ) -> list[Path]:
        """Build the maps as a folder that needs no network; returns the files written, index.html first.

        ``as_of``: the day that the site tells of (default today). ``pictures``: the folder of the runs' pictures (default: beside
        the database, and where its files came from). ``dig_sheets``: whether it holds a sheet for each open issue of a small
        town. ``about``: title, units (ft or m), language (en or fr), public, public_least; see
        ``sewermap.web.site_tables.SiteTables``. ``progress`` hears what is made, how many steps are done, and of how many.
        Raises SewermapError.
        """
        day = as_of or today()
        if progress is not None:
            progress("the database", 0, 0)
        frames = site_frames(self.store, day)
        if not about.get("public"):
            folders = self._picture_folders(pictures, frames["placed_observations"]["source_file"])
            about["pictures"] = found(frames["placed_observations"]["picture"].dropna().unique(), folders)
            about["films"] = films_in(frames["runs"]["film"].dropna(), Path(outdir))
            if dig_sheets:
                about["dig_sheets"] = self._dig_sheets(frames["issues"], day, folders, about.get("units", "ft"))
        tables = site_tables(frames, **{"crs": self.store.crs, "title": "Laterals", "as_of": day, **about})
        return build_site(tables, Path(outdir), progress)

    def _dig_sheets(self, issues: pd.DataFrame, day: date, folders: list[Path], units: str) -> dict[str, str]:
        """A sheet for each open issue that has a place, where they are not too many for a folder to be copied."""
        placed = issues[issues["measure_m"].notna() & (issues["state"] != STATES[MENDED])]
        if len(placed) > MOST_SHEETS:
            return {}
        facts = dig_facts_of(self.store, placed["issue"].tolist())
        return {name: digsheet(of, day, units=units, picture_folders=folders) for name, of in facts.items()}

    def _picture_folders(self, given: Where | None, sources: Iterable[str]) -> list[Path]:
        if given is not None:
            return [Path(given)]
        return folders_beside(self.store.where, sorted({str(PurePosixPath(source).parent) for source in set(sources)}))

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


def template(out: Where) -> tuple[Path, Path]:
    """Write an empty workbook for crews, and the SOURCES.toml that loads it beside it; gives both paths.

    Needs no database. Raises SourceError where either is there already.
    """
    return write_template(Path(out))


def draft(source: Where, out: Where, *, lateral: str | None = None, progress: Callable[[str], None] | None = None) -> list[str]:
    """Write a SOURCES.toml for a strange table or layer; for a camera's stick (a folder of pictures) also a log to be finished.

    ``lateral``: the line that all of a stick is of, where one is known. Returns what is to be told, a line each. Needs no
    database. Raises SourceError where nothing can be drafted, and where a file is there already.
    """
    if _is_folder(Path(source)):
        return draft_of_stick(Path(source), Path(out), lateral, progress)
    draft_of_table(Path(source), Path(out))
    return []


def draft_text(source: Where) -> str:
    """The draft of a strange table or layer as text, told from the folder where the program runs. Raises SourceError."""
    if _is_folder(Path(source)):
        raise SourceError(f"'{source}' is a folder, and its draft is several files; say by -o where its SOURCES.toml goes")
    return draft_of_table(Path(source))


def _is_folder(source: Path) -> bool:
    """Whether a path is a folder of files; a File Geodatabase is a folder that counts as a file."""
    return source.is_dir() and source.suffix.casefold() != ".gdb"


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
