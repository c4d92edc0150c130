"""Recorded tables: what files and people said.

A row is never altered, only ``withdrawn_in`` (the file version that no longer says it) and ``replaced_by`` (the row that says
it anew) are ever written later; every row knows its file and row. A recorded row is *current* while both are empty.
"""

from dataclasses import dataclass
from typing import Any

import sqlalchemy as sa

from sewermap.store.geometry import Geometry
from sewermap.store.schema import day, key, lateral_columns, metadata, needed, number, text, whole

meta = sa.Table("sewermap_meta", metadata, key(), sa.Column("name", sa.Text, nullable=False, unique=True), text("value"))
"""The schema's version (GeoPackage's own user_version is taken), the map's CRS and its unit."""

source_files = sa.Table("source_files", metadata, key(), needed("path"), needed("section"), needed("sha256"))
"""One row for each content of a file that a section was loaded from."""

file_says = sa.Table(
    "file_says",
    metadata,
    key(),
    sa.Column("file_id", sa.Integer, sa.ForeignKey("source_files.id"), nullable=False),
    whole("row_id"),
)
"""Which rows the newest content of each file says (``file_id`` is the version that first said it, ``row_id`` a row of its
section's table): what tells a row that nobody says any more from one that another file still holds."""

place_rules = sa.Table("place_rules", metadata, key(), needed("name"), needed("content"))
"""The place's own rule files ([rules] of a SOURCES.toml), as text, so that all can be computed again from the database."""


def _recorded(name: str, *columns: sa.Column[Any], geometry: str | None = None) -> sa.Table:
    file_key = sa.ForeignKey("source_files.id")
    shape: list[sa.Column[Any]] = [sa.Column("geometry", Geometry(geometry))] if geometry else []
    return sa.Table(
        name,
        metadata,
        key(),
        *columns,
        sa.Column("content", sa.Text, nullable=False),
        sa.Column("loaded_in", sa.Integer, file_key, nullable=False),
        whole("source_row"),
        sa.Column("withdrawn_in", sa.Integer, sa.ForeignKey("source_files.id")),
        whole("replaced_by"),
        *shape,
    )


rejects = _recorded("rejects", text("section"), text("path"), whole("row"), text("field"), text("value"), text("reason"))
properties = _recorded("properties", needed("property"), text("street"), text("address"), text("remark"))
parcels = _recorded("parcels", needed("property"), number("map_accuracy_m"), geometry="MULTIPOLYGON")
streets = _recorded("streets", needed("street"), geometry="MULTILINESTRING")
mains = _recorded("mains", needed("main"), geometry="MULTILINESTRING")
buildings = _recorded("buildings", needed("building"), text("property"), geometry="MULTIPOLYGON")


lateral_lines = _recorded("lateral_lines", *lateral_columns(), geometry="LINESTRING")
"""Every version of every lateral, drawn from tie-in to building whatever way its file drew it. ``method`` says how the line
was got (``drawn``, later ``traverse``, ``located``, ``guessed``)."""

referents = _recorded(
    "referents",
    needed("lateral"),
    needed("name"),
    text("kind"),
    number("measure_m"),
    number("x"),
    number("y"),
    number("sigma_m"),
)
"""x and y in the map's CRS."""

runs = _recorded(
    "runs",
    needed("run"),
    needed("lateral"),
    day("ran_on"),
    text("unit"),
    text("launch"),
    text("direction"),
    number("launch_measure_m"),
    text("launch_reading"),
    number("launch_reading_m"),
    text("end_reading"),
    number("end_reading_m"),
    text("lead_in"),
    number("lead_in_m"),
    text("reason"),
    text("crew"),
    text("remark"),
    text("film"),
)

observations = _recorded(
    "observations",
    needed("run"),
    text("reading"),
    number("reading_m"),
    text("to_reading"),
    number("to_reading_m"),
    needed("kind"),
    text("kind_as_written"),
    number("clock_from"),
    number("clock_to"),
    number("percent"),
    whole("grade"),
    text("material_after"),
    text("referent"),
    number("located_x"),
    number("located_y"),
    text("located_crs"),
    number("depth_m"),
    text("remark"),
    text("picture"),
    text("film_time"),
    text("note"),
)
"""located_x and located_y as written, in located_crs (empty: the map's CRS). Clock positions in hours, 12 the crown."""

legs = _recorded(
    "legs",
    needed("lateral"),
    text("reading"),
    number("reading_m"),
    text("unit"),
    number("angle"),
    text("hand"),
    number("bearing"),
    text("launch"),
)
located_points = _recorded(
    "located_points",
    needed("lateral"),
    text("reading"),
    number("reading_m"),
    text("unit"),
    number("x"),
    number("y"),
    text("crs"),
    number("depth_m"),
    number("sigma_m"),
    text("run"),
)
pictures = _recorded(
    "pictures",
    needed("picture"),
    text("sha256"),
    text("taken_at"),
    text("taken_from"),
    text("run"),
    text("lateral"),
    text("reading"),
    number("reading_m"),
    text("unit"),
    number("sigma_m"),
    text("reading_from"),
    text("counter"),
    text("mark"),
)
"""Files of a camera's stick, never altered: path and digest, when taken and who says so (exif, film or file time), the run or
lateral and the reading they were given, from what the reading was taken (given or counter), what was read in the picture, and
``mark``, why it is not to be trusted."""
works = _recorded(
    "works",
    needed("work"),
    needed("lateral"),
    day("done_on"),
    text("kind"),
    number("from_measure_m"),
    number("to_measure_m"),
    text("by"),
    text("remark"),
)
warranties = _recorded(
    "warranties",
    needed("warranty"),
    needed("lateral"),
    day("begins_on"),
    text("term"),
    number("check_lead"),
    number("cure"),
    text("answerable"),
    text("work"),
    number("from_measure_m"),
    number("to_measure_m"),
    text("kinds"),
    text("start_event"),
    text("notice_by"),
)

issue_names = sa.Table(
    "issue_names", metadata, key(), needed("issue"), needed("lateral"), sa.Column("founder_id", sa.Integer, nullable=False)
)
"""The name of each issue, given once, with the row of observations that founded it: whatever cluster holds the founder (or
the row that replaced it) bears the name."""

joins = sa.Table(
    "joins",
    metadata,
    key(),
    needed("issue"),
    needed("other_issue"),
    sa.Column("founder_id", sa.Integer, nullable=False),
    sa.Column("other_founder_id", sa.Integer, nullable=False),
    text("who"),
    text("why"),
)
"""A person's word that two issues are one; it holds through every recompute."""

splits = sa.Table(
    "splits",
    metadata,
    key(),
    needed("issue"),
    needed("observation"),
    sa.Column("founder_id", sa.Integer, nullable=False),
    sa.Column("observation_id", sa.Integer, nullable=False),
    text("who"),
    text("why"),
)
"""A person's word that an observation is no sighting of the issue it was matched to: it stands for an issue of its own."""


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
    "pictures": Recorded(pictures, key=("picture",)),
}
"""Sections of a SOURCES.toml, in the order in which they are loaded, and the table each fills."""
