"""Faults of a GeoPackage file, and what of them can be mended.

The checks go beyond what the validator of GDAL does in two points: an extent in ``gpkg_contents`` that is too small
(requirement 148), and a user table that is not listed there.
"""

from collections.abc import Iterator

import numpy as np
import shapely
import sqlalchemy as sa

from sewermap.store import gpkg_index, gpkg_schema, rtree
from sewermap.store.geometry import SRID_OF_DIALECT, Geometry, geometries_from_blobs
from sewermap.store.tables import metadata

_BOX_SLACK = 4 * np.finfo(np.float32).eps
"""A box may be larger than its geometry by rounding to float32, not more."""

_NEXT_TO_NOTHING = 1e-30
"""SQLite's own rounding goes wrong below what float32 can say near 0."""

_SHOWN = 5
_SYSTEM_TABLES = ("gpkg_", "rtree_", "sqlite_")


def unusable_tables(conn: sa.Connection) -> set[str]:
    """Tables of ours that the file has not, or not with all their columns."""
    return {
        table.name
        for table in metadata.sorted_tables
        if not {row[1] for row in conn.exec_driver_sql(f'PRAGMA table_info("{table.name}")')}.issuperset(table.c.keys())
    }


def faults(conn: sa.Connection) -> Iterator[str]:
    """All faults of the file, of its definitions and of its layers."""
    yield from _file_faults(conn)
    yield from _definition_faults(conn)
    yield from _listing_faults(conn)
    unusable = unusable_tables(conn)
    for table in metadata.sorted_tables:
        if gpkg_schema.geometry_column(table) is not None and table.name not in unusable:
            yield from _layer_faults(conn, table)


def mend(conn: sa.Connection) -> Iterator[str]:
    """Make indexes, triggers, lists and extents anew. Tables that are missing or were redefined are left."""
    changed = {
        name for name, sql in gpkg_schema.expected_definitions().items() if gpkg_schema.definitions_in(conn).get(name) != sql
    }
    conn.exec_driver_sql(f"PRAGMA application_id = {gpkg_schema.APPLICATION_ID}")
    conn.exec_driver_sql(f"PRAGMA user_version = {gpkg_schema.USER_VERSION}")
    for table in metadata.sorted_tables:
        if table.name in changed:
            continue
        for index in table.indexes:
            if index.name in changed:
                conn.exec_driver_sql(f'DROP INDEX IF EXISTS "{index.name}"')
                index.create(conn)
                yield f"{table.name}: the index {index.name} was made anew."
        yield from _listed_again(conn, table)
        if gpkg_schema.geometry_column(table) is not None:
            _index_again(conn, table)
            yield f"{table.name}: its spatial index and extent were made anew."


def _file_faults(conn: sa.Connection) -> Iterator[str]:
    for (line,) in conn.exec_driver_sql(f"PRAGMA integrity_check({_SHOWN})"):
        if line != "ok":
            yield f"The file is damaged: {line}."
    broken = conn.exec_driver_sql("PRAGMA foreign_key_check").all()
    for child, parent in sorted({(row[0], row[2]) for row in broken}):
        count = sum(row[0] == child and row[2] == parent for row in broken)
        yield f"{child}: {count} {'row points' if count == 1 else 'rows point'} to a row of {parent} that is not there."
    for pragma, right in (("application_id", gpkg_schema.APPLICATION_ID), ("user_version", gpkg_schema.USER_VERSION)):
        found = conn.exec_driver_sql(f"PRAGMA {pragma}").scalar_one()
        if found != right:
            yield f"The file's {pragma} is {found}, not {right}: other programs will not take it for a GeoPackage 1.4."


def _definition_faults(conn: sa.Connection) -> Iterator[str]:
    there = gpkg_schema.definitions_in(conn)
    for name, sql in gpkg_schema.expected_definitions().items():
        if name not in there:
            yield f"{name} is missing: another program removed it."
        elif there[name] != sql and not name.startswith("gpkg_") and not name.endswith(("_node", "_rowid", "_parent")):
            yield f"{name} is not as sewermap made it: another program changed its definition."


def _listing_faults(conn: sa.Connection) -> Iterator[str]:
    listed = {name for (name,) in conn.exec_driver_sql("SELECT table_name FROM gpkg_contents")}
    tables = [name for (name,) in conn.exec_driver_sql("SELECT name FROM sqlite_master WHERE type = 'table' ORDER BY name")]
    for name in tables:
        if name not in listed and not name.startswith(_SYSTEM_TABLES):
            yield f"{name} is not listed in gpkg_contents: other programs will not see it."
    layers = {name for (name,) in conn.exec_driver_sql("SELECT table_name FROM gpkg_geometry_columns")}
    for table in metadata.sorted_tables:
        if gpkg_schema.geometry_column(table) is not None and table.name not in layers and table.name in tables:
            yield f"{table.name} is not listed in gpkg_geometry_columns: other programs will not see it as a layer."


