"""At which measures of a lateral the level of its pipe is known, and how it is known.

Three ways, of which each lateral takes the best that it has: inverts at both ends; the heights of a line drawn in 3-D, taken as
the pipe's invert; depths below ground, where the ground must be assumed level. They are never mixed: an elevation and a depth
have no common zero.
"""

import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from sewermap.line.fall_rules import FallRules
from sewermap.line.reference import Lines

INVERT, DRAWN, DEPTH = "inverts", "heights of the drawn line, taken as the pipe's invert", "depths; ground assumed level"
COLUMNS = ["lateral", "measure_m", "plan_m", "level_m", "sigma_m", "how"]

Floats = NDArray[np.float64]


def known_levels(laterals: pd.DataFrame, lines: Lines, depths: pd.DataFrame, rules: FallRules) -> pd.DataFrame:
    """Known points of the pipe's bottom: lateral, measure_m, plan_m (distance in plan), level_m, sigma_m, how.

    ``laterals`` is row by row with ``lines``: lateral, tie_in_invert_m, building_invert_m (elevations), tie_in_depth_m,
    building_depth_m (below ground), metres, NaN where unknown. ``depths``: lateral, measure_m, depth_m of further points (a
    located camera head). Heights of a line that are all the same say nothing (a drawing program put them there), and a vertex
    whose height lies within one sigma of the even grade between its neighbours says nothing of its own and is left out.
    """
    plan_m = _plan_lengths(lines)
    inverts = _of_ends(laterals, lines, plan_m, ["tie_in_invert_m", "building_invert_m"])
    inverts = inverts[inverts.groupby("lateral")["level_m"].transform("size") == 2]  # noqa: PLR2004 - both ends
    drawn = _drawn(laterals, lines, rules.drawn_sigma_m)
    below = _of_ends(laterals, lines, plan_m, ["tie_in_depth_m", "building_depth_m"])
    heads = depths.dropna(subset=["measure_m", "depth_m"])
    # Of a 3-D line the heads' distance in plan is not asked for: a line with heights of its own does without depths.
    heads = heads.assign(plan_m=heads["measure_m"], level_m=heads["depth_m"])
    below = pd.concat([below, heads[["lateral", "measure_m", "plan_m", "level_m"]]])
    below = below.assign(level_m=-below["level_m"], sigma_m=rules.depth_sigma_m, how=DEPTH)
    inverts = inverts.assign(sigma_m=rules.invert_sigma_m, how=INVERT)
    drawn = drawn[~drawn["lateral"].isin(inverts["lateral"])]
    below = below[~below["lateral"].isin(inverts["lateral"]) & ~below["lateral"].isin(drawn["lateral"])]
    found = pd.concat([inverts, drawn, below], ignore_index=True)[COLUMNS]
    return found.sort_values(["lateral", "measure_m", "level_m"], ignore_index=True)


def _plan_lengths(lines: Lines) -> Floats:
    """Distance in plan of each vertex from the start of its line, metres."""
    step = np.hypot(*np.diff(lines.coords[:, :2], axis=0, prepend=lines.coords[:1, :2]).T)
    step[lines.offsets[:-1]] = 0.0
    running = np.cumsum(step)
    owner = np.repeat(np.arange(len(lines)), np.diff(lines.offsets))
    along: Floats = (running - running[lines.offsets[:-1]][owner]) * lines.metres_per_unit
    return along


def _of_ends(laterals: pd.DataFrame, lines: Lines, plan_m: Floats, columns: list[str]) -> pd.DataFrame:
    """What is given at the tie-in and at the building, as rows with ``level_m`` as it is written."""
    nothing = np.zeros(len(lines))
    ends = [(nothing, nothing), (lines.length_m, plan_m[lines.offsets[1:] - 1])]
    parts = [
        pd.DataFrame({"lateral": laterals["lateral"], "measure_m": measure, "plan_m": plan, "level_m": laterals[column]})
        for column, (measure, plan) in zip(columns, ends, strict=True)
    ]
    return pd.concat(parts, ignore_index=True).dropna(subset="level_m")


def _drawn(laterals: pd.DataFrame, lines: Lines, sigma_m: float) -> pd.DataFrame:
    """Heights of lines that have them: the vertices where the grade changes, and both ends."""
    empty = pd.DataFrame({name: np.zeros(0) for name in COLUMNS[1:5]})
    if not lines.coords[:, 2:].size or not len(lines):
        return empty.assign(lateral=pd.Series([], dtype="str"), how=pd.Series([], dtype="str"))
    level = lines.coords[:, 2] * lines.metres_per_unit
    low, high = (part.reduceat(level, lines.offsets[:-1]) for part in (np.minimum, np.maximum))
    has = np.isfinite(low) & np.isfinite(high) & (low != high)
    owner = np.repeat(np.arange(len(lines)), np.diff(lines.offsets))
    keep = has[owner]
    # The profile as a line: across the distance in plan, up the level; the measure rides along as its third coordinate.
    profile = np.column_stack([_plan_lengths(lines)[keep], level[keep], lines.cumulative_m[keep]])
    which, owners = np.unique(owner[keep], return_inverse=True)
    shapes = shapely.linestrings(profile, indices=owners) if len(profile) else np.zeros(0, dtype=object)
    simpler = shapely.simplify(shapes, sigma_m, preserve_topology=False)
    coords, row = shapely.get_coordinates(simpler, include_z=True, return_index=True)
    return pd.DataFrame(
        {
            "lateral": laterals["lateral"].to_numpy()[which[row]],
            "measure_m": coords[:, 2],
            "plan_m": coords[:, 0],
            "level_m": coords[:, 1],
            "sigma_m": sigma_m,
            "how": DRAWN,
        }
    )
