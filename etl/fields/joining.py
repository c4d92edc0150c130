"""Parts of a lateral that are drawn one by one, to one line."""

import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from etl.problems import Finding, finding

Geometries = NDArray[np.object_]
_LINE = shapely.GeometryType.LINESTRING.value


def joined(geometry: Geometries, tie_in: str | None) -> tuple[Geometries, list[Finding]]:
    """One line for each lateral, None where there is none; and laterals whose parts do not make one line.

    Parts are joined where they meet exactly: with a gap, however small, nobody knows what lies in it. Where parts are drawn
    against each other, the line goes as its first part starts, or as its last one ends; if neither lies at an end of the
    line, it cannot be told which way the whole was drawn, which matters unless the tie-in is found by the mains.
    """
    many = ~shapely.is_missing(geometry) & (shapely.get_type_id(geometry) != _LINE)
    if not many.any():
        return geometry, []
    parts = geometry[many]
    line = shapely.line_merge(parts, directed=True)
    again = shapely.get_type_id(line) != _LINE
    line[again] = shapely.line_merge(parts[again])
    apart = shapely.get_type_id(line) != _LINE
    line[apart] = None
    line, unclear = _as_drawn(line, parts)
    unclear &= np.full(len(parts), tie_in != "main")
    line[unclear] = None
    merged = geometry.copy()
    merged[many] = line
    count = pd.Series(np.zeros(len(geometry), dtype=int))
    count[many] = shapely.get_num_geometries(parts)
    return merged, [
        finding(_spread(many, apart), "geometry", "its " + count.astype(str) + " parts do not join end to end into one line"),
        finding(_spread(many, unclear), "geometry", "its parts are drawn in different directions, so its start cannot be told"),
    ]


def _as_drawn(line: Geometries, parts: Geometries) -> tuple[Geometries, NDArray[np.bool_]]:
    """Lines turned so that they go the way their parts do, and those of which that cannot be told."""
    first = shapely.get_point(shapely.get_geometry(parts, 0), 0)
    last = shapely.get_point(shapely.get_geometry(parts, -1), -1)
    start, end = shapely.get_point(line, 0), shapely.get_point(line, -1)
    as_is = shapely.equals(start, first) | shapely.equals(end, last)
    against = ~as_is & (shapely.equals(end, first) | shapely.equals(start, last))
    directed = shapely.get_type_id(shapely.line_merge(parts, directed=True)) == _LINE
    turned = line.copy()
    turned[against & ~directed] = shapely.reverse(line[against & ~directed])
    return turned, ~shapely.is_missing(line) & ~directed & ~as_is & ~against


def _spread(many: NDArray[np.bool_], of_parts: NDArray[np.bool_]) -> NDArray[np.bool_]:
    spread = np.zeros(len(many), dtype=bool)
    spread[many] = of_parts
    return spread
