"""Keeping a GeoPackage's spatial index and extents true while rows are written in bulk.

A few rows are left to the standard's triggers. For many rows the trigger in the way is dropped inside the transaction, the
rows are written, their boxes enter the index at once (packed anew if they are many beside those it holds), and the trigger
is put back. ``gpkg_contents`` gets an extent that holds every geometry (requirement 148).
"""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass

import numpy as np
import sqlalchemy as sa
from numpy.typing import NDArray

from sewermap.store import gpkg_schema, rtree

_FEW = 500
"""Up to so many rows the triggers do the work: dropping and making one costs as much."""

_MANY = 10_000
"""From so many rows on, ordinary indexes may be left off while they are written."""

_PACK_SHARE = 0.2
"""With at least this share of new boxes the whole index is packed anew."""


@dataclass(frozen=True)
class Boxes:
    """Ids of rows and the boxes (N, 4: minx, miny, maxx, maxy; NaN without a geometry) of their geometries."""

    ids: NDArray[np.int64]
    bounds: NDArray[np.float64]

    def filled(self) -> "Boxes":
        """Those that have a geometry with coordinates."""
        some = ~np.isnan(self.bounds[:, 0])
        return Boxes(self.ids[some], self.bounds[some])


@contextmanager
def following_insert(conn: sa.Connection, table: sa.Table, boxes: Boxes | None) -> Iterator[None]:
    """Inside, rows with these boxes are inserted."""
    if boxes is None:
        yield
        _touch(conn, table)
        return
    filled = boxes.filled()
    if len(boxes.ids) <= _FEW:
        yield
    else:
        with _without(conn, table, ("insert",)):
            yield
            _add(conn, table, filled)
    _widen(conn, table, filled)


@contextmanager
def without_plain_indexes(conn: sa.Connection, table: sa.Table, number: int) -> Iterator[None]:
    """Inside, ``number`` rows are inserted: where they are the larger part, ordinary indexes are sorted at once afterwards."""
    held = conn.execute(sa.select(sa.func.count()).select_from(table)).scalar_one() if number > _MANY else number
    if number <= held:
        yield
        return
    indexes = sorted(table.indexes, key=lambda index: str(index.name))
    for index in indexes:
        conn.exec_driver_sql(f'DROP INDEX IF EXISTS "{index.name}"')
    yield
    for index in indexes:
        index.create(conn)


@contextmanager
def following_update(conn: sa.Connection, table: sa.Table, boxes: Boxes | None) -> Iterator[None]:
    """Inside, geometries of the rows with these boxes are changed (None: no geometry is)."""
    if boxes is None:
        yield
        _touch(conn, table)
        return
    filled = boxes.filled()
    if len(boxes.ids) <= _FEW:
        yield
    else:
        with _without(conn, table, ("update2", "update6", "update7")):
            yield
            cursor = gpkg_schema.raw(conn).cursor()
            held, held_boxes = rtree.read(cursor, gpkg_schema.rtree_name(table))
            stay = ~np.isin(held, boxes.ids)
            there = np.isin(filled.ids, _ids(conn, table))
            ids = np.concatenate([held[stay], filled.ids[there]])
            both = np.concatenate([held_boxes[stay], rtree.outward_float32(filled.bounds[there])])
            rtree.write(cursor, gpkg_schema.rtree_name(table), ids, both)
    _widen(conn, table, filled)


@contextmanager
def following_delete(conn: sa.Connection, table: sa.Table, where: sa.ColumnElement[bool] | None) -> Iterator[None]:
    """Inside, the rows for which ``where`` holds (None: all) are deleted."""
    if gpkg_schema.geometry_column(table) is None:
        yield
        _touch(conn, table)
        return
    query = sa.select(sa.func.count()).select_from(table)
    leaving = conn.execute(query if where is None else query.where(where)).scalar_one()
    if leaving <= _FEW:
        yield
    else:
        with _without(conn, table, ("delete",)):
            yield
            _keep_only_present(conn, table)
    left = conn.execute(sa.select(sa.exists().select_from(table))).scalar_one()
    if left:
        _touch(conn, table)
    else:
        conn.exec_driver_sql(f"{_SET_EXTENT} WHERE table_name = ?", (None, None, None, None, table.name))


