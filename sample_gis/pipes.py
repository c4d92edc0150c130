"""The true pipes, their clean-outs and property lines, and how the town's map draws them.

A pipe starts at the tie-in on the main (measure 0) and ends at the building's wall. The map draws it displaced: by one
shift of the whole line and a smaller one of each vertex, together of the line's map accuracy on each axis.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sample_gis.settings import Settings
from sample_gis.streets import HALF_WAY_M, MAIN_OFFSET_M, Lots, Streets

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
VERTICES = 5
"""Room for the tie-in, three bends and the building."""


@dataclass(frozen=True)
class Lines:
    """Padded lines: ``xy`` (N, 5, 2), the last real vertex repeated; ``count`` real vertices; ``cumulative_m`` (N, 5)."""

    xy: Floats
    count: Ints
    cumulative_m: Floats

    @property
    def length_m(self) -> Floats:
        """(N,) length of each line."""
        return self.cumulative_m[:, -1]

    def point_at(self, line: Ints, measure_m: Floats) -> Floats:
        """Points (M, 2) at measures along their lines."""
        reached = self.cumulative_m[line]
        part = np.clip((reached[:, 1:] < measure_m[:, None]).sum(axis=1), 0, self.count[line] - 2)
        row = np.arange(len(line))
        from_m, to_m = reached[row, part], reached[row, part + 1]
        share = (measure_m - from_m) / (to_m - from_m)
        start, end = self.xy[line, part], self.xy[line, part + 1]
        return np.asarray(start + share[:, None] * (end - start))


@dataclass(frozen=True)
class Ground:
    """What truly lies in the ground and what the map says of it, one row a property.

    ``property_line_m`` is the true measure at which the pipe crosses the lot's front and changes its material. ``turn_deg``
    (N, 3) is the angle of each bend. ``parcel``, ``building`` (N, 4, 2) are corners, counter-clockwise.
    """

    true: Lines
    drawn: Lines
    property_line_m: Floats
    turn_deg: Floats
    map_accuracy_m: Floats
    parcel: Floats
    building: Floats
    parcel_accuracy_m: Floats


@dataclass(frozen=True)
class _Plan:
    """A pipe in its lot's frame: headings from square-to-the-street (radians) and lengths of its four legs."""

    heading: Floats
    leg_m: Floats
    turns_home: NDArray[np.bool_]


def ground_of(streets: Streets, lots: Lots, settings: Settings, rng: np.random.Generator) -> Ground:
    """Pipes, parcels and buildings of all lots, true and drawn."""
    count = len(lots.street)
    depth_m = HALF_WAY_M + 3.5 + 22.0 * rng.beta(1.5, 2.5, count) - MAIN_OFFSET_M * lots.side
    plan = _plans(depth_m, rng)
    local, corners = _in_the_lot(plan, depth_m + MAIN_OFFSET_M * lots.side, MAIN_OFFSET_M * lots.side, rng)
    xy = _to_map(streets, lots, local)
    true, turn_deg = _lines(xy, plan)
    parcel = _parcels(streets, lots, corners[:, :, 1].max(axis=1) + rng.uniform(4.0, 9.0, count))
    property_line_m = _crossing(true, parcel[:, 0], parcel[:, 1])
    accuracy_m, parcel_accuracy_m = (np.round(rng.uniform(*settings.map_accuracy_m, count), 2) for _ in range(2))
    drawn = _with_lengths(_displaced(true.xy, accuracy_m, settings.rigid_share, rng), true.count)
    return Ground(
        true=true,
        drawn=drawn,
        property_line_m=property_line_m,
        turn_deg=turn_deg,
        map_accuracy_m=accuracy_m,
        parcel=_outward(_displaced(parcel, parcel_accuracy_m, settings.rigid_share, rng), lots.side),
        building=_outward(_to_map(streets, lots, corners), lots.side),
        parcel_accuracy_m=parcel_accuracy_m,
    )


def _plans(depth_m: Floats, rng: np.random.Generator) -> _Plan:
    """Zero to three bends of 22.5, 45 or 90 degrees: straight, a last turn, a dogleg, or a dogleg and a last turn."""
    count = len(depth_m)
    shape = rng.choice(4, count, p=[0.3, 0.25, 0.3, 0.15])
    dogleg, last = shape >= 2, shape % 2 == 1
    hand = rng.choice([-1.0, 1.0], (2, count))
    slant = np.radians(rng.choice([22.5, 45.0], count)) * hand[0]
    home = np.radians(np.where(dogleg, rng.choice([22.5, 45.0, 90.0], count), rng.choice([22.5, 45.0], count))) * hand[1]
    square = np.abs(home) > np.radians(60.0)
    slant_m = np.where(dogleg, np.minimum(0.2 * depth_m / np.cos(slant), 2.5 / np.abs(np.sin(slant))), 0.0)
    home_m = np.where(last, np.where(square, rng.uniform(1.5, 3.0, count), 0.25 * depth_m), 0.0)
    home_m = np.minimum(home_m, 3.5 / np.abs(np.sin(home)))
    rest_m = depth_m - slant_m * np.cos(slant) - home_m * np.cos(home)
    share = np.where(dogleg, rng.uniform(0.25, 0.6, count), 1.0)
    zero = np.zeros(count)
    heading = np.column_stack([zero, slant, zero, home])
    leg_m = np.column_stack([share * rest_m, slant_m, (1.0 - share) * rest_m, home_m])
    return _Plan(heading, leg_m, last & square)


