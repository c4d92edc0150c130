"""Warranted stretches on their lines, and how much of them the runs of a day passed."""

import numpy as np
import pandas as pd
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]

TOLD_M = 0.05
"""A gap shorter than this, and than a hundredth of its stretch, is not told."""


def stretches(warranties: pd.DataFrame, length_m: "pd.Series[float]") -> pd.DataFrame:
    """Each warranty's stretch on its line: from_m, to_m, line_m (the line's length) and why (the stretch is empty; else NaN).

    warranties: lateral, from_measure_m, to_measure_m (NaN: the line's ends; in either order). length_m: by lateral. A stretch of
    no length is a single place; an empty one has NaN for both ends.
    """
    line_m = length_m[~length_m.index.duplicated()].reindex(pd.Index(warranties["lateral"])).to_numpy(float)
    near, far = (warranties[name].to_numpy(float) for name in ("from_measure_m", "to_measure_m"))
    near, far = np.where(np.isnan(near), 0.0, near), np.where(np.isnan(far), line_m, far)
    from_m, to_m = np.maximum(np.minimum(near, far), 0.0), np.fmin(np.maximum(near, far), line_m)
    # Where only one end is given and lies beyond the line's end, the order of the two says nothing: the stretch is outside.
    one_end = warranties["to_measure_m"].isna().to_numpy()
    outside = (from_m > line_m) | (to_m < 0.0) | (one_end & (near > line_m))
    unknown = np.isnan(to_m)
    told = np.full(len(near), "the length of the line is not known", dtype=object)
    for row in np.flatnonzero(outside & ~unknown):  # few: somebody slipped
        told[row] = f"the warranted stretch (from {near[row]:.1f} m) lies outside the line (0.0 to {line_m[row]:.1f} m)"
    why = pd.Series(np.where(unknown | outside, told, np.nan), index=warranties.index, dtype="str")
    from_m, to_m = (np.where(unknown | outside, np.nan, side) for side in (from_m, to_m))
    return pd.DataFrame({"from_m": from_m, "to_m": to_m, "line_m": line_m, "why": why}, index=warranties.index)


def pairs_on_lateral(left: "pd.Series[str]", right: "pd.Series[str]") -> tuple[Whole, Whole]:
    """Rows of left and right that name the same lateral."""
    rows = pd.DataFrame({"lateral": left.to_numpy(), "l": np.arange(len(left))}).dropna()
    both = rows.merge(pd.DataFrame({"lateral": right.to_numpy(), "r": np.arange(len(right))}), on="lateral")
    return both["l"].to_numpy(np.int64), both["r"].to_numpy(np.int64)


def reach_before(group: Whole, from_m: Floats, to_m: Floats) -> Floats:
    """How far the pieces before each one in its group reached, −inf for the first; sorted by group, then from_m.

    >>> reach_before(np.array([0, 0, 0, 1]), np.array([0.0, 1.0, 4.0, 2.0]), np.array([3.0, 2.0, 5.0, 9.0])).tolist()
    [-inf, 3.0, 3.0, -inf]
    """
    if (np.diff(from_m)[np.diff(group) == 0] < 0.0).any():
        raise ValueError("pieces must be sorted by group and start")
    reach = pd.Series(to_m).groupby(group).cummax().groupby(group).shift(fill_value=-np.inf)
    return np.asarray(reach.to_numpy(float), dtype=np.float64)


def gaps_told(stretch: Whole, from_m: Floats, to_m: Floats, rows: pd.DataFrame) -> "pd.Series[str]":
    """What the pieces leave of their stretches, as ``0.0–3.2 m, 28.0–31.2 m``, by position in ``rows`` (from_m, to_m).

    stretch: of each piece, the position of its stretch; pieces lie within their stretches. Stretches without a piece are left
    whole; those that nothing is left of, and empty ones, have no entry.
    """
    low, high = rows["from_m"].to_numpy(float), rows["to_m"].to_numpy(float)
    known = np.flatnonzero(~np.isnan(low))
    # A last piece of no length at each stretch's end closes its last gap.
    at = np.concatenate([stretch, known])
    start, end = np.concatenate([from_m, high[known]]), np.concatenate([to_m, high[known]])
    order = np.lexsort([end, start, at])
    at, start, end = at[order], start[order], end[order]
    begins = np.maximum(reach_before(at, start, end), low[at])
    least_m = np.minimum(TOLD_M, 0.01 * (high - low))[at]
    place = (high == low)[at] & ~np.isin(at, stretch)
    left = np.flatnonzero((start - begins > least_m) | place)
    texts = [f"{one:.1f}–{other:.1f} m" for one, other in zip(begins[left].tolist(), start[left].tolist(), strict=True)]
    return listed(pd.Series(texts, index=at[left], dtype="str"))


def listed(texts: "pd.Series[str]") -> "pd.Series[str]":
    """Texts with the same label as one, in their order: ``A-1, A-2``.

    >>> listed(pd.Series(["A-1", "A-2", "B-1"], index=[4, 4, 7])).to_dict()
    {7: 'B-1', 4: 'A-1, A-2'}
    """
    several = texts.index.duplicated(keep=False)
    return pd.concat([texts[~several], texts[several].groupby(level=0).agg(", ".join)]).astype("str")
