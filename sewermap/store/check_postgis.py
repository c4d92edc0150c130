"""Faults of our tables in a PostgreSQL database, and what of them can be mended.

The server itself keeps foreign keys and integrity; what can go wrong is that somebody altered the tables.
"""

from collections.abc import Iterator

import sqlalchemy as sa

from sewermap.store import postgis
from sewermap.store.geometry import Geometry
from sewermap.store.tables import metadata

_TYPES: tuple[tuple[type[object], str], ...] = (
    (Geometry, "geometry"),
    (sa.Boolean, "bool"),
    (sa.Integer, "int4"),
    (sa.Double, "float8"),
    (sa.Date, "date"),
    (sa.Text, "text"),
)


def unusable_tables(conn: sa.Connection) -> set[str]:
    """Tables of ours that the schema has not, or not with all their columns."""
    there = {(table, column) for table, column, _ in conn.exec_driver_sql(_COLUMNS)}
    return {column.table.name for table in metadata.sorted_tables for column in table.c if (table.name, column.name) not in there}


def missing_tables(conn: sa.Connection) -> list[str]:
    """Tables of ours that the schema has not."""
    return [table.name for table in metadata.sorted_tables if not postgis.has_table(conn, table.name)]


def faults(conn: sa.Connection) -> Iterator[str]:
    """Missing or altered tables, columns, indexes and CHECKs."""
    missing = missing_tables(conn)
    for name in missing:
        yield f"{name} is missing: somebody removed it."
    there = {(table, column): kind for table, column, kind in conn.exec_driver_sql(_COLUMNS)}
    for table in metadata.sorted_tables:
        if table.name in missing:
            continue
        for column in table.c:
            found = there.get((table.name, column.name))
            if found != _type_name(column):
                what = "is missing" if found is None else f"is {found}, not {_type_name(column)}"
                yield f"{table.name}: its column {column.name} {what}: somebody altered the table."
    for name in _lacking(conn):
        yield f"{name} is missing or not valid: somebody removed it."


def mend(conn: sa.Connection) -> Iterator[str]:
    """Make the indexes and CHECKs that are missing or not valid."""
    for name, statements in _lacking(conn).items():
        for statement in statements:
            conn.exec_driver_sql(statement)
        yield f"{name} was made anew."


def _lacking(conn: sa.Connection) -> dict[str, list[str]]:
    """Indexes and CHECKs of ours that are not there or not valid, with the statements that make them."""
    there = {name for (name,) in conn.exec_driver_sql(_SOUND)}
    missing = missing_tables(conn)
    wanted: dict[str, list[str]] = {}
    for table in metadata.sorted_tables:
        if table.name in missing:
            continue
        for index in table.indexes:
            create = str(sa.schema.CreateIndex(index).compile(dialect=conn.dialect))
            wanted[str(index.name)] = [f'DROP INDEX IF EXISTS "{index.name}"', create]
        for column in table.c:
            if isinstance(column.type, Geometry):
                name = f"ix_{table.name}_{column.name}"
                wanted[name] = [f'DROP INDEX IF EXISTS "{name}"', postgis.spatial_index_sql(column)]
                wanted |= {check: [sql] for check, sql in postgis.check_sql(conn, column).items()}
    return {name: statements for name, statements in wanted.items() if name not in there}


def _type_name(column: sa.Column[object]) -> str:
    return next(name for kind, name in _TYPES if isinstance(column.type, kind))


_COLUMNS = "SELECT table_name, column_name, udt_name FROM information_schema.columns WHERE table_schema = current_schema()"
_SOUND = """
SELECT c.relname FROM pg_index i JOIN pg_class c ON c.oid = i.indexrelid
WHERE i.indisvalid AND c.relnamespace = current_schema()::regnamespace
UNION ALL
SELECT conname FROM pg_constraint WHERE convalidated AND connamespace = current_schema()::regnamespace
"""
