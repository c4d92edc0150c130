"""The one schema of sewermap, on both engines.

Two kinds of tables. *Recorded* tables hold what files said: a row is never altered, only ``withdrawn_in`` (the file
version that no longer says it) and ``replaced_by`` (the row that says it anew) are ever written later; every row knows its
file and row. A recorded row is *current* while both are empty. *Computed* tables can be dropped and built again to the same
rows. Lengths are metres (``_m``), unless a column keeps a text as it was written.

Names are plural because ``lateral`` is a reserved word of PostgreSQL. Column types are only those that GeoPackage 1.4 knows.
"""

from dataclasses import dataclass
from typing import Any

import sqlalchemy as sa

from sewermap.store.geometry import Geometry

SCHEMA_VERSION = 1
"""Raised by one with each migration step (store/migrations)."""

metadata = sa.MetaData()


def _text(name: str) -> sa.Column[str]:
    return sa.Column(name, sa.Text)


def _number(name: str) -> sa.Column[float]:
    return sa.Column(name, sa.Double)


def _whole(name: str) -> sa.Column[int]:
    return sa.Column(name, sa.Integer)


def _day(name: str) -> sa.Column[Any]:
    return sa.Column(name, sa.Date)


def _key() -> sa.Column[int]:
    """The one integer key a table that GeoPackage asks for; we number the rows ourselves."""
    return sa.Column("id", sa.Integer, primary_key=True, autoincrement=False)


def _needed(name: str) -> sa.Column[str]:
    return sa.Column(name, sa.Text, nullable=False)


meta = sa.Table("sewermap_meta", metadata, _key(), sa.Column("name", sa.Text, nullable=False, unique=True), _text("value"))
"""The schema's version (GeoPackage's own user_version is taken), the map's CRS and its unit."""

source_files = sa.Table("source_files", metadata, _key(), _needed("path"), _needed("section"), _needed("sha256"))
"""One row for each content of a file that a section was loaded from."""

file_says = sa.Table(
    "file_says",
    metadata,
    _key(),
    sa.Column("file_id", sa.Integer, sa.ForeignKey("source_files.id"), nullable=False),
    _whole("row_id"),
)
"""Which rows the newest content of each file says (``file_id`` is the version that first said it, ``row_id`` a row of its
section's table): what tells a row that nobody says any more from one that another file still holds."""

place_rules = sa.Table("place_rules", metadata, _key(), _needed("name"), _needed("content"))
"""The place's own rule files ([rules] of a SOURCES.toml), as text, so that all can be computed again from the database."""


def _recorded(name: str, *columns: sa.Column[Any], geometry: str | None = None) -> sa.Table:
    file_key = sa.ForeignKey("source_files.id")
    shape: list[sa.Column[Any]] = [sa.Column("geometry", Geometry(geometry))] if geometry else []
    return sa.Table(
        name,
        metadata,
        _key(),
        *columns,
        sa.Column("content", sa.Text, nullable=False),
        sa.Column("loaded_in", sa.Integer, file_key, nullable=False),
        _whole("source_row"),
        sa.Column("withdrawn_in", sa.Integer, sa.ForeignKey("source_files.id")),
        _whole("replaced_by"),
        *shape,
    )


rejects = _recorded("rejects", _text("section"), _text("path"), _whole("row"), _text("field"), _text("value"), _text("reason"))
properties = _recorded("properties", _needed("property"), _text("street"), _text("address"), _text("remark"))
parcels = _recorded("parcels", _needed("property"), _number("map_accuracy_m"), geometry="MULTIPOLYGON")
streets = _recorded("streets", _needed("street"), geometry="MULTILINESTRING")
mains = _recorded("mains", _needed("main"), geometry="MULTILINESTRING")
buildings = _recorded("buildings", _needed("building"), _text("property"), geometry="MULTIPOLYGON")


def _lateral_columns() -> list[sa.Column[Any]]:
    return [
        _needed("lateral"),
        _text("street"),
        _text("address"),
        _text("property"),
        _day("installed_on"),
        _text("material"),
        _text("diameter"),
        _number("diameter_m"),
        _number("tie_in_depth_m"),
        _number("building_depth_m"),
        _number("map_accuracy_m"),
        _text("method"),
    ]


lateral_lines = _recorded("lateral_lines", *_lateral_columns(), geometry="LINESTRING")
"""Every version of every lateral, drawn from tie-in to building whatever way its file drew it. ``method`` says how the line
was got (``drawn``, later ``traverse``, ``located``, ``guessed``)."""

laterals = sa.Table(
    "laterals",
    metadata,
    _key(),
    *_lateral_columns(),
    _number("length_m"),
    sa.Column("accuracy_assumed", sa.Boolean),
    _number("property_line_m"),
    _number("property_line_sigma_m"),
    _number("property_line_fix_sigma_m"),
    _text("property_line_from"),
    sa.Column("geometry", Geometry("LINESTRING")),
)
"""Computed: the current version of each lateral as a layer ready for a GIS program, with the measure of its property line
and what that was taken from. ``map_accuracy_m`` is filled with the common one where none was given (``accuracy_assumed``)."""

referents = _recorded(
    "referents",
    _needed("lateral"),
    _needed("name"),
    _text("kind"),
    _number("measure_m"),
    _number("x"),
    _number("y"),
    _number("sigma_m"),
)
"""x and y in the map's CRS."""

