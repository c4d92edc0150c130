"""Sags: where water stands in a line, how deep it is, and how far the pipe dips there."""

import numpy as np
import pandas as pd

from sewermap.line.fall import joined, only_where

SAG_KINDS = ("standing water", "sag")
HOLDS_WATER = "holds water"
_BEYOND_M = 1.0
"""A pool may pass the outermost known level by this much before its even grade is not known any more."""


def sags(seen: pd.DataFrame, diameter_m: pd.Series, grades: pd.DataFrame) -> pd.DataFrame:
    """Depth and length of standing water, and how far the pipe dips below an even grade, row by row with ``seen``.

    ``seen``: lateral, measure_m, to_measure_m (NaN without ``to_reading``), percent (the water's share of the bore's height,
    0 to 100). ``diameter_m``: by lateral, NaN or absent where unknown. ``grades``: by lateral, from_measure_m, to_measure_m
    and slope, as ``even_grades`` gives them.

    With bore D, share p, pool length l and even slope S, the water is ``h = p D`` deep. Its surface is level and reaches the
    pipe's bottom at both ends of the pool. Say that the lower end lies on the even grade, as where a sag ends. Then the surface
    is as high as the grade there, and at a distance x up the line from it the grade stands S x above the surface, the pipe's
    bottom h below: the pipe dips ``h + S x`` below the grade. Where the water is deepest is not written down; it is taken as
    the middle of the pool: ``dip = h + S l / 2`` (closed form; for S = 0 it is h).

    Returns from_measure_m, to_measure_m, length_m, depth_m, dip_m and note; NaN for what cannot be known, which the note says.

    >>> pool = pd.DataFrame({"lateral": ["L1"], "measure_m": [8.0], "to_measure_m": [11.0], "percent": [30.0]})
    >>> even = pd.DataFrame({"from_measure_m": [0.0], "to_measure_m": [20.0], "slope": [0.02]}, index=["L1"])
    >>> sags(pool, pd.Series({"L1": 0.1}), even)[["length_m", "depth_m", "dip_m"]].round(3).to_dict("records")
    [{'length_m': 3.0, 'depth_m': 0.03, 'dip_m': 0.06}]
    """
    first, last = seen["measure_m"], seen["to_measure_m"]
    found = pd.DataFrame({"from_measure_m": np.fmin(first, last), "to_measure_m": np.maximum(first, last)}, index=seen.index)
    found["length_m"] = (last - first).abs()
    diameter = seen["lateral"].map(diameter_m).astype(float)
    found["depth_m"] = seen["percent"] / 100 * diameter
    slope, begins, ends = (
        seen["lateral"].map(grades[name]).astype(float) for name in ("slope", "from_measure_m", "to_measure_m")
    )
    inside = (found["from_measure_m"] >= begins - _BEYOND_M) & (found["to_measure_m"] <= ends + _BEYOND_M)
    found["dip_m"] = (found["depth_m"] + slope * found["length_m"] / 2).where(inside & (slope >= 0))
    percent = seen["percent"].map("water up to {:g} % of the bore".format).where(seen["percent"].notna(), "its share is unknown")
    dip = (found["dip_m"] * 1000).map("the pipe dips {:.0f} mm below an even grade".format)
    found["note"] = joined(
        percent.to_numpy(object),
        only_where(diameter.isna().to_numpy(), "depth unknown, as the diameter is"),
        only_where(found["length_m"].isna().to_numpy(), "length unknown: seen at one reading"),
        only_where(found["dip_m"].notna().to_numpy(), dip.to_numpy(object)),
    )
    found["note"] = found["note"].astype("str")
    return found
