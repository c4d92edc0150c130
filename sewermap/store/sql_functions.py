"""The ST_ functions that the triggers of a GeoPackage's spatial index call, given to each SQLite connection.

They read the envelope, or a point's coordinates, off the blob; only a blob without either is decoded whole.
"""

import sqlite3
import struct
from collections.abc import Callable

from sewermap.store.geometry import geometries_from_blobs

_ENVELOPES = {1: "4d", 2: "6d", 3: "6d", 4: "8d"}
_PLAIN_HEADER = 8
_POINT_TYPES = {1, 1001, 2001, 3001}


def register(connection: sqlite3.Connection) -> None:
    """Give a connection ST_IsEmpty, ST_MinX, ST_MaxX, ST_MinY and ST_MaxY of GeoPackage geometry blobs."""
    connection.create_function("ST_IsEmpty", 1, is_empty, deterministic=True)
    for name, side in (("ST_MinX", 0), ("ST_MaxX", 1), ("ST_MinY", 2), ("ST_MaxY", 3)):
        connection.create_function(name, 1, _side_of_box(side), deterministic=True)


def is_empty(blob: bytes | None) -> int | None:
    """1 if a geometry has no coordinates, 0 if it has, None for None."""
    box = None if blob is None else box_of(blob)
    if blob is None:
        return None
    return int(box is None)


def box_of(blob: bytes) -> tuple[float, float, float, float] | None:
    """minx, maxx, miny, maxy of a geometry blob in map units; None for an empty geometry.

    >>> import shapely
    >>> from sewermap.store.geometry import blobs_from_geometries
    >>> box_of(blobs_from_geometries([shapely.Point(3, 4)], 0)[0])
    (3.0, 3.0, 4.0, 4.0)
    """
    flags = blob[3]
    order = "<" if flags & 1 else ">"
    shape = _ENVELOPES.get(flags >> 1 & 7)
    if shape:
        minx, maxx, miny, maxy = struct.unpack_from(order + shape, blob, _PLAIN_HEADER)[:4]
        return None if minx != minx else (minx, maxx, miny, maxy)  # noqa: PLR0124 - NaN says empty
    order = "<" if blob[_PLAIN_HEADER] else ">"
    kind, x, y = struct.unpack_from(order + "Idd", blob, _PLAIN_HEADER + 1) if len(blob) >= _PLAIN_HEADER + 21 else (0, 0.0, 0.0)
    if kind in _POINT_TYPES:
        return None if x != x else (x, x, y, y)  # noqa: PLR0124
    shape_box = geometries_from_blobs([blob])[0].bounds
    if shape_box[0] != shape_box[0]:
        return None
    return shape_box[0], shape_box[2], shape_box[1], shape_box[3]


def _side_of_box(side: int) -> Callable[[bytes | None], float | None]:
    def bound(blob: bytes | None) -> float | None:
        box = None if blob is None else box_of(blob)
        return None if box is None else box[side]

    return bound
