"""Traverses: lines walked by bearing and length, and closed on a known end by the compass rule.

The compass rule (Bowditch) shares the error of closure among the legs by their lengths (Ghilani and Wolf, *Elementary
Surveying*, ch. 10). It is also the posterior mean of a random walk that is pinned at both ends, since the variance of such a
walk grows with the distance walked; ``adjusting`` builds on that where more than the two ends is known.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sewermap.errors import MeasureError

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]


@dataclass(frozen=True)
class Traverses:
    """Many traverses in flat arrays: traverse ``i`` owns the legs ``offsets[i]`` to ``offsets[i + 1]`` (not included).

    ``start`` (T, 2) are map coordinates; ``azimuth_deg`` (N,) is clockwise from grid north; ``length`` (N,) is in map units.
    """

    start: Floats
    azimuth_deg: Floats
    length: Floats
    offsets: Whole

    @property
    def owner(self) -> Whole:
        """The traverse (N,) of each leg."""
        return np.repeat(np.arange(len(self.start)), np.diff(self.offsets))

    def walked(self) -> Floats:
        """The distance (N,) from the start of its traverse at which each leg ends, map units."""
        return _within(self.length[:, None], self.offsets)[:, 0]

    def ends(self) -> Floats:
        """X and Y (N, 2) of the end of each leg, as walked."""
        azimuth = np.radians(self.azimuth_deg)
        steps = self.length[:, None] * np.column_stack([np.sin(azimuth), np.cos(azimuth)])
        return np.asarray(self.start[self.owner] + _within(steps, self.offsets))


@dataclass(frozen=True)
class Closed:
    """Traverses after the compass rule: ``points`` (N, 2) the adjusted ends of the legs; by traverse the errors before it, in
    ``departure`` (T,) east and ``latitude`` (T,) north, ``misclosure`` (T,), and ``share`` (T,) of the length walked.
    """

    points: Floats
    departure: Floats
    latitude: Floats
    misclosure: Floats
    share: Floats


def compass_rule(traverses: Traverses, end: ArrayLike) -> Closed:
    """Close each traverse on its known ``end`` (T, 2), map units: the start, for a loop.

    Raises MeasureError for a traverse without legs or without length, and for a number that is not finite.

    >>> azimuth, length = np.array([0.0, 90.0, 180.0, 270.0]), np.array([10.0, 10.0, 10.0, 9.9])
    >>> square = Traverses(np.zeros((1, 2)), azimuth, length, np.array([0, 4]))
    >>> closed = compass_rule(square, [(0.0, 0.0)])
    >>> closed.misclosure.round(3).tolist(), closed.points[-1].round(9).tolist()
    ([0.1], [0.0, 0.0])
    """
    known = np.asarray(end, dtype=np.float64).reshape(-1, 2)
    _check(traverses, known)
    walked, open_ends = traverses.walked(), traverses.ends()
    last = traverses.offsets[1:] - 1
    error = open_ends[last] - known
    total = walked[last]
    share_walked = walked / total[traverses.owner]
    misclosure = np.hypot(error[:, 0], error[:, 1])
    points = open_ends - share_walked[:, None] * error[traverses.owner]
    points[last] = known  # to the last bit, whatever rounding left
    return Closed(points, error[:, 0], error[:, 1], misclosure, misclosure / total)


def _within(values: Floats, offsets: Whole) -> Floats:
    """Running sums (N, K) that begin anew with each traverse."""
    running = np.cumsum(values, axis=0)
    before = np.concatenate([np.zeros((1, values.shape[1])), running])[offsets[:-1]]
    return np.asarray(running - np.repeat(before, np.diff(offsets), axis=0))


def _check(traverses: Traverses, end: Floats) -> None:
    if (np.diff(traverses.offsets) < 1).any() or len(end) != len(traverses.start):
        raise MeasureError("a traverse needs a start, at least one leg, and an end to be closed on")
    numbers = (traverses.start, traverses.azimuth_deg, traverses.length, end)
    if not all(np.isfinite(part).all() for part in numbers):
        raise MeasureError("a traverse needs finite coordinates, bearings and lengths")
    if (traverses.walked()[traverses.offsets[1:] - 1] <= 0).any():
        raise MeasureError("a traverse whose legs have no length cannot be closed")
