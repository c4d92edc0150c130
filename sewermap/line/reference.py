"""A lateral as a linear element: measure to point and back, for millions of rows at once.

The measure is the distance along the line from its first vertex, the tie-in (ISO 19148: linear element = lateral, method =
absolute). A batch of lines is one flat array of vertices with the place where each line starts, so that nothing here walks
over lines or rows in Python. Measures are metres; coordinates are the map's, and ``metres_per_unit`` stands between them.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray

from sewermap.errors import MeasureError

SLACK = 1e-9
"""A measure may pass an end of its line by this part of the line's length: rounding, not a fault."""

_PAIRS_AT_ONCE = 2_000_000
"""Points times segments held in memory at a time by measure_of."""

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Lines:
    """Many lines in flat arrays: line ``i`` owns the vertices ``offsets[i]`` to ``offsets[i + 1]`` (not included).

    ``coords`` (V, 2 or 3) in map units (Z in the same), ``offsets`` (L + 1,), ``cumulative_m`` (V,) the measure of each
    vertex in metres, ``metres_per_unit`` of the map's CRS. Made by ``lines_from_geometries``.
    """

    coords: NDArray[np.float64]
    offsets: NDArray[np.int64]
    cumulative_m: NDArray[np.float64]
    metres_per_unit: float = 1.0

    def __len__(self) -> int:
        return len(self.offsets) - 1

    @cached_property
    def length_m(self) -> NDArray[np.float64]:
        """Length of each line (L,), metres: 3-D where every vertex of the line has Z, else 2-D."""
        return self.cumulative_m[self.offsets[1:] - 1]

    @cached_property
    def most_vertices(self) -> int:
        """Vertices of the line that has most of them; 0 where there is no line."""
        return int(np.diff(self.offsets).max(initial=0))


def lines_from_geometries(geometries: ArrayLike, metres_per_unit: float = 1.0) -> Lines:
    """Lines from an array (L,) of LineStrings in a projected CRS whose unit is ``metres_per_unit`` metres.

    A line is measured in 3-D when every vertex of it has a finite Z, else in 2-D: a Z that is missing somewhere would
    make a wall of it. Raises MeasureError where an entry is no LineString, is empty, or has an X or Y that is not finite.

    >>> lines = lines_from_geometries([shapely.LineString([(0, 0), (3, 4), (3, 10)])])
    >>> lines.length_m.tolist(), lines.cumulative_m.tolist()
    ([11.0], [0.0, 5.0, 11.0])
    """
    shapes = np.asarray(geometries, dtype=object)
    wrong = (shapely.get_type_id(shapes) != shapely.GeometryType.LINESTRING) | shapely.is_empty(shapes)
    if wrong.any():
        raise MeasureError(f"line {np.flatnonzero(wrong)[0]} of {len(shapes)} is no single line with vertices")
    coords, owner = shapely.get_coordinates(shapes, include_z=bool(shapely.has_z(shapes).any()), return_index=True)
    if not np.isfinite(coords[:, :2]).all():
        line = owner[~np.isfinite(coords[:, :2]).all(axis=1)][0]
        raise MeasureError(f"line {line} of {len(shapes)} has a vertex without a finite X and Y")
    offsets = np.zeros(len(shapes) + 1, dtype=np.int64)
    np.cumsum(np.bincount(owner, minlength=len(shapes)), out=offsets[1:])
    return Lines(coords, offsets, _cumulative(coords, offsets, owner) * metres_per_unit, metres_per_unit)


def point_at(lines: Lines, line_index: ArrayLike, measure_m: ArrayLike) -> NDArray[np.float64]:
    """X and Y (N, 2), in map units, of the point at each measure of its line; never clamped to the line.

    ``line_index`` (N,) says which line, ``measure_m`` (N,) metres from its start. Sort by line first where there are
    millions: the vertices of neighbouring rows then lie together in memory. Raises MeasureError, naming the first
    offender, where a measure is not finite or lies outside its line by more than rounding.

    >>> point_at(lines_from_geometries([shapely.LineString([(0, 0), (3, 4), (3, 10)])]), [0, 0], [2.5, 8]).tolist()
    [[1.5, 2.0], [3.0, 7.0]]
    """
    vertex, share = segment_at(lines, line_index, measure_m)
    plan = lines.coords[:, :2]
    point = plan.take(vertex + 1, axis=0)
    first = plan.take(vertex, axis=0)
    point -= first
    point *= share[:, None]
    point += first
    return point


