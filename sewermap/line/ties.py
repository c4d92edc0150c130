"""Swing ties: a place found again with a tape, from two fixed points that anybody can see.

Each tie is a distance from a fixed point, so a circle round it; two circles meet in the place, and once more on the other side
of the line between the points. How well they meet depends on the angle between them: with distances that are good to ``s``,
the meeting point is good to ``s * sqrt(2) / sin(angle)``, so ties that cross flatly are worth nothing and are never offered.
Corners are where the map draws them: a tie is as good as the map, not as the tape.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
import shapely
from numpy.typing import ArrayLike, NDArray

from sewermap.line.parcels import valid_polygons

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]

WINDS = ("east", "north-east", "north", "north-west", "west", "south-west", "south", "south-east")
MAP_CORNER = 1
"""The rank of a point that is a corner on the map alone (a parcel's): nothing need be seen of it in the ground. 0: a thing."""

_TAPE_M, _TAPE_SHARE = 0.01, 0.002
"""How well a distance is taped over rough ground: so much, and so much of the distance; common practice, no source."""

_DIGITS_M = 0.01
"""Distances are told in whole centimetres."""

_DRAWN_M = 0.02
"""Vertices that stand out of a wall by less than this, and walls that a line of sight touches by less, are drawing."""

_ONE_THING_M = 1.0
"""Points nearer to each other than this may be one thing drawn twice, as the corner that two parcels share."""

_OF_SEVERAL = {1: " (the one nearest to the place)", 2: " (the second nearest to the place)"}
_MOST_POINTS = 40
"""The nearest so many points are paired; farther ones would lose anyway."""


@dataclass(frozen=True)
class TieRules:
    """What makes a good tie; common practice, no source.

    From ``least_angle_deg`` (and its supplement) on, a tape that is 2 cm wrong on both ties puts the place at most 6 cm off,
    which is far less than any counter: flatter, the error grows without bound (at 20° it is 12 cm). ``miss_m``: how far the
    distances as told, in whole centimetres, may meet from the place.
    """

    nearest_m: float = 1.0
    farthest_m: float = 30.0
    least_angle_deg: float = 40.0
    corner_deg: float = 30.0
    miss_m: float = 0.01


@dataclass(frozen=True)
class Tie:
    """A fixed point in words, its place on the map (map units), and its distance from the spot in whole centimetres."""

    name: str
    x: float
    y: float
    distance_m: float


@dataclass(frozen=True)
class TiePair:
    """Two ties that meet in the spot at ``angle_deg``.

    ``wind`` says on which side of the line between the two points the spot lies (the circles meet on the other side too), and
    ``street_side`` whether that is the street's side; None where the line runs at the street or no street is known.
    """

    first: Tie
    second: Tie
    angle_deg: float
    wind: str
    street_side: bool | None


def building_corners(
    buildings: ArrayLike, names: Sequence[str], spot: Sequence[float], metres_per_unit: float = 1.0, rules: TieRules = TieRules()
) -> pd.DataFrame:
    """The corners of drawn buildings as fixed points: ``name``, ``rank`` (0), ``x``, ``y`` in map units.

    ``buildings`` (B,) are Polygons or MultiPolygons, or None; ``names`` (B,) is what each is called. A corner is where the
    outer wall turns by more than ``rules.corner_deg``; it is named by the way it points, as ``north-west corner of …``. Where
    two corners of a building point the same way, they are told apart by which is nearer to ``spot``.

    >>> building_corners([shapely.box(0, 0, 9, 5)], ["the barn"], (20, 0))["name"].tolist()
    ['south-east corner of the barn', 'north-east corner of the barn', 'north-west corner of the barn',
     'south-west corner of the barn']
    """
    shapes = shapely.simplify(valid_polygons(buildings), _DRAWN_M / metres_per_unit)
    parts, owner = shapely.get_parts(shapes, return_index=True)
    rings = shapely.get_exterior_ring(shapely.orient_polygons(parts))
    coords, ring = shapely.get_coordinates(shapely.force_2d(rings), return_index=True)
    if not len(coords):
        return pd.DataFrame({"name": pd.Series(dtype="str"), "rank": pd.Series(dtype=int), "x": np.empty(0), "y": np.empty(0)})
    before, after = _steps(coords, ring)
    turn = np.degrees(np.arctan2(before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0], (before * after).sum(axis=1)))
    # Rings run counter-clockwise and repeat their first vertex at the end, which is counted once.
    last = np.append(ring[1:] != ring[:-1], True)
    is_corner = (np.abs(turn) > rules.corner_deg) & ~last
    points_to = _wind_numbers(np.sign(turn)[:, None] * (_units(before) - _units(after)))
    what = np.where(turn > 0, " corner of ", " inner corner of ")
    called = pd.Series(list(names), dtype=object).to_numpy()[owner[ring]]
    table = pd.DataFrame({"rank": 0, "x": coords[:, 0], "y": coords[:, 1]})
    table.insert(0, "name", pd.Series(np.array(WINDS, dtype=object)[points_to] + what.astype(object) + called, dtype="str"))
    return _told_apart(table[is_corner], np.asarray(spot, float))


