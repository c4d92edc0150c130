"""How far a layer reaches, asked of the database without reading its geometries."""

from typing import Any

import sqlalchemy as sa

from sewermap.store import gpkg_schema

Extent = tuple[float, float, float, float]


def extent(conn: sa.Connection, table: sa.Table) -> Extent | None:
    """West, south, east, north of all geometries of a layer in the map's CRS (rounded outwards); None where it has none."""
    query = _of_server(table) if conn.dialect.name == "postgresql" else _of_index(table)
    west, south, east, north = conn.execute(query).one()
    return None if west is None else (float(west), float(south), float(east), float(north))


def _of_index(table: sa.Table) -> sa.Select[Any]:
    index = sa.table(gpkg_schema.rtree_name(table), *(sa.column(name) for name in ("minx", "maxx", "miny", "maxy")))
    least, most = sa.func.min, sa.func.max
    return sa.select(least(index.c.minx), least(index.c.miny), most(index.c.maxx), most(index.c.maxy))


def _of_server(table: sa.Table) -> sa.Select[Any]:
    box = sa.func.ST_Extent(sa.type_coerce(table.c.geometry, sa.types.NullType()), type_=sa.types.NullType())
    found = sa.select(box.label("box")).subquery()
    sides = (getattr(sa.func, name)(found.c.box) for name in ("ST_XMin", "ST_YMin", "ST_XMax", "ST_YMax"))
    return sa.select(*sides)
