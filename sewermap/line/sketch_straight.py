"""Lines without legs: through points located from above in the order of their readings, or straight from main to house."""

from typing import Any

import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from sewermap.line.along import equally
from sewermap.line.sketch_figures import DECIMALS, SketchFigures

LOCATED, GUESSED = "located", "guessed"
NO_HOUSE = "where the line ends is not known: give a referent building with x and y, or the building on its property"
_LEAST_POINTS = 2

Floats = NDArray[np.float64]


def straight_sketches(
    ends: pd.DataFrame, located: pd.DataFrame, figures: SketchFigures, unit_m: float
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """The line through each lateral's located points, where there are two at least, and the guess of each lateral."""
    return _through_points(ends, located, figures, unit_m), _guesses(ends, figures, unit_m)


def _through_points(ends: pd.DataFrame, located: pd.DataFrame, figures: SketchFigures, unit_m: float) -> pd.DataFrame:
    """From the tie-in through the points to the building, as far as these are known; turned round where the counter came from
    the building, so that the point nearest to the tie-in comes first.
    """
    points = located.sort_values(["lateral", "reading_m", "map_x", "map_y"])
    points = points[points.groupby("lateral")["lateral"].transform("size") >= _LEAST_POINTS]
    of = pd.Index(ends["lateral"]).get_indexer(points["lateral"])
    xy = points[["map_x", "map_y"]].to_numpy(float)
    far = pd.Series(np.hypot(*(xy - ends[["tie_x", "tie_y"]].to_numpy(float)[of]).T)).groupby(of)
    turned = (far.last() < far.first()).reindex(np.arange(len(ends)), fill_value=False).to_numpy(bool)
    rank = points.groupby("lateral").cumcount().to_numpy() + 1
    rows = [pd.DataFrame({"of": of, "rank": np.where(turned[of], -rank, rank), "x": xy[:, 0], "y": xy[:, 1],
                          "sigma": points["sigma_m"].to_numpy(float)})]  # fmt: skip
    known = np.unique(of)
    for side, place in (("tie", -np.inf), ("house", np.inf)):
        sides = ends.iloc[known][[f"{side}_x", f"{side}_y", f"{side}_sigma_m"]].set_axis(["x", "y", "sigma"], axis=1)
        rows.append(sides.assign(of=known, rank=place).dropna(subset="x"))
    every = pd.concat(rows, ignore_index=True).sort_values(["of", "rank"], kind="stable", ignore_index=True)
    every = every[(every[["of", "x", "y"]].diff() != 0).any(axis=1)].reset_index(drop=True)
    step = pd.Series(np.hypot(every["x"].diff().to_numpy(), every["y"].diff().to_numpy()) * unit_m)
    gap = step.where(every["of"] == every["of"].shift(), 0.0)
    # Between two points a pipe strays from the straight line: most in the middle of the longer gap beside each vertex.
    widest = np.maximum(gap.to_numpy(float), gap.shift(-1, fill_value=0.0).to_numpy(float))
    sigma = np.sqrt(every["sigma"].to_numpy(float) ** 2 + figures.walk_between * widest / 4.0)
    told = ends.iloc[known][["lateral", "tie_from", "house_from"]].assign(method=LOCATED, reason="")
    first = told["tie_from"].where(told["tie_from"] != "", "the first located point")
    return _with_lines(told.assign(starts_at=first, closed_on=told["house_from"]), every["of"].to_numpy(), every, sigma, unit_m)


def _guesses(ends: pd.DataFrame, figures: SketchFigures, unit_m: float) -> pd.DataFrame:
    told = ends.assign(method=GUESSED, reason=ends["problem"], starts_at=ends["tie_from"], closed_on=ends["house_from"])
    tie, house = (ends[[f"{side}_x", f"{side}_y"]].to_numpy(float) for side in ("tie", "house"))
    told["reason"] = told["reason"].mask((told["reason"] == "") & np.isnan(house[:, 0]), NO_HOUSE)
    length = np.hypot(*(house - tie).T) * unit_m
    told["reason"] = told["reason"].mask((told["reason"] == "") & (length == 0), "its tie-in and its building are one place")
    good = (told["reason"] == "").to_numpy()
    middle = (tie + house) / 2.0
    xy = np.stack([tie, middle, house], axis=1)[good].reshape(-1, 2)
    first, last = (ends[f"{side}_sigma_m"].to_numpy(float) for side in ("tie", "house"))
    sigma = np.column_stack([first, np.hypot(first, last) / 2.0, last])[good]
    sigma[:, 1] = np.hypot(sigma[:, 1], figures.guessed_share * length[good])
    vertices = pd.DataFrame(xy, columns=["x", "y"])
    drawn = _with_lines(told[good], np.repeat(np.flatnonzero(good), 3), vertices, sigma.ravel(), unit_m)
    refused = told[~good].assign(geometry=None, accuracy=None, length_m=np.nan, sigma_m=np.nan)
    return pd.concat([drawn, refused], ignore_index=True)


def _with_lines(told: pd.DataFrame, owner: NDArray[np.int64], xy: pd.DataFrame, sigma: Floats, unit_m: float) -> pd.DataFrame:
    """The rows with their lines; ``owner`` (V,) in runs, one a row of ``told``."""
    if told.empty:
        return told.assign(geometry=None, accuracy=None, length_m=np.nan, sigma_m=np.nan)
    cuts = np.flatnonzero(np.diff(owner)) + 1
    lines: Any = shapely.linestrings(
        np.round(xy[["x", "y"]].to_numpy(float), DECIMALS),
        indices=np.repeat(np.arange(len(told)), np.diff([0, *cuts, len(owner)])),
    )
    accuracy = np.empty(len(told), dtype=object)
    accuracy[:] = np.split(equally(sigma), cuts)
    greatest = np.maximum.reduceat(sigma, np.append(0, cuts))
    return told.assign(geometry=lines, accuracy=accuracy, length_m=shapely.length(lines) * unit_m, sigma_m=greatest)
