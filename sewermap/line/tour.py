"""A short way past many points: a given order, made shorter by turning parts of it round (2-opt)."""

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]

REACH = 60
"""Parts of up to so many points are turned round: the time grows with the number of points, not with its square."""

ROUNDS = 100
_GAIN = 1e-9
"""A gain below the rounding of a length is none."""


def shortened(xy: Floats, reach: int = REACH) -> Whole:
    """The order in which to visit points (n, 2), given in an order that keeps near ones together (as along a Hilbert curve).

    An open way: it begins and ends where it is shortest. No part of up to ``reach`` points could be turned round to make it
    shorter, so with few points no two stretches of it cross (2-opt; any textbook on the travelling salesman). Straight lines are
    measured, not streets.

    >>> shortened(np.array([[0.0, 0.0], [1.0, 1.0], [1.0, 0.0], [0.0, 1.0]])).tolist()  # without the crossing
    [0, 2, 1, 3]
    """
    order = np.arange(len(xy))
    for _ in range(ROUNDS):
        start, end, gain = _turns(xy[order], reach)
        if not len(gain):
            break
        _turn(order, start, end, np.argsort(-gain, kind="stable"))
    return order


def length_of(xy: Floats) -> float:
    """The length of a way through points in their order."""
    return float(np.hypot(*np.diff(xy, axis=0).T).sum())


def _turns(xy: Floats, reach: int) -> tuple[Whole, Whole, Floats]:
    """For each point the best part that begins with it and is better turned round: its first and last place, and the gain."""
    count = len(xy)
    best, width = np.zeros(count), np.zeros(count, dtype=np.int64)
    step = np.hypot(*np.diff(xy, axis=0).T)
    # The way to the first point of a part, and on from its last; before the first and after the last there is none.
    before, after = np.concatenate([[0.0], step]), np.concatenate([step, [0.0]])
    for span in range(1, min(reach, count)):
        first, last = np.arange(count - span), np.arange(span, count)
        now = before[first] + after[last]
        then = np.concatenate([[0.0], np.hypot(*(xy[last[1:]] - xy[first[1:] - 1]).T)])
        then += np.concatenate([np.hypot(*(xy[last[:-1] + 1] - xy[first[:-1]]).T), [0.0]])
        better = np.flatnonzero(now - then > np.maximum(best[: count - span], _GAIN))
        best[better], width[better] = (now - then)[better], span
    start = np.flatnonzero(width)
    return start, start + width[start], best[start]


def _turn(order: Whole, start: Whole, end: Whole, ranking: Whole) -> None:
    """Turn parts round in place, the best first; one that touches a part turned before waits for the next round."""
    taken = np.zeros(len(order) + 2, dtype=bool)
    for at in ranking.tolist():
        first, last = int(start[at]), int(end[at])
        if not taken[first : last + 3].any():
            taken[first : last + 3] = True
            order[first : last + 1] = order[first : last + 1][::-1].copy()