runs = _recorded(
    "runs",
    _needed("run"),
    _needed("lateral"),
    _day("ran_on"),
    _text("unit"),
    _text("launch"),
    _text("direction"),
    _number("launch_measure_m"),
    _text("launch_reading"),
    _number("launch_reading_m"),
    _text("end_reading"),
    _number("end_reading_m"),
    _text("lead_in"),
    _number("lead_in_m"),
    _text("reason"),
    _text("crew"),
    _text("remark"),
    _text("film"),
)

observations = _recorded(
    "observations",
    _needed("run"),
    _text("reading"),
    _number("reading_m"),
    _text("to_reading"),
    _number("to_reading_m"),
    _needed("kind"),
    _text("kind_as_written"),
    _number("clock_from"),
    _number("clock_to"),
    _number("percent"),
    _whole("grade"),
    _text("material_after"),
    _text("referent"),
    _number("located_x"),
    _number("located_y"),
    _text("located_crs"),
    _number("depth_m"),
    _text("remark"),
    _text("picture"),
    _text("film_time"),
)
"""located_x and located_y as written, in located_crs (empty: the map's CRS). Clock positions in hours, 12 the crown."""

legs = _recorded(
    "legs",
    _needed("lateral"),
    _text("reading"),
    _number("reading_m"),
    _text("unit"),
    _number("angle"),
    _text("hand"),
    _number("bearing"),
)
located_points = _recorded(
    "located_points",
    _needed("lateral"),
    _text("reading"),
    _number("reading_m"),
    _text("unit"),
    _number("x"),
    _number("y"),
    _text("crs"),
    _number("depth_m"),
    _number("sigma_m"),
)
works = _recorded(
    "works",
    _needed("work"),
    _needed("lateral"),
    _day("done_on"),
    _text("kind"),
    _number("from_measure_m"),
    _number("to_measure_m"),
    _text("by"),
    _text("remark"),
)
warranties = _recorded(
    "warranties",
    _needed("warranty"),
    _needed("lateral"),
    _day("begins_on"),
    _text("term"),
    _number("check_lead"),
    _number("cure"),
    _text("answerable"),
    _text("work"),
    _number("from_measure_m"),
    _number("to_measure_m"),
    _text("kinds"),
    _text("start_event"),
    _text("notice_by"),
)

placed_observations = sa.Table(
    "placed_observations",
    metadata,
    _key(),
    _text("observation"),
    _text("run"),
    _day("ran_on"),
    _text("lateral"),
    _text("property"),
    _text("street"),
    _text("address"),
    _text("reading"),
    _text("unit"),
    _text("to_reading"),
    _text("kind"),
    _text("role"),
    _number("measure_m"),
    _number("sigma_m"),
    _number("to_measure_m"),
    _number("within_m"),
    _number("x"),
    _number("y"),
    _text("side"),
    _number("side_probability"),
    _whole("grade"),
    _number("percent"),
    _number("clock_from"),
    _number("clock_to"),
    _text("issue"),
    _text("reason"),
    sa.Column("accuracy_assumed", sa.Boolean),
    _text("remark"),
    _text("picture"),
    _text("source_file"),
    _whole("source_row"),
    sa.Column("geometry", Geometry("POINT")),
)
"""Computed: one row for each current observation. No geometry, and a reason, where it could not be placed."""

run_coverages = sa.Table(
    "run_coverages",
    metadata,
    _key(),
    _text("run"),
    _text("lateral"),
    _day("ran_on"),
    _number("from_measure_m"),
    _number("to_measure_m"),
    _whole("fixes"),
    _whole("set_aside"),
    _text("notes"),
)
"""Computed: the stretch of measures that each run passed, and what its fixes said of it."""

counter_settings = sa.Table("counter_settings", metadata, _key(), _needed("name"), _number("value"), _text("origin"))
"""Computed: the figures of the counter model in force (launch, scale, slip) and where they come from."""


@dataclass(frozen=True)
class Recorded:
    """How rows of one section are told apart: by a key, or by all they say within a group (a file states the group whole)."""

    table: sa.Table
    key: tuple[str, ...] = ()
    group: tuple[str, ...] = ()


RECORDED: dict[str, Recorded] = {
    "parcels": Recorded(parcels, key=("property",)),
    "streets": Recorded(streets, group=("street",)),
    "mains": Recorded(mains, key=("main",)),
    "buildings": Recorded(buildings, key=("building",)),
    "properties": Recorded(properties, key=("property",)),
    "laterals": Recorded(lateral_lines, key=("lateral",)),
    "referents": Recorded(referents, key=("lateral", "name")),
    "runs": Recorded(runs, key=("run",)),
    "observations": Recorded(observations, group=("run",)),
    "legs": Recorded(legs, group=("lateral",)),
    "located": Recorded(located_points, group=("lateral",)),
    "works": Recorded(works, key=("work",)),
    "warranties": Recorded(warranties, key=("warranty",)),
}
"""Sections of a SOURCES.toml, in the order in which they are loaded, and the table each fills."""

COMPUTED = (laterals, placed_observations, run_coverages, counter_settings)

LAYERS = (parcels, streets, mains, buildings, lateral_lines, laterals, placed_observations)
"""Tables with a geometry."""

for _table, _columns in (
    (lateral_lines, ("lateral",)),
    (runs, ("run",)),
    (runs, ("lateral",)),
    (observations, ("run",)),
    (file_says, ("file_id",)),
    (laterals, ("lateral",)),
    (placed_observations, ("lateral",)),
    (placed_observations, ("run",)),
    (placed_observations, ("street", "kind")),
    (run_coverages, ("lateral",)),
):
    sa.Index(f"ix_{_table.name}_{'_'.join(_columns)}", *(_table.c[column] for column in _columns))