def _layer_faults(conn: sa.Connection, table: sa.Table) -> Iterator[str]:
    ids, shapes, unreadable = _shapes(conn, table)
    if unreadable:
        yield f"{table.name}: {unreadable} geometries cannot be read."
    column = gpkg_schema.geometry_column(table)
    kind = column.type.kind if column is not None and isinstance(column.type, Geometry) else ""
    wrong = sum(shape is not None and shape.geom_type.upper() != kind for shape in shapes)
    if wrong:
        yield f"{table.name}: {wrong} geometries are no {kind}."
    boxes = gpkg_index.Boxes(ids, shapely.bounds(shapes)).filled()
    yield from _index_faults(conn, table, boxes)
    yield from _extent_faults(conn, table, boxes)


def _index_faults(conn: sa.Connection, table: sa.Table, boxes: gpkg_index.Boxes) -> Iterator[str]:
    name = gpkg_schema.rtree_name(table)
    if name not in gpkg_schema.definitions_in(conn):
        return  # told as a missing definition
    sound = conn.exec_driver_sql("SELECT rtreecheck('main', ?)", (name,)).scalar_one()
    if sound != "ok":
        yield f"{table.name}: its spatial index is damaged ({' '.join(sound.split())[:100]})."
        return
    held, found = rtree.read(gpkg_schema.raw(conn).cursor(), name)
    at, order = np.argsort(boxes.ids), np.argsort(held)
    if not np.array_equal(boxes.ids[at], held[order]):
        stale, lacking = np.setdiff1d(held, boxes.ids).size, np.setdiff1d(boxes.ids, held).size
        yield f"{table.name}: its spatial index has drifted: it lacks {lacking} rows and holds {stale} that are not there."
        return
    true = boxes.bounds[at][:, [0, 2, 1, 3]]
    outside = np.array([1, -1, 1, -1]) * (true - found[order])  # by how much each side lies beyond the true one
    slack = _BOX_SLACK * np.abs(true) + _NEXT_TO_NOTHING
    drifted = int(np.count_nonzero(((outside < -_NEXT_TO_NOTHING) | (outside > slack)).any(axis=1)))
    if drifted:
        yield f"{table.name}: its spatial index has drifted: {drifted} boxes are not those of their geometries."


def _extent_faults(conn: sa.Connection, table: sa.Table, boxes: gpkg_index.Boxes) -> Iterator[str]:
    row = conn.exec_driver_sql("SELECT min_x, min_y, max_x, max_y FROM gpkg_contents WHERE table_name = ?", (table.name,)).first()
    true = gpkg_index.extent(boxes.bounds)
    if row is None or true[0] is None or row[0] is None:
        if row is not None and true[0] is not None:
            yield f"{table.name}: gpkg_contents gives no extent for it."
        return
    low, high = np.array(true[:2], dtype=float), np.array(true[2:], dtype=float)
    if (np.array(row[:2]) > low).any() or (np.array(row[2:]) < high).any():
        yield f"{table.name}: its extent in gpkg_contents is too small for its geometries (requirement 148)."


def _shapes(conn: sa.Connection, table: sa.Table) -> tuple[np.ndarray, np.ndarray, int]:
    """Ids and geometries of a layer, and how many of its blobs are none."""
    rows = gpkg_schema.raw(conn).execute(f'SELECT id, geometry FROM "{table.name}"').fetchall()
    blobs = [blob if isinstance(blob, bytes) else None for _, blob in rows]
    shapes = geometries_from_blobs(blobs, on_invalid="ignore")
    unreadable = sum(value is not None and shape is None for (_, value), shape in zip(rows, shapes, strict=True))
    return np.array([number for number, _ in rows], dtype=np.int64), shapes, unreadable


def _listed_again(conn: sa.Connection, table: sa.Table) -> Iterator[str]:
    column = gpkg_schema.geometry_column(table)
    places = ["gpkg_contents", *(["gpkg_geometry_columns"] if column is not None else [])]
    rows = [conn.exec_driver_sql(f"SELECT 1 FROM {place} WHERE table_name = ?", (table.name,)).first() for place in places]
    if not all(rows):
        for place in reversed(places):
            conn.exec_driver_sql(f"DELETE FROM {place} WHERE table_name = ?", (table.name,))
        gpkg_schema.list_table(conn, table, int(getattr(conn.dialect, SRID_OF_DIALECT, 0)))
        yield f"{table.name}: it was listed again."


def _index_again(conn: sa.Connection, table: sa.Table) -> None:
    name = gpkg_schema.rtree_name(table)
    triggers = conn.exec_driver_sql("SELECT name FROM sqlite_master WHERE type = 'trigger' AND tbl_name = ?", (table.name,)).all()
    for (trigger,) in triggers:
        if trigger.startswith(name):
            conn.exec_driver_sql(f'DROP TRIGGER "{trigger}"')
    conn.exec_driver_sql(f'DROP TABLE IF EXISTS "{name}"')
    gpkg_schema.create_spatial_index(conn, table)
    ids, shapes, _ = _shapes(conn, table)
    gpkg_index.rebuild(conn, table, gpkg_index.Boxes(ids, shapely.bounds(shapes)))
