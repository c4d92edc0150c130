"""Which end of a drawn line is the tie-in: every lateral is turned to run from there to its building."""

import numpy as np
import shapely
from numpy.typing import NDArray

from etl.batch import Batch
from etl.problems import Finding, finding, warning
from sewermap.errors import SourceError

Geometries = NDArray[np.object_]
_EQUAL = 1e-9
"""Distances of both ends to the mains that differ by less than this share are equal."""


def turned(batch: Batch, geometry: Geometries) -> tuple[Geometries, list[Finding]]:
    """Lines from tie-in to building, None where the tie-in cannot be told.

    ``tie_in`` of the section: ``start`` (lines are drawn from the main), ``end``, or ``main`` (whichever end is nearer to
    the mains). Without it lines are taken as drawn from the main, with one warning. Raises SourceError when the mains are
    asked for and there are none.
    """
    how = batch.section.tie_in
    if how == "main":
        return _by_mains(batch, geometry)
    if how == "end":
        return shapely.reverse(geometry), []
    first = batch.no()
    first[:1] = how is None
    reason = "its section does not say tie_in, so all lines are taken as drawn from the main (start)"
    return geometry, [warning(first, "tie_in", reason)]


def _by_mains(batch: Batch, geometry: Geometries) -> tuple[Geometries, list[Finding]]:
    mains = batch.known.mains
    if not len(mains):
        raise SourceError('[laterals] says tie_in = "main", but no mains are known; load [mains] too, or say start or end')
    tree = shapely.STRtree(mains)
    start = _distance(tree, shapely.get_point(geometry, 0))
    end = _distance(tree, shapely.get_point(geometry, -1))
    equal = ~shapely.is_missing(geometry) & (np.abs(start - end) <= _EQUAL * np.maximum(np.maximum(start, end), 1.0))
    turned_lines = np.where(end < start, shapely.reverse(geometry), geometry)
    turned_lines[equal] = None
    reason = "both ends of its line are equally far from the mains, so its tie-in cannot be told"
    return turned_lines, [finding(equal, "geometry", reason)]


def _distance(tree: shapely.STRtree, points: Geometries) -> NDArray[np.float64]:
    distance = np.full(len(points), np.nan)
    (which, _), found = tree.query_nearest(points, return_distance=True, all_matches=False)
    distance[which] = found
    return distance