def swing_ties(
    spot: Sequence[float],
    points: pd.DataFrame,
    walls: ArrayLike,
    street: Sequence[float] | None = None,
    metres_per_unit: float = 1.0,
    rules: TieRules = TieRules(),
) -> list[TiePair]:
    """Up to two pairs of ties to a spot, the better first, that are independent; none where none is good.

    ``spot`` is a place on the map; ``points`` are fixed points (name, rank, x, y); ``walls`` (B,) are buildings that no line of
    sight passes through; ``street`` is a point of the nearest street. All in map units. Of the pairs that ``rules`` allow, those
    are taken whose meeting point a tape finds best; map corners (rank 1) only where there is no pair without them.

    >>> points = pd.DataFrame({"name": ["a", "b", "c"], "rank": 0, "x": [0.0, 6.0, 3.2], "y": [0.0, 0.0, -9.0]})
    >>> [(pair.first.name, pair.first.distance_m, pair.second.name, round(pair.angle_deg), pair.wind) for pair in
    ...  swing_ties((3, 4), points, [])]
    [('a', 5.0, 'b', 74, 'north')]
    """
    here = np.asarray(spot, dtype=np.float64)
    near = _in_sight(here, points, walls, metres_per_unit, rules)
    if len(near) < 2:  # noqa: PLR2004 - a pair is two
        return []
    away = (near[["x", "y"]].to_numpy(float) - here) * metres_per_unit
    first, second = np.triu_indices(len(near), 1)
    angle, error = _angles_and_errors(away, first, second)
    told = np.round(np.hypot(away[:, 0], away[:, 1]) / _DIGITS_M) * _DIGITS_M
    miss = _misses(away, told, first, second)
    good = (angle >= rules.least_angle_deg) & (angle <= 180 - rules.least_angle_deg) & (miss <= rules.miss_m)
    rank = near["rank"].to_numpy()[first] + near["rank"].to_numpy()[second]
    if good.any():
        good &= (rank == 0) | (rank[good].min() > 0)
    best = np.flatnonzero(good)[np.lexsort((second[good], first[good], error[good], rank[good]))]
    pairs = _independent(best, away, first, second)
    beside = None if street is None else (np.asarray(street, dtype=np.float64) - here) * metres_per_unit
    return [_pair(near, told, away, (first[row], second[row]), float(angle[row]), beside) for row in pairs]


def wind_of(direction: ArrayLike) -> str:
    """The word for a direction (x, y) on the map, one of eight; the map's north is up.

    >>> wind_of((-1, 1.2))
    'north-west'
    """
    return WINDS[int(_wind_numbers(np.asarray(direction, dtype=np.float64)[None, :])[0])]


def _steps(coords: Floats, ring: Whole) -> tuple[Floats, Floats]:
    """The wall before and after each vertex. The last vertex of a ring is its first again, so its wall before is taken."""
    before = np.diff(coords, axis=0, prepend=coords[:1])
    after = np.roll(before, -1, axis=0)
    starts = np.flatnonzero(np.append(True, ring[1:] != ring[:-1]))
    ends = np.append(starts[1:], len(ring)) - 1
    before[starts] = before[ends]
    return before, after


def _units(vectors: Floats) -> Floats:
    length = np.hypot(vectors[:, 0], vectors[:, 1])[:, None]
    return np.asarray(vectors / np.where(length > 0, length, 1.0), dtype=np.float64)


def _wind_numbers(directions: Floats) -> Whole:
    eighth = np.round(np.arctan2(directions[:, 1], directions[:, 0]) / (np.pi / 4))
    return np.asarray(eighth.astype(np.int64) % len(WINDS), dtype=np.int64)