def segment_at(lines: Lines, line_index: ArrayLike, measure_m: ArrayLike) -> tuple[Whole, Floats]:
    """The vertex (N,) where the segment begins that holds each measure of its line, and how far along it, from 0 to 1.

    Raises MeasureError as point_at does.

    >>> vertex, share = segment_at(lines_from_geometries([shapely.LineString([(0, 0), (3, 4), (3, 10)])]), [0, 0], [2.5, 8])
    >>> vertex.tolist(), share.tolist()
    ([0, 1], [0.5, 0.5])
    """
    which, measure = _asked(lines, line_index, measure_m)
    vertex = _vertex_before(lines, which, measure)
    start = lines.cumulative_m.take(vertex)
    span = lines.cumulative_m.take(vertex + 1) - start
    # A segment of no length keeps its start: 0 divided by 1.
    return vertex, np.clip((measure - start) / np.where(span > 0, span, 1.0), 0.0, 1.0)


def measure_of(lines: Lines, line_index: ArrayLike, xy: ArrayLike) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """The measure (N,) of the foot of each point on its line, and the distance (N,) from point to foot; both metres.

    ``line_index`` (N,) says which line, ``xy`` (N, 2) are map coordinates. The foot is the nearest point of the line in
    plan; of several equally near, the one with the lowest measure. A vertical piece of a 3-D line is one point in plan,
    and gives the measure of its beginning. Raises MeasureError where a coordinate is not finite.

    >>> measure_of(lines_from_geometries([shapely.LineString([(0, 0), (30, 30)])]), [0], [(15, 15.1)])[1].round(7)
    array([0.0707107])
    """
    which = _line_numbers(lines, line_index)
    points = np.asarray(xy, dtype=np.float64).reshape(-1, 2)
    if len(points) != len(which) or not np.isfinite(points).all():
        raise MeasureError("a point has no foot on a line: each needs a line, and an X and Y that are finite")
    segments = np.diff(lines.offsets).take(which) - 1
    # Chunks bound the memory; each is one flat run of points against all segments of their lines.
    ends = np.cumsum(segments)
    cuts = np.searchsorted(ends, np.arange(_PAIRS_AT_ONCE, int(segments.sum()), _PAIRS_AT_ONCE))
    feet = [_feet(lines, which[rows], points[rows], segments[rows]) for rows in np.split(np.arange(len(which)), cuts)]
    return np.concatenate([measure for measure, _ in feet]), np.concatenate([distance for _, distance in feet])


def parts_between(lines: Lines, line_index: ArrayLike, from_m: ArrayLike, to_m: ArrayLike) -> NDArray[np.object_]:
    """The part (N,) of each line between two of its measures, as a 2-D LineString in map units.

    It runs from ``from_m`` to ``to_m``, so backwards where the first is the larger. Between equal measures it is a line of
    two equal points. Raises MeasureError as point_at does.

    >>> lines = lines_from_geometries([shapely.LineString([(0, 0), (3, 4), (3, 10)])])
    >>> parts_between(lines, [0], [2.5], [8])[0].wkt
    'LINESTRING (1.5 2, 3 4, 3 7)'
    """
    which, first = _asked(lines, line_index, from_m)
    _, last = _asked(lines, line_index, to_m)
    low, high = np.minimum(first, last), np.maximum(first, last)
    inner = _vertex_before(lines, which, low) + 1
    count = np.maximum(_vertices_below(lines, which, high) - inner + 1, 0)
    # Flat rows of each part: its beginning, the vertices strictly between, its end.
    ends = np.cumsum(count + 2)
    starts = ends - count - 2
    coords = np.empty((int(ends[-1]) if len(ends) else 0, 2))
    coords[starts] = point_at(lines, which, low)
    coords[ends - 1] = point_at(lines, which, high)
    row = _ranges(count)
    coords[np.repeat(starts + 1, count) + row] = lines.coords[np.repeat(inner, count) + row, :2]
    parts = _linestrings(coords, np.repeat(np.arange(len(count)), count + 2))
    backwards = first > last
    parts[backwards] = shapely.reverse(parts[backwards])
    return parts


def plan_of(lines: Lines) -> NDArray[np.object_]:
    """The lines (L,) as 2-D LineStrings, for questions that are put to the map.

    >>> plan_of(lines_from_geometries([shapely.LineString([(0, 0, 5), (3, 4, 6)])]))[0].wkt
    'LINESTRING (0 0, 3 4)'
    """
    return _linestrings(lines.coords[:, :2], np.repeat(np.arange(len(lines)), np.diff(lines.offsets)))


def _linestrings(coords: Floats, owner: Whole) -> NDArray[np.object_]:
    return np.asarray(shapely.linestrings(coords, indices=owner) if len(owner) else [], dtype=object)


