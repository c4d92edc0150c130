"""How deep the pipe lies at a place, and how that is known; never guessed where nothing is known."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

NEAR_M = 1.5
"""A depth that was located from above this near to the stretch to be opened is the depth there; common practice, no source."""

UNKNOWN = "DEPTH UNKNOWN"
LEVEL = "ground assumed level"


@dataclass(frozen=True)
class Depth:
    """``depth_m`` below the ground, None where unknown; ``how`` says in a sentence what it rests on, or what little is known."""

    depth_m: float | None
    how: str


def depth_at(lateral: dict[str, Any], located: pd.DataFrame, measure_m: float, stretch_m: tuple[float, float]) -> Depth:
    """The depth of a lateral at a measure, metres.

    ``lateral`` has length_m, tie_in_depth_m, building_depth_m, tie_in_invert_m, building_invert_m (None where not known);
    ``located`` are depths found from above: measure_m, depth_m and ``how`` each was found. In this order: one located within
    1.5 m of ``stretch_m``; between two known depths, on a straight line; from one known depth and the inverts of both ends. The
    last two take the ground to be level, and say so.

    >>> line = dict.fromkeys(("tie_in_invert_m", "building_invert_m"))
    >>> line |= {"length_m": 20.0, "tie_in_depth_m": 2.4, "building_depth_m": 1.2}
    >>> depth_at(line, pd.DataFrame({"measure_m": [], "depth_m": [], "how": []}), 5.0, (4.5, 5.5))
    Depth(depth_m=2.1, how='interpolated between the tie-in (2.40 m deep) and the building (1.20 m deep); ground assumed level')
    """
    found = _known(located["measure_m"], located["depth_m"], located["how"])
    near = [point for point in found if max(stretch_m[0] - point.measure_m, point.measure_m - stretch_m[1]) <= NEAR_M]
    if near:
        nearest = min(near, key=lambda point: abs(point.measure_m - measure_m))
        away = abs(nearest.measure_m - measure_m)
        return Depth(nearest.depth_m, f"{nearest.how}, {away:.1f} m along the line from the place")
    ends = ((0.0, lateral["tie_in_depth_m"], "the tie-in"), (lateral["length_m"], lateral["building_depth_m"], "the building"))
    known = sorted([*_known(*zip(*ends, strict=True)), *found], key=lambda point: point.measure_m)
    before = [point for point in known if point.measure_m <= measure_m]
    after = [point for point in known if point.measure_m >= measure_m]
    if before and after:
        return _between(before[-1], after[0], measure_m)
    return _by_inverts(lateral, known, measure_m)


class _Known(NamedTuple):
    """A depth that is known: where on the line, how deep, and by what."""

    measure_m: float
    depth_m: float
    how: str


def _known(measures: Iterable[Any], depths: Iterable[Any], hows: Iterable[Any]) -> list[_Known]:
    """Those of which measure and depth are known, in their order; a line has few, so no frame is made of them."""
    rows = zip(measures, depths, hows, strict=True)
    return [
        _Known(float(measure), float(depth), str(how)) for measure, depth, how in rows if pd.notna(measure) and pd.notna(depth)
    ]


def _between(before: _Known, after: _Known, measure_m: float) -> Depth:
    depth = float(
        np.interp(measure_m, [before.measure_m, after.measure_m], [before.depth_m, after.depth_m])
        if after.measure_m > before.measure_m
        else before.depth_m
    )
    ends = [f"{point.how} ({point.depth_m:.2f} m deep)" for point in (before, after)]
    return Depth(round(depth, 6), f"interpolated between {ends[0]} and {ends[1]}; {LEVEL}")


def _by_inverts(lateral: dict[str, Any], known: Sequence[_Known], measure_m: float) -> Depth:
    low, high = lateral["tie_in_invert_m"], lateral["building_invert_m"]
    if low is None or high is None:
        return Depth(None, _what_little(known))
    ends, inverts = [0.0, lateral["length_m"]], [low, high]
    here = float(np.interp(measure_m, ends, inverts))
    if not known:
        return Depth(None, f"only the pipe's elevation is known: its invert lies near {here:.2f} m in the heights of the map")
    point = known[0]
    depth = point.depth_m + float(np.interp(point.measure_m, ends, inverts)) - here
    if depth <= 0:
        return Depth(None, f"the inverts and the depth at {point.how} contradict each other")
    return Depth(round(depth, 6), f"from the depth at {point.how} ({point.depth_m:.2f} m) and the pipe's inverts; {LEVEL}")


def _what_little(known: Sequence[_Known]) -> str:
    if not known:
        return "no depth and no invert of this line was ever recorded"
    only = [f"{point.how} ({point.depth_m:.2f} m deep)" for point in known[:3]]
    return f"all that is known lies to one side of the place: {', '.join(only)}"
