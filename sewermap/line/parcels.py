"""Which parcel a lateral belongs to.

By its key where the map has one; else through the building that it serves. A building is never asked to lie inside its parcel:
drawn walls cross drawn boundaries nearly everywhere, so the parcel that shares most of its floor is taken.
"""

import numpy as np
import pandas as pd
import shapely
from numpy.typing import ArrayLike, NDArray

from sewermap.line.reference import Lines, plan_of

NEAR_BUILDING_M = 2.0
"""A building this near to a lateral's building end is the one it serves; common practice, no source."""

TOUCH_M = 0.001
"""Nearer to a parcel than this is in it: what is drawn along a boundary is rarely on it to the last digit."""

_HOW = (
    "no parcel bears its property, and neither a building nor a parcel was found at its building end",
    "the parcel that holds its building end",
    "the parcel of the building at its end",
    "the parcel of its property",
)

Whole = NDArray[np.int64]
Shapes = NDArray[np.object_]


def own_parcels(
    lines: Lines,
    lateral_property: pd.Series,
    parcel_property: pd.Series,
    parcel_geometry: ArrayLike,
    building_property: pd.Series,
    building_geometry: ArrayLike,
) -> pd.DataFrame:
    """The parcel that each lateral belongs to, and how it was found.

    ``lines`` (L) run from tie-in to building; ``lateral_property`` (L,), ``parcel_property`` (P,) and ``building_property``
    (B,) are keys, missing where unknown; ``parcel_geometry`` and ``building_geometry`` are Polygons or MultiPolygons in the
    units of the lines, or None. Returns one row a lateral: ``parcel``, a place in the parcels or -1, and ``reason``, in plain
    words. In this order:

    1. the parcel of the lateral's own property;
    2. the parcel of the building nearest to the building end, if within 2 m: the one of its property, else the one with
       the largest shared area;
    3. the parcel that holds the building end.

    Where several are equally good, the one in which the lateral runs longest.

    >>> from sewermap.line.reference import lines_from_geometries
    >>> lines = lines_from_geometries([shapely.LineString([(0, 0), (0, 20)])])
    >>> unknown = pd.Series([None], dtype="str")
    >>> own_parcels(lines, unknown, unknown, [shapely.box(-9, 6, 9, 30)], unknown, [None]).to_dict("records")
    [{'parcel': 0, 'reason': 'the parcel that holds its building end'}]
    """
    parcels, buildings = valid_polygons(parcel_geometry), valid_polygons(building_geometry)
    tree = shapely.STRtree(parcels)
    ends = building_ends(lines)
    parcel = _named(lateral_property, parcel_property)
    how = np.where(parcel >= 0, 3, 0)

    rows = np.flatnonzero(parcel < 0)
    at, building = shapely.STRtree(buildings).query_nearest(ends[rows], max_distance=NEAR_BUILDING_M / lines.metres_per_unit)
    needed, place = np.unique(building, return_inverse=True)
    served = _parcels_of_buildings(buildings[needed], building_property.iloc[needed], parcels, parcel_property, tree)[place]
    _take(lines, parcels, rows[at[served >= 0]], served[served >= 0], parcel)
    how[(parcel >= 0) & (how == 0)] = 2

    rows = np.flatnonzero(parcel < 0)
    at, holds = tree.query(ends[rows], predicate="dwithin", distance=TOUCH_M / lines.metres_per_unit)
    _take(lines, parcels, rows[at], holds, parcel)
    how[(parcel >= 0) & (how == 0)] = 1
    return pd.DataFrame({"parcel": parcel, "reason": pd.array(np.array(_HOW, dtype=object)[how], dtype="str")})


def building_ends(lines: Lines) -> Shapes:
    """The last point (L,) of each line, where it meets its building."""
    return np.asarray(shapely.points(lines.coords[lines.offsets[1:] - 1, :2]), dtype=object)


def valid_polygons(shapes: ArrayLike) -> Shapes:
    """Parcels and buildings as drawn, mended where a ring crosses itself; None stays None.

    Overlays raise on an invalid polygon, and drawn parcels always hold a few of them.

    >>> valid_polygons([shapely.Polygon([(0, 0), (2, 2), (2, 0), (0, 2)]), None])[0].area
    2.0
    """
    polygons = np.array(shapes, dtype=object).reshape(-1)
    wrong = ~shapely.is_valid(polygons) & ~shapely.is_missing(polygons)
    polygons[wrong] = shapely.make_valid(polygons[wrong], method="structure", keep_collapsed=False)
    return polygons


def _named(wanted: pd.Series, names: pd.Series) -> Whole:
    """Place of each wanted key among the names (the first of equals), -1 where it is missing or not among them."""
    places = pd.Series(np.arange(len(names)), index=pd.Index(names, dtype=object))
    places = places[places.index.notna() & ~places.index.duplicated()]
    return wanted.astype(object).map(places).fillna(-1).to_numpy(np.int64, copy=True)


def _parcels_of_buildings(
    buildings: Shapes, building_property: pd.Series, parcels: Shapes, parcel_property: pd.Series, tree: shapely.STRtree
) -> Whole:
    """The parcel of each building: by key, else the largest shared area; -1 where it shares none."""
    found = _named(building_property, parcel_property)
    rows = np.flatnonzero(found < 0)
    at, touched = tree.query(buildings[rows], predicate="intersects")
    shared = shapely.area(shapely.intersection(buildings[rows[at]], parcels[touched]))
    _best(rows[at[shared > 0]], touched[shared > 0], shared[shared > 0], found)
    return found


def _take(lines: Lines, parcels: Shapes, rows: Whole, candidates: Whole, parcel: Whole) -> None:
    """Writes into ``parcel`` the candidate of each row; of several, the one in which the lateral runs longest."""
    several = np.bincount(rows, minlength=len(parcel))[rows] > 1
    length = np.zeros(len(rows))
    if several.any():
        length[several] = shapely.length(shapely.intersection(plan_of(lines)[rows[several]], parcels[candidates[several]]))
    _best(rows, candidates, length, parcel)


def _best(rows: Whole, candidates: Whole, score: NDArray[np.float64], result: Whole) -> None:
    """Writes into ``result`` the candidate with the highest score of each row, the first of equals."""
    order = np.lexsort((-candidates, score, rows))
    # Where a row comes several times, numpy keeps what is written last: the highest score.
    result[rows[order]] = candidates[order]
