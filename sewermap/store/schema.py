"""What tables are made of: their register, and columns of the types that GeoPackage 1.4 knows."""

from typing import Any

import sqlalchemy as sa

SCHEMA_VERSION = 4
"""Raised by one with each migration step (store/migrations)."""

metadata = sa.MetaData()


def text(name: str) -> sa.Column[str]:
    """A column of text."""
    return sa.Column(name, sa.Text)


def number(name: str) -> sa.Column[float]:
    """A column of floating-point numbers."""
    return sa.Column(name, sa.Double)


def whole(name: str) -> sa.Column[int]:
    """A column of whole numbers."""
    return sa.Column(name, sa.Integer)


def day(name: str) -> sa.Column[Any]:
    """A column of days."""
    return sa.Column(name, sa.Date)


def key() -> sa.Column[int]:
    """The one integer key a table that GeoPackage asks for; we number the rows ourselves."""
    return sa.Column("id", sa.Integer, primary_key=True, autoincrement=False)


def needed(name: str) -> sa.Column[str]:
    """A column of text that no row lacks."""
    return sa.Column(name, sa.Text, nullable=False)


def lateral_columns() -> list[sa.Column[Any]]:
    """What a lateral is, in every version and now."""
    return [
        needed("lateral"),
        text("street"),
        text("address"),
        text("property"),
        day("installed_on"),
        text("material"),
        text("diameter"),
        number("diameter_m"),
        number("tie_in_depth_m"),
        number("building_depth_m"),
        number("tie_in_invert_m"),
        number("building_invert_m"),
        number("map_accuracy_m"),
        text("main"),
        number("tie_in_distance_m"),
        text("tie_in_from"),
        text("method"),
    ]
