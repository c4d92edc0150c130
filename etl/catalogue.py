"""The fields of each section of a SOURCES.toml: what a user may map, what is needed, and how a cell of it is read.

This is the one list that the plan, the stage ``fields`` and the stage ``checks`` share. A column of a table is named after
its field; lengths get ``_m``.
"""

from dataclasses import dataclass
from typing import Literal

Reader = Literal[
    "text", "length", "level", "diameter", "counter", "day", "clock", "percent", "grade", "number", "whole", "unit", "kind",
    "kinds", "term", "notice", "crs", "direction", "reason", "work", "referent", "hand",
    "main end",
]  # fmt: skip
"""How a cell is read. ``level``: an elevation, a length that may be negative. ``counter``: a length in the unit of its run, kept
as written too. The last six are closed lists of words (``etl.vocabulary``)."""

LENGTHS = frozenset(("length", "level", "diameter", "counter"))
"""Readers that give metres."""

Shape = Literal["area", "lines", "line"]


@dataclass(frozen=True)
class Field:
    """One field of a section: its name, how its cells are read, and whether a row is nothing without it."""

    name: str
    reader: Reader = "text"
    needed: bool = False
    default: str | None = None

    @property
    def column(self) -> str:
        """The column of the table that holds the value read: metres end in ``_m``."""
        return f"{self.name}_m" if self.reader in LENGTHS else self.name


def _needed(name: str, reader: Reader = "text") -> Field:
    return Field(name, reader, needed=True)


def _texts(*names: str) -> tuple[Field, ...]:
    return tuple(Field(name) for name in names)


def _of(reader: Reader, *names: str) -> tuple[Field, ...]:
    return tuple(Field(name, reader) for name in names)


_LATERAL = (_needed("lateral"), Field("address"))
"""A row may name its lateral by name, or by an address that only one lateral has."""

FIELDS: dict[str, tuple[Field, ...]] = {
    "parcels": (_needed("property"), Field("map_accuracy", "length")),
    "streets": (_needed("street"),),
    "mains": (_needed("main"),),
    "buildings": (_needed("building"), Field("property")),
    "properties": (_needed("property"), *_texts("street", "address", "remark")),
    "laterals": (
        _needed("lateral"),
        *_texts("street", "address", "property"),
        Field("installed_on", "day"),
        Field("material"),
        Field("diameter", "diameter"),
        *_of("length", "tie_in_depth", "building_depth", "map_accuracy"),
        *_of("level", "tie_in_invert", "building_invert"),
        Field("main"),
        Field("tie_in_distance", "length"),
        Field("tie_in_from", "main end"),
    ),
    "referents": (
        *_LATERAL,
        _needed("name"),
        _needed("kind", "referent"),
        Field("measure", "length"),
        *_of("number", "x", "y"),
        Field("sigma", "length"),
    ),
    "runs": (
        _needed("run"),
        *_LATERAL,
        _needed("ran_on", "day"),
        _needed("unit", "unit"),
        Field("launch"),
        Field("direction", "direction"),
        Field("launch_measure", "length"),
        *_of("counter", "launch_reading", "end_reading", "lead_in"),
        Field("reason", "reason"),
        *_texts("crew", "remark", "film"),
    ),
    "observations": (
        _needed("run"),
        _needed("reading", "counter"),
        Field("to_reading", "counter"),
        _needed("kind", "kind"),
        *_of("clock", "clock_from", "clock_to"),
        Field("percent", "percent"),
        Field("grade", "grade"),
        *_texts("material_after", "referent"),
        *_of("number", "located_x", "located_y"),
        Field("located_crs", "crs"),
        Field("depth", "length"),
        *_texts("remark", "picture", "film_time", "note"),
    ),
    "legs": (
        *_LATERAL,
        _needed("reading", "counter"),
        Field("unit", "unit"),
        Field("angle", "number"),
        Field("hand", "hand"),
        Field("bearing", "number"),
        Field("launch"),
    ),
    "located": (
        *_LATERAL,
        _needed("reading", "counter"),
        Field("unit", "unit"),
        _needed("x", "number"),
        _needed("y", "number"),
        Field("crs", "crs"),
        *_of("length", "depth", "sigma"),
        Field("run"),
    ),
    "works": (
        _needed("work"),
        *_LATERAL,
        _needed("done_on", "day"),
        _needed("kind", "work"),
        *_of("length", "from_measure", "to_measure"),
        *_texts("by", "remark"),
    ),
    "warranties": (
        _needed("warranty"),
        *_LATERAL,
        _needed("begins_on", "day"),
        Field("term", "term", default="P1Y"),
        Field("check_lead", "whole", default="60"),
        Field("cure", "whole", default="10"),
        *_texts("answerable", "work"),
        *_of("length", "from_measure", "to_measure"),
        Field("kinds", "kinds"),
        Field("start_event"),
        Field("notice_by", "notice"),
    ),
    "pictures": (
        _needed("picture"),
        *_texts("sha256", "taken_at", "taken_from", "run", "lateral", "address"),
        Field("reading", "counter"),
        Field("unit", "unit"),
        Field("sigma", "length"),
        *_texts("reading_from", "counter", "mark"),
    ),
}
"""Fields by section. ``address`` stands in for ``lateral`` where a section has both and laterals are named elsewhere."""

SHAPES: dict[str, Shape] = {"parcels": "area", "buildings": "area", "streets": "lines", "mains": "lines", "laterals": "line"}
"""Sections whose rows need a geometry, and which."""

NO_LINE_NEEDED = "laterals"
"""The one of them that may also come from a file without geometries: many places have no map of their laterals."""

POINTS: dict[str, tuple[str, str]] = {"referents": ("x", "y"), "located": ("x", "y"), "observations": ("located_x", "located_y")}
"""Sections that may come as a layer of points, and the fields that take its coordinates."""


def field_names(section: str) -> tuple[str, ...]:
    """The names of the fields of a section, in the order of the documentation."""
    return tuple(field.name for field in FIELDS[section])


def names_lateral(section: str) -> bool:
    """Whether rows of a section name a lateral that must be known (by name or by address)."""
    return section != "laterals" and {"lateral", "address"} <= set(field_names(section))
