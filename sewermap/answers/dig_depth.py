"""How deep the pipe lies at a place, and how that is known; never guessed where nothing is known."""

from dataclasses import dataclass
from typing import Any

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
    at_ends = pd.DataFrame(
        {
            "measure_m": [0.0, lateral["length_m"]],
            "depth_m": pd.Series([lateral["tie_in_depth_m"], lateral["building_depth_m"]], dtype=float),
            "how": ["the tie-in", "the building"],
        }
    )
    found = located.dropna(subset=["measure_m", "depth_m"]).astype({"measure_m": float, "depth_m": float})
    outside = np.maximum(stretch_m[0] - found["measure_m"], found["measure_m"] - stretch_m[1])
    near = found[outside <= NEAR_M]
    if len(near):
        nearest = near.iloc[int((near["measure_m"] - measure_m).abs().to_numpy().argmin())]
        away = abs(float(nearest["measure_m"]) - measure_m)
        return Depth(float(nearest["depth_m"]), f"{nearest['how']}, {away:.1f} m along the line from the place")
    known = pd.concat([at_ends.dropna(), found]).sort_values("measure_m", kind="stable", ignore_index=True)
    before, after = known[known["measure_m"] <= measure_m], known[known["measure_m"] >= measure_m]
    if len(before) and len(after):
        return _between(before.iloc[-1], after.iloc[0], measure_m)
    return _by_inverts(lateral, known, measure_m)


def _between(before: pd.Series, after: pd.Series, measure_m: float) -> Depth:
    depth = float(
        np.interp(measure_m, [before["measure_m"], after["measure_m"]], [before["depth_m"], after["depth_m"]])
        if after["measure_m"] > before["measure_m"]
        else before["depth_m"]
    )
    ends = [f"{point['how']} ({point['depth_m']:.2f} m deep)" for point in (before, after)]
    return Depth(round(depth, 6), f"interpolated between {ends[0]} and {ends[1]}; {LEVEL}")


def _by_inverts(lateral: dict[str, Any], known: pd.DataFrame, measure_m: float) -> Depth:
    low, high = lateral["tie_in_invert_m"], lateral["building_invert_m"]
    if low is None or high is None:
        return Depth(None, _what_little(known))
    ends, inverts = [0.0, lateral["length_m"]], [low, high]
    here = float(np.interp(measure_m, ends, inverts))
    if known.empty:
        return Depth(None, f"only the pipe's elevation is known: its invert lies near {here:.2f} m in the heights of the map")
    point = known.iloc[0]
    depth = float(point["depth_m"]) + float(np.interp(point["measure_m"], ends, inverts)) - here
    if depth <= 0:
        return Depth(None, f"the inverts and the depth at {point['how']} contradict each other")
    return Depth(round(depth, 6), f"from the depth at {point['how']} ({point['depth_m']:.2f} m) and the pipe's inverts; {LEVEL}")


def _what_little(known: pd.DataFrame) -> str:
    if known.empty:
        return "no depth and no invert of this line was ever recorded"
    only = [f"{how} ({depth:.2f} m deep)" for how, depth in zip(known["how"], known["depth_m"], strict=True)]
    return f"all that is known lies to one side of the place: {', '.join(only[:3])}"
