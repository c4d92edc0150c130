"""Whole columns into tables and out of them: the same five verbs on both engines.

Frames are typed as ``columns`` says. The caller numbers the rows: each frame has an ``id`` column.
"""

import gc
from collections.abc import Collection, Iterator, Sequence
from contextlib import contextmanager
from types import ModuleType
from typing import Any

import numpy as np
import pandas as pd
import sqlalchemy as sa
from numpy.typing import ArrayLike

from sewermap.store import columns, geopackage, postgis


def insert(conn: sa.Connection, table: sa.Table, frame: pd.DataFrame) -> None:
    """Add rows. Columns that the frame lacks are NULL; the spatial index and the extent follow.

    Raises KeyError for a column that the table has not.
    """
    if len(frame):
        _backend(conn).insert_rows(conn, table, frame)


def next_id(conn: sa.Connection, table: sa.Table) -> int:
    """The number of the next new row: one more than the highest, 1 in an empty table."""
    highest = conn.execute(sa.select(sa.func.max(table.c.id))).scalar()
    return int(highest or 0) + 1


def read(conn: sa.Connection, what: sa.Table | sa.Select[Any] | sa.CompoundSelect[Any]) -> pd.DataFrame:
    """The rows of a query in its order, or of a table in order of id, as typed columns."""
    query = sa.select(what).order_by(what.c.id) if isinstance(what, sa.Table) else what
    result = conn.execute(query)
    # The engine's own rows: SQLAlchemy would convert value by value what is converted here by whole columns.
    cursor: Any = result.cursor
    with _uncollected():
        rows = cursor.fetchall()
        result.close()
        return columns.frame_of(list(query.selected_columns), rows, conn.dialect.name)


def delete(conn: sa.Connection, table: sa.Table, where: sa.ColumnElement[bool] | None) -> None:
    """Delete the rows for which ``where`` holds; None means all rows."""
    _backend(conn).delete_rows(conn, table, where)


def delete_ids(conn: sa.Connection, table: sa.Table, ids: ArrayLike) -> None:
    """Delete the rows with these ids, however many."""
    numbers = np.asarray(ids, dtype=np.int64).tolist()
    if numbers:
        delete(conn, table, any_of(conn, table.c.id, numbers))


def delete_named(conn: sa.Connection, table: sa.Table, column: sa.ColumnElement[Any], names: Collection[str]) -> None:
    """Delete the rows whose column holds one of these names, however many."""
    if len(names):
        delete(conn, table, any_of(conn, column, names))


def set_columns(conn: sa.Connection, table: sa.Table, ids: ArrayLike, **values: Any) -> None:
    """Write columns (one value an id, or one for all) into the rows with these ids; ids that do not exist are passed over."""
    numbers = np.asarray(ids, dtype=np.int64)
    if numbers.size:
        _backend(conn).update_rows(conn, table, numbers, pd.DataFrame(values, index=range(numbers.size)))


def any_of(conn: sa.Connection, column: sa.ColumnElement[Any], values: Collection[Any]) -> sa.ColumnElement[bool]:
    """The condition that a column holds one of the values, however many: they travel as one bound parameter."""
    condition: sa.ColumnElement[bool] = _backend(conn).any_of(column, list(values))
    return condition


def in_box(conn: sa.Connection, table: sa.Table, bounds: Sequence[float]) -> sa.ColumnElement[bool]:
    """The condition that a row's geometry may touch a box (west, south, east, north; map CRS), by the spatial index.

    Index boxes are rounded outwards: what is found must still be tested exactly.
    """
    condition: sa.ColumnElement[bool] = _backend(conn).in_box(conn, table, [float(value) for value in bounds])
    return condition


def values_of(conn: sa.Connection, column: sa.Column[Any]) -> list[Any]:
    """The different values of an indexed column, in order; it hops from value to value, however many rows there are."""
    table = column.table
    first = sa.select(sa.func.min(column).label("value")).cte("hops", recursive=True)
    further = sa.select(sa.func.min(column)).where(column > first.c.value).correlate_except(table).scalar_subquery()
    hops = first.union_all(sa.select(further).where(first.c.value.is_not(None)))
    return [value for value in conn.execute(sa.select(hops.c.value)).scalars() if value is not None]


@contextmanager
def _uncollected() -> Iterator[None]:
    """No garbage collection inside: while millions of values come in, it would look at them again and again, for nothing."""
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()


def _backend(conn: sa.Connection) -> ModuleType:
    return postgis if conn.dialect.name == "postgresql" else geopackage