def _cumulative(coords: Floats, offsets: Whole, owner: Whole) -> Floats:
    """Distance of each vertex from the start of its line, in map units."""
    step = np.diff(coords, axis=0, prepend=coords[:1])
    if coords[:, 2:].size:
        has_z = np.bincount(owner, weights=~np.isfinite(coords[:, 2]), minlength=len(offsets) - 1) == 0
        step[~has_z[owner], 2] = 0.0
    length: Floats = np.sqrt(np.einsum("ij,ij->i", step, step))
    length[offsets[:-1]] = 0.0
    running = np.cumsum(length)
    along = running - running[offsets[:-1]][owner]
    # The running sum of a million lines has lost the last digits of each. What was lost per vertex is summed up, and
    # this tiny sum put back: the result is as good as if each line had been added up by itself.
    lost = length - np.diff(along, prepend=0.0)
    lost[offsets[:-1]] = 0.0
    running = np.cumsum(lost)
    along += running - running[offsets[:-1]][owner]
    return along


def _line_numbers(lines: Lines, line_index: ArrayLike) -> Whole:
    which = np.asarray(line_index, dtype=np.int64).reshape(-1)
    if len(which) and (which.min() < 0 or which.max() >= len(lines)):
        raise MeasureError(f"there is no line {which[(which < 0) | (which >= len(lines))][0]} among {len(lines)} lines")
    return which


def _asked(lines: Lines, line_index: ArrayLike, measure_m: ArrayLike) -> tuple[Whole, Floats]:
    """Line numbers and measures, checked, with rounding at the two ends taken off."""
    which = _line_numbers(lines, line_index)
    measure = np.asarray(measure_m, dtype=np.float64).reshape(-1)
    if len(which) != len(measure):
        raise MeasureError(f"{len(measure)} measures are asked of {len(which)} lines; each needs its own")
    length = lines.length_m.take(which)
    slack = SLACK * length
    outside = ~((measure >= -slack) & (measure <= length + slack))
    if outside.any():
        row = np.flatnonzero(outside)[0]
        raise MeasureError(
            f"measure {measure[row]:.10g} m is not on line {which[row]}, which runs from 0 to {length[row]:.10g} m"
            f" ({outside.sum()} of {len(measure)} measures are off their lines)"
        )
    return which, np.clip(measure, 0.0, length)


def _vertex_before(lines: Lines, which: Whole, measure: Floats) -> Whole:
    """The last vertex at or before each measure, never the last of its line: the start of the segment that holds it."""
    return _bisected(lines, which, measure, np.less_equal)


def _vertices_below(lines: Lines, which: Whole, measure: Floats) -> Whole:
    """The last vertex strictly before each measure, at least the first of its line."""
    return _bisected(lines, which, measure, np.less)


def _bisected(lines: Lines, which: Whole, measure: Floats, before: np.ufunc) -> Whole:
    """Bisection inside each row's own line, all rows at once.

    One search over a running sum of all lines would be shorter and slower, and would take the wrong segment near a vertex
    when the sum is large; here measures are only ever compared with measures of the same line.
    """
    vertex = lines.offsets.take(which)
    last = lines.offsets.take(which + 1) - 2
    step = 1 << max(lines.most_vertices - 2, 1).bit_length() - 1
    while step:
        ahead = np.minimum(vertex + step, last)
        vertex = np.where(before(lines.cumulative_m.take(ahead), measure), ahead, vertex)
        step >>= 1
    return vertex


def _feet(lines: Lines, which: Whole, points: Floats, segments: Whole) -> tuple[Floats, Floats]:
    """Feet of points, each against all segments of its line."""
    if not len(which):
        return np.empty(0), np.empty(0)
    begins = np.cumsum(segments) - segments
    vertex = np.repeat(lines.offsets.take(which), segments) + _ranges(segments)
    start = lines.coords[:, :2].take(vertex, axis=0)
    along = lines.coords[:, :2].take(vertex + 1, axis=0) - start
    away = np.repeat(points, segments, axis=0) - start
    square = np.einsum("ij,ij->i", along, along)
    share = np.clip(np.einsum("ij,ij->i", away, along) / np.where(square > 0, square, 1.0), 0.0, 1.0)
    away -= share[:, None] * along
    distance = np.hypot(away[:, 0], away[:, 1])
    nearest = np.minimum.reduceat(distance, begins)
    # The first segment of each point's run that reaches the least distance.
    hit = np.flatnonzero(distance == np.repeat(nearest, segments))
    hit = hit[np.searchsorted(hit, begins)]
    first = lines.cumulative_m.take(vertex[hit])
    measure = first + share[hit] * (lines.cumulative_m.take(vertex[hit] + 1) - first)
    return measure, nearest * lines.metres_per_unit


def _ranges(counts: Whole) -> Whole:
    """0 .. n - 1 for each count, one after the other: [2, 0, 3] gives 0 1 0 1 2."""
    ends = np.cumsum(counts)
    return np.arange(int(ends[-1]) if len(ends) else 0) - np.repeat(ends - counts, counts)
