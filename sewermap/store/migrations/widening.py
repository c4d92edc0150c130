"""New columns in tables that are there already: what most steps of the schema are."""

from collections.abc import Callable

import sqlalchemy as sa

from sewermap.store import gpkg_schema, postgis
from sewermap.store.tables import metadata


def widened(*names: str) -> Callable[[sa.Connection], None]:
    """A change that gives these tables the columns that they have now and the store's lack; they are empty then.

    A step of an old version may so add what a later one was written for, which then finds nothing to do.
    """

    def change(conn: sa.Connection) -> None:
        for name in names:
            table = metadata.tables[name]
            there = {column["name"] for column in sa.inspect(conn).get_columns(name)}
            lacking = [column for column in table.c if column.name not in there]
            if lacking and conn.dialect.name == postgis.NAME:
                _add_columns(conn, table, lacking)
            elif lacking:
                _make_anew(conn, table, [column.name for column in table.c if column.name in there])

    return change


def _add_columns(conn: sa.Connection, table: sa.Table, columns: list[sa.Column[object]]) -> None:
    for column in columns:
        kind = column.type.compile(conn.dialect)
        conn.exec_driver_sql(f'ALTER TABLE "{table.name}" ADD COLUMN "{column.name}" {kind}')


def _make_anew(conn: sa.Connection, table: sa.Table, kept: list[str]) -> None:
    """The table as its definition says now, with its rows: a file's tables are compared with their definitions word by word.

    Row ids stay, so the spatial index (a table of its own) stays true; only its triggers went with the old table.
    """
    before = f"{table.name}_before"
    of_table = "SELECT type, name FROM sqlite_master WHERE tbl_name = ? AND type IN ('index', 'trigger') AND sql IS NOT NULL"
    for kind, name in conn.exec_driver_sql(of_table, (table.name,)).all():
        conn.exec_driver_sql(f'DROP {kind.upper()} "{name}"')
    conn.exec_driver_sql("PRAGMA legacy_alter_table = ON")  # other tables go on pointing to the name
    conn.exec_driver_sql(f'ALTER TABLE "{table.name}" RENAME TO "{before}"')
    conn.exec_driver_sql("PRAGMA legacy_alter_table = OFF")
    table.create(conn)
    names = ", ".join(f'"{name}"' for name in kept)
    conn.exec_driver_sql(f'INSERT INTO "{table.name}" ({names}) SELECT {names} FROM "{before}"')
    conn.exec_driver_sql(f'DROP TABLE "{before}"')
    if gpkg_schema.geometry_column(table) is not None:
        for trigger in gpkg_schema.TRIGGER_NAMES:
            conn.exec_driver_sql(gpkg_schema.trigger_sql(table, trigger))
