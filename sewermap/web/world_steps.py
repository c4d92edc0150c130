"""Geometries as whole steps of the web's Mercator square: 2 ** 30 of them from west to east and from north to south.

A step is 3.7 cm at the equator and less everywhere else, so that a rounded place is off by under 3 cm. A cell (a tile of zoom 15)
is 2 ** 15 steps wide.
"""

from dataclasses import dataclass

import numpy as np
import pyproj
import shapely
from numpy.typing import NDArray

from sewermap.errors import SewermapError

Whole = NDArray[np.int64]
Objects = NDArray[np.object_]

STEPS = 2**30
CELL_ZOOM = 15
CELL = STEPS >> CELL_ZOOM
NO_STEP = -1
WEB_MERCATOR = 3857
HALF_EQUATOR_M = np.pi * 6378137.0  # the sphere of EPSG:3857

POLYGON_TYPES = (3, 6)
LINE_TYPES = (1, 5)
"""shapely's type numbers: polygon and multipolygon, line and multiline."""


@dataclass(frozen=True, eq=False)
class Shapes:
    """Lines or rings, one after another: part k has the vertices starts[k] up to starts[k + 1] and belongs to row owner[k].

    x and y: steps from the world's west and north edge.
    """

    owner: Whole
    starts: Whole
    x: Whole
    y: Whole

    def __len__(self) -> int:
        return len(self.owner)

    @property
    def vertices(self) -> Whole:
        """How many vertices each part has."""
        return np.diff(self.starts)

    def boxes(self) -> Whole:
        """West, north, east and south of each part, shape (parts, 4)."""
        if not len(self):
            return np.zeros((0, 4), dtype=np.int64)
        ways = ((np.minimum, self.x), (np.minimum, self.y), (np.maximum, self.x), (np.maximum, self.y))
        return np.stack([way.reduceat(axis, self.starts[:-1]) for way, axis in ways], axis=1)

    def taken(self, parts: Whole) -> "Shapes":
        """These parts in this order."""
        counts = self.vertices[parts]
        starts = np.concatenate([[0], np.cumsum(counts)])
        rows = np.arange(starts[-1]) + np.repeat(self.starts[:-1][parts] - starts[:-1], counts)
        return Shapes(self.owner[parts], starts, self.x[rows], self.y[rows])


def objects(column: object) -> Objects:
    """A geometry column as an array of shapely geometries or None."""
    shapes = np.array(column, dtype=object).reshape(-1)
    shapes[~shapely.is_geometry(shapes)] = None
    return shapes


def steps_of(xy: NDArray[np.float64], crs: pyproj.CRS | None) -> tuple[Whole, Whole]:
    """Coordinates of the map's CRS, shape (N, 2), as steps; ``NO_STEP`` twice for a place that no web map can show.

    Raises SewermapError where there are coordinates and no CRS.
    """
    if not len(xy):
        return np.zeros(0, dtype=np.int64), np.zeros(0, dtype=np.int64)
    if crs is None:
        raise SewermapError("the layers do not say their CRS, so they cannot be put on the map")
    there = pyproj.Transformer.from_crs(crs, WEB_MERCATOR, always_xy=True).transform(xy[:, 0], xy[:, 1])
    world = np.array([0.5 + np.asarray(there[0]) / (2 * HALF_EQUATOR_M), 0.5 - np.asarray(there[1]) / (2 * HALF_EQUATOR_M)])
    known = (np.isfinite(world) & (world >= 0) & (world < 1)).all(axis=0)
    steps = np.where(known, np.rint(np.where(known, world, 0.0) * STEPS), NO_STEP).astype(np.int64)
    return steps[0], steps[1]


def shapes_of(geometries: Objects, crs: pyproj.CRS | None, types: tuple[int, ...]) -> Shapes:
    """Lines, or rings of polygons (outer ones one way round, holes the other, the closing vertex left out).

    Geometries of other types, empty ones and those that no web map can show are left out.
    """
    rows = np.flatnonzero(np.isin(shapely.get_type_id(geometries), types))
    parts, part_of = shapely.get_parts(geometries[rows], return_index=True)
    owner = rows[part_of]
    if types == POLYGON_TYPES:
        parts, ring_of = shapely.get_rings(shapely.orient_polygons(parts), return_index=True)
        owner = owner[ring_of]
    xy, part = shapely.get_coordinates(parts, return_index=True)
    x, y = steps_of(xy, crs)
    lost = np.zeros(len(parts), dtype=bool)
    lost[part[x == NO_STEP]] = True
    kept = ~lost[part]
    if types == POLYGON_TYPES and len(part):
        kept &= np.concatenate([part[1:] == part[:-1], [False]])
    counts = np.bincount(part[kept], minlength=len(parts))
    some = counts > 1
    kept &= some[part]
    return Shapes(owner[some], np.concatenate([[0], np.cumsum(counts[some])]), x[kept], y[kept])


def cell_keys(x: Whole, y: Whole) -> Whole:
    """The cell of each place as one number, column × 2 ** 15 + row."""
    return ((x // CELL) << CELL_ZOOM) + y // CELL


def cell_of(key: int) -> tuple[int, int]:
    """Column and row of a cell's number."""
    return key >> CELL_ZOOM, key & (CELL - 1)


def in_town_order(x: Whole, y: Whole) -> Whole:
    """The order of a curve that fills the square (Morton's): neighbours on the ground are neighbours in a file."""
    return _spread(x) | (_spread(y) << 1)


def _spread(value: Whole) -> Whole:
    """The bits of a number of 30 bits, each with a gap after it."""
    spread = value.astype(np.int64)
    for shift, mask in ((16, 0x0000FFFF0000FFFF), (8, 0x00FF00FF00FF00FF), (4, 0x0F0F0F0F0F0F0F0F), (2, 0x3333333333333333)):
        spread = (spread | (spread << shift)) & mask
    return np.asarray((spread | (spread << 1)) & 0x5555555555555555)