def _told_apart(corners: pd.DataFrame, spot: Floats) -> pd.DataFrame:
    """Corners of one name get the order in which they come from the spot."""
    group, names = pd.factorize(corners["name"])
    several = np.bincount(group, minlength=len(names))[group] > 1
    away = np.hypot(corners["x"].to_numpy() - spot[0], corners["y"].to_numpy() - spot[1])
    order = np.lexsort((away, group))
    sorted_group = group[order]
    number = np.empty(len(order), dtype=np.int64)
    number[order] = np.arange(len(order)) - np.searchsorted(sorted_group, sorted_group) + 1
    words = [
        name + _OF_SEVERAL.get(at, f" (number {at} from the place)") if is_one else name
        for name, at, is_one in zip(corners["name"].tolist(), number.tolist(), several.tolist(), strict=True)
    ]
    return corners.assign(name=pd.Series(words, corners.index, dtype="str"))


def _in_sight(spot: Floats, points: pd.DataFrame, walls: ArrayLike, metres_per_unit: float, rules: TieRules) -> pd.DataFrame:
    """The points within reach that see the spot, the nearest first."""
    xy = points[["x", "y"]].to_numpy(float)
    away = np.hypot(*(xy - spot).T) * metres_per_unit
    near: pd.DataFrame = points.assign(away_m=away)[(away >= rules.nearest_m) & (away <= rules.farthest_m)]
    if near.empty:
        return near
    # Shrunk a little, so that a tape may run along a wall.
    solid = shapely.union_all(shapely.buffer(valid_polygons(walls), -_DRAWN_M / metres_per_unit))
    ends = near[["x", "y"]].to_numpy(float)
    sights = shapely.linestrings(np.stack([ends, np.broadcast_to(spot, ends.shape)], axis=1))
    seen: pd.DataFrame = near[~np.asarray(shapely.intersects(sights, solid), dtype=bool)]
    return seen.sort_values(["rank", "away_m", "name"]).head(_MOST_POINTS).reset_index(drop=True)


def _angles_and_errors(away: Floats, first: Whole, second: Whole) -> tuple[Floats, Floats]:
    """Degrees between the ties of each pair, and how well a tape finds where they meet (one sigma, metres)."""
    one, other = away[first], away[second]
    turn = np.abs(np.arctan2(one[:, 0] * other[:, 1] - one[:, 1] * other[:, 0], (one * other).sum(axis=1)))
    taped = _TAPE_M + _TAPE_SHARE * np.hypot(away[:, 0], away[:, 1])
    sine = np.maximum(np.sin(turn), 1e-9)
    return np.degrees(turn), np.hypot(taped[first], taped[second]) / sine


def _misses(away: Floats, told: Floats, first: Whole, second: Whole) -> Floats:
    """How far from the spot (the origin) the circles of the told distances meet; infinite where they do not."""
    one, other, r, s = away[first], away[second], told[first], told[second]
    base = np.hypot(*(other - one).T)
    safe = np.where(base > 0, base, 1.0)
    along = (other - one) / safe[:, None]
    foot = (r**2 - s**2 + base**2) / (2 * safe)
    square = r**2 - foot**2
    left = np.column_stack([-along[:, 1], along[:, 0]])
    height = np.sqrt(np.maximum(square, 0.0)) * np.sign(-(one * left).sum(axis=1))
    meets = one + foot[:, None] * along + height[:, None] * left
    return np.where((square > 0) & (base > 0), np.hypot(meets[:, 0], meets[:, 1]), np.inf)


def _independent(best: Whole, away: Floats, first: Whole, second: Whole) -> list[int]:
    """The best pair, and the best of those of which no point is one of its own, or the same thing drawn twice."""
    if not len(best):
        return []
    own = away[[first[best[0]], second[best[0]]]]
    near = (np.hypot(*(away[:, None, :] - own[None, :, :]).transpose(2, 0, 1)) < _ONE_THING_M).any(axis=1)
    free = ~near[first[best]] & ~near[second[best]]
    return [int(best[0]), *(int(row) for row in best[free][:1])]


def _pair(
    near: pd.DataFrame, told: Floats, away: Floats, rows: tuple[int, int], angle_deg: float, street: Floats | None
) -> TiePair:
    one, other = away[rows[0]], away[rows[1]]
    base = other - one
    left = np.array([-base[1], base[0]]) / np.hypot(*base)
    # The spot is the origin: how far left of the base line it lies.
    spot_left = float(-(one @ left))
    street_side = None
    if street is not None and abs(street_left := float((street - one) @ left)) >= 1.0:
        street_side = (street_left > 0) == (spot_left > 0)
    tie, tie_too = (
        Tie(str(near["name"][row]), float(near["x"][row]), float(near["y"][row]), round(float(told[row]), 2)) for row in rows
    )
    return TiePair(tie, tie_too, angle_deg, wind_of(left * np.sign(spot_left)), street_side)