def rebuild(conn: sa.Connection, table: sa.Table, boxes: Boxes) -> None:
    """Pack the index anew from all of a table's boxes, and set the extent to exactly what they span."""
    filled = boxes.filled()
    rtree.write(gpkg_schema.raw(conn).cursor(), gpkg_schema.rtree_name(table), filled.ids, rtree.outward_float32(filled.bounds))
    conn.exec_driver_sql(f"{_SET_EXTENT} WHERE table_name = ?", (*extent(filled.bounds), table.name))


def extent(bounds: NDArray[np.float64]) -> tuple[float | None, float | None, float | None, float | None]:
    """minx, miny, maxx, maxy of (N, 4) boxes; four times None where there is no box."""
    if not np.isfinite(bounds).any():
        return None, None, None, None
    low, high = np.nanmin(bounds[:, :2], axis=0), np.nanmax(bounds[:, 2:], axis=0)
    return float(low[0]), float(low[1]), float(high[0]), float(high[1])


_NOW = "strftime('%Y-%m-%dT%H:%M:%fZ','now')"
_SET_EXTENT = f"UPDATE gpkg_contents SET min_x = ?, min_y = ?, max_x = ?, max_y = ?, last_change = {_NOW}"
_WIDEN = f"""UPDATE gpkg_contents SET min_x = min(coalesce(min_x, ?1), ?1), min_y = min(coalesce(min_y, ?2), ?2),
max_x = max(coalesce(max_x, ?3), ?3), max_y = max(coalesce(max_y, ?4), ?4), last_change = {_NOW} WHERE table_name = ?5"""


@contextmanager
def _without(conn: sa.Connection, table: sa.Table, triggers: tuple[str, ...]) -> Iterator[None]:
    """Inside, these triggers do not exist. All is one transaction: after an error nothing of it has happened."""
    for trigger in triggers:
        conn.exec_driver_sql(f'DROP TRIGGER IF EXISTS "{gpkg_schema.rtree_name(table)}_{trigger}"')
    yield
    for trigger in triggers:
        conn.exec_driver_sql(gpkg_schema.trigger_sql(table, trigger))


def _add(conn: sa.Connection, table: sa.Table, boxes: Boxes) -> None:
    cursor, name = gpkg_schema.raw(conn).cursor(), gpkg_schema.rtree_name(table)
    new = rtree.outward_float32(boxes.bounds)
    (held,) = cursor.execute(f'SELECT count(*) FROM "{name}_rowid"').fetchone()
    if len(boxes.ids) < _PACK_SHARE * held:
        rtree.append(cursor, name, boxes.ids, new)
        return
    old_ids, old = rtree.read(cursor, name) if held else (boxes.ids[:0], new[:0])
    rtree.write(cursor, name, np.concatenate([old_ids, boxes.ids]), np.concatenate([old, new]))


def _keep_only_present(conn: sa.Connection, table: sa.Table) -> None:
    cursor, name = gpkg_schema.raw(conn).cursor(), gpkg_schema.rtree_name(table)
    present = _ids(conn, table)
    ids, boxes = rtree.read(cursor, name) if present.size else (present, np.empty((0, 4), dtype=np.float32))
    stay = np.isin(ids, present)
    rtree.write(cursor, name, ids[stay], boxes[stay])


def _ids(conn: sa.Connection, table: sa.Table) -> NDArray[np.int64]:
    rows = gpkg_schema.raw(conn).execute(f'SELECT id FROM "{table.name}"').fetchall()
    return np.array(rows, dtype=np.int64).reshape(-1)


def _widen(conn: sa.Connection, table: sa.Table, boxes: Boxes) -> None:
    if boxes.ids.size:
        gpkg_schema.raw(conn).execute(_WIDEN, (*extent(boxes.bounds), table.name))
    else:
        _touch(conn, table)


def _touch(conn: sa.Connection, table: sa.Table) -> None:
    conn.exec_driver_sql(f"UPDATE gpkg_contents SET last_change = {_NOW} WHERE table_name = ?", (table.name,))
