"""Is the database sound? Every fault is a sentence; an empty list means that none was found.

Our own writing keeps all of it sound. A GeoPackage is also a file that other programs may open and change, and they keep
neither foreign keys nor our definitions.
"""

from collections.abc import Iterator
from types import ModuleType

import sqlalchemy as sa

from sewermap.store import check_geopackage, check_postgis
from sewermap.store import tables as schema
from sewermap.store.postgis import NAME as POSTGRESQL
from sewermap.store.session import Store

_NAMES = (
    (schema.runs, "lateral", schema.lateral_lines),
    (schema.referents, "lateral", schema.lateral_lines),
    (schema.legs, "lateral", schema.lateral_lines),
    (schema.located_points, "lateral", schema.lateral_lines),
    (schema.works, "lateral", schema.lateral_lines),
    (schema.warranties, "lateral", schema.lateral_lines),
    (schema.observations, "run", schema.runs),
)
"""Rows of the first table name a row of the last by this column."""


def check(store: Store) -> list[str]:
    """All faults found: of the file or server, of definitions, of geometries and their indexes, and rows without their parent."""
    module = _module(store)
    with store.reading() as conn:
        faults = list(module.faults(conn))
        if not module.unusable_tables(conn):
            faults += _orphans(conn)
    return faults


def mend(store: Store) -> list[str]:
    """Build anew what can be built from the rows: indexes, triggers, extents, lists. Returns what was done.

    Rows themselves are never touched: what ``check`` still finds afterwards is for a backup or a new load.
    """
    module = _module(store)
    with store.writing() as conn:
        return list(module.mend(conn))


def _module(store: Store) -> ModuleType:
    return check_postgis if store.dialect == POSTGRESQL else check_geopackage


def _orphans(conn: sa.Connection) -> Iterator[str]:
    for child, column, parent in _NAMES:
        known = sa.exists().where(parent.c[column] == child.c[column])
        yield from _told(conn, child, sa.and_(child.c.withdrawn_in.is_(None), ~known), column, f"a {column} that is not there")
    recorded = {name: entry.table for name, entry in schema.RECORDED.items()}
    for table in recorded.values():
        newer = table.alias("newer")
        known = sa.exists().where(newer.c.id == table.c.replaced_by)
        yield from _told(
            conn, table, sa.and_(table.c.replaced_by.is_not(None), ~known), "replaced_by", "a newer row that is not there"
        )
    for section, table in recorded.items():
        says = schema.file_says
        of_section = sa.exists().where(schema.source_files.c.id == says.c.file_id, schema.source_files.c.section == section)
        known = sa.exists().where(table.c.id == says.c.row_id)
        yield from _told(conn, says, sa.and_(of_section, ~known), "row_id", f"a row of {table.name} that is not there")


def _told(conn: sa.Connection, table: sa.Table, wrong: sa.ColumnElement[bool], column: str, what: str) -> Iterator[str]:
    count, first = conn.execute(sa.select(sa.func.count(), sa.func.min(table.c[column])).select_from(table).where(wrong)).one()
    if count:
        rows = "1 row names" if count == 1 else f"{count} rows name"
        yield f"{table.name}: {rows} {what} (such as {first})."