def _in_the_lot(plan: _Plan, front_m: Floats, main_m: Floats, rng: np.random.Generator) -> tuple[Floats, Floats]:
    """Vertices (N, 5, 2) and building corners (N, 4, 2) in the lot's frame: along the street, and away from its middle."""
    count = len(front_m)
    steps = np.stack([np.sin(plan.heading), np.cos(plan.heading)], axis=2) * plan.leg_m[:, :, None]
    path = np.concatenate([np.zeros((count, 1, 2)), np.cumsum(steps, axis=1)], axis=1)
    wide_m, deep_m = rng.uniform(9.0, 11.5, count), rng.uniform(8.0, 11.0, count)
    towards = np.sign(plan.heading[:, 3])
    middle = rng.uniform(-1.5, 1.5, count)
    end_u = np.where(plan.turns_home, middle - towards * wide_m / 2.0, middle + rng.uniform(-2.0, 2.0, count))
    path[:, :, 0] += (end_u - path[:, -1, 0])[:, None]
    path[:, :, 1] += main_m[:, None]
    front = front_m - np.where(plan.turns_home, 3.0, 0.0)
    left, right, back = middle - wide_m / 2.0, middle + wide_m / 2.0, front + deep_m
    corners = np.stack(
        [np.stack([u, v], axis=1) for u, v in ((left, front), (right, front), (right, back), (left, back))], axis=1
    )
    return path, corners


def _to_map(streets: Streets, lots: Lots, local: Floats) -> Floats:
    """(N, K, 2) from the lots' frames to map coordinates. A lot on the left looks left, so its frame is turned over."""
    zero = np.zeros(len(lots.street))
    origin = streets.at(lots.street, lots.along_m, zero)
    outward = streets.at(lots.street, lots.along_m, lots.side) - origin
    along = np.column_stack([outward[:, 1], -outward[:, 0]]) * lots.side[:, None]
    return np.asarray(origin[:, None, :] + local[:, :, :1] * along[:, None, :] + local[:, :, 1:] * outward[:, None, :])


def _lines(xy: Floats, plan: _Plan) -> tuple[Lines, Floats]:
    """Lines without their legs of no length, and the angle of each remaining bend in degrees (0 where there is none)."""
    real = plan.leg_m > 0.0
    order = np.argsort(~real, axis=1, kind="stable")
    count = real.sum(axis=1) + 1
    heading = np.take_along_axis(plan.heading, order, axis=1)
    ends = np.take_along_axis(xy[:, 1:], order[:, :, None], axis=1)
    turn_deg = np.abs(np.degrees(np.diff(heading, axis=1)))
    turn_deg[np.arange(3) >= (count - 2)[:, None]] = 0.0
    packed = np.concatenate([xy[:, :1], ends], axis=1)
    return _with_lengths(packed, count), turn_deg


def _with_lengths(xy: Floats, count: Ints) -> Lines:
    last = xy[np.arange(len(xy)), count - 1]
    padded = np.where((np.arange(VERTICES) < count[:, None])[:, :, None], xy, last[:, None, :])
    legs = np.hypot(*np.moveaxis(np.diff(padded, axis=1), 2, 0))
    cumulative = np.concatenate([np.zeros((len(xy), 1)), np.cumsum(legs, axis=1)], axis=1)
    return Lines(padded, count, cumulative)


def _parcels(streets: Streets, lots: Lots, back_m: Floats) -> Floats:
    half = lots.width_m / 2.0
    edges = ((-1.0, HALF_WAY_M), (1.0, HALF_WAY_M), (1.0, back_m), (-1.0, back_m))
    return np.stack([streets.at(lots.street, lots.along_m + s * half, lots.side * v) for s, v in edges], axis=1)


def _crossing(lines: Lines, left: Floats, right: Floats) -> Floats:
    """Measure of the last place, walked from the tie-in, at which each line crosses the line through its lot's front."""
    front = right - left
    off = lines.xy - left[:, None, :]
    beyond = front[:, None, 0] * off[:, :, 1] - front[:, None, 1] * off[:, :, 0]
    beyond = beyond * np.sign(beyond[:, -1:])
    leg = VERTICES - 2 - np.argmax((beyond < 0.0)[:, -2::-1], axis=1)
    row = np.arange(len(leg))
    before, after = beyond[row, leg], beyond[row, leg + 1]
    start, end = lines.cumulative_m[row, leg], lines.cumulative_m[row, leg + 1]
    return np.asarray(start + (end - start) * before / (before - after))


def _displaced(xy: Floats, sigma_m: Floats, rigid_share: float, rng: np.random.Generator) -> Floats:
    rigid = rng.normal(size=(len(xy), 1, 2)) * rigid_share**0.5
    loose = rng.normal(size=xy.shape) * (1.0 - rigid_share) ** 0.5
    return np.asarray(xy + sigma_m[:, None, None] * (rigid + loose))


def _outward(corners: Floats, side: Floats) -> Floats:
    """Corners counter-clockwise: those of lots on the right of their street run the other way."""
    return np.where((side > 0.0)[:, None, None], corners[:, ::1], corners[:, ::-1])
