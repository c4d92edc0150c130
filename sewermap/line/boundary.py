"""Where the property line crosses a lateral, and on whose side of it a measure lies.

The lateral runs from the main (measure 0) to the building. Walked from the building outwards, the property line is where it
first leaves its own parcel; where it comes back in and leaves again does not matter. Parcels are closed sets: a line that
touches its boundary, or runs along it, has not left. Whose side a place is on is never more than a probability, and where
private ends is for the local code and the survey to say: what is computed here is where the *drawn* boundary lies.
"""

from collections.abc import Sequence
from functools import cache
from math import erf, sqrt
from typing import Any

import numpy as np
import pandas as pd
import shapely
from numpy.typing import ArrayLike, NDArray

from sewermap.line.parcels import TOUCH_M, building_ends, own_parcels, valid_polygons
from sewermap.line.reference import Lines, measure_of, plan_of, point_at

__all__ = ["combined", "own_parcels", "property_line_measures", "side_of"]

SURE = 0.95
"""Probability from which a side is told; common practice, no source."""

_SIDES = ("private", "public", "undetermined")

CONFLICT_SIGMAS = 3.0
"""Statements of one property line that lie further apart than this contradict each other."""

_SLANT_M = 0.1
"""Stretch on both sides of a crossing over which the angle between line and boundary is judged."""

_LEAST_SINE = 0.1
"""A crossing flatter than this (6°) is no more uncertain: its sigma is ten times the map's already."""

_LEAST_SIGMA_M = 1e-6

Floats = NDArray[np.float64]


def property_line_measures(
    lines: Lines, parcels: ArrayLike, line_accuracy_m: ArrayLike = 0.3, parcel_accuracy_m: ArrayLike = 0.3
) -> pd.DataFrame:
    """Where each line, walked from its building end outwards, first leaves its own parcel.

    ``parcels`` (L,) holds the Polygon or MultiPolygon of each line, in its map units, or None; the accuracies (L, or one for
    all) are one sigma per axis of a drawn vertex, metres. Returns one row a line:

    - ``measure_m``: the highest measure at which the line passes out of the parcel; NaN where there is none;
    - ``sigma_m``: along the line, ``hypot(parcel accuracy, line accuracy * cos) / sin`` of the angle between line and
      boundary, so the parcel's accuracy where they are square. The line's error along itself is not in it: that is part of
      the sigma of every measure on the line;
    - ``crossings``: how often the line passes the boundary, in or out, over all its length;
    - ``reason``: plain words where there is no measure, or where the crossing needs a remark; else empty.

    >>> from sewermap.line.reference import lines_from_geometries
    >>> lines = lines_from_geometries([shapely.LineString([(0, 0), (0, 20)])])
    >>> property_line_measures(lines, [shapely.box(-9, 6, 9, 30)]).to_dict("records")
    [{'measure_m': 6.0, 'sigma_m': 0.3, 'crossings': 1, 'reason': ''}]
    """
    owned = valid_polygons(parcels)
    touch = TOUCH_M / lines.metres_per_unit
    stretch = _stretches(lines, owned, touch)
    at_building = shapely.dwithin(owned, building_ends(lines), touch)
    # Stretches are in order of measure within each line: the last one outside ends where the line leaves its parcel.
    outside = ~stretch["inside"].to_numpy()
    leaves = stretch[outside].groupby("line")["to_m"].last().reindex(range(len(lines))).to_numpy(np.float64)
    measure = np.where(at_building, leaves, np.nan)
    crossings = _crossings(stretch, at_building)
    return pd.DataFrame(
        {
            "measure_m": measure,
            "sigma_m": _sigma_along(lines, owned, measure, line_accuracy_m, parcel_accuracy_m),
            "crossings": crossings,
            "reason": pd.array(_reasons(lines, owned, at_building, measure, crossings), dtype="str"),
        }
    )


def side_of(
    measure_m: ArrayLike, sigma_m: ArrayLike, property_line_m: ArrayLike, property_line_sigma_m: ArrayLike
) -> tuple[Any, Floats]:
    """On whose side of the property line each measure lies, and the probability (N,) that it is the private one.

    All in metres, (N,) or one for all. Private is the building's side, the higher measures. The probability is the normal
    distribution of the difference; the side, a text array (N,), is ``private`` from 0.95, ``public`` up to 0.05, else
    ``undetermined``. Both are missing where any of the four is unknown.

    >>> side, probability = side_of([4.0, 9.0, 6.1], 0.5, 6.0, 0.3)
    >>> list(side), probability.round(3).tolist()
    (['public', 'private', 'undetermined'], [0.0, 1.0, 0.568])
    """
    measure, sigma, line, line_sigma = np.broadcast_arrays(
        *(np.atleast_1d(np.asarray(value, np.float64)) for value in (measure_m, sigma_m, property_line_m, property_line_sigma_m))
    )
    spread = np.hypot(sigma, line_sigma)
    difference = measure - line
    with np.errstate(divide="ignore", invalid="ignore"):
        score = np.where((spread == 0) & (difference == 0), 0.0, difference / spread)
    probability = np.where(np.isnan(score), np.nan, _normal_below(score))
    code = np.select([np.isnan(probability), probability >= SURE, probability <= 1 - SURE], [-1, 0, 1], 2)
    return pd.array(_SIDES, dtype="str").take(code, allow_fill=True), probability


def combined(lateral: ArrayLike, measure_m: ArrayLike, sigma_m: ArrayLike, source: Sequence[str] | None = None) -> pd.DataFrame:
    """What several statements of the property line of one lateral say together, weighted by 1 / sigma².

    ``lateral`` (N,) names the lateral of each statement, ``measure_m`` and ``sigma_m`` (N,) are metres, ``source`` (N,) says
    in words where each comes from. Statements without a measure or sigma are left out. Returns one row a lateral that has
    any, in order of name: ``lateral``, ``measure_m``, ``sigma_m``, ``statements`` (how many), ``conflict`` and ``reason``.
    Where one statement lies over 3 sigma from the others together, that is a conflict: ``reason`` lists what was said, and
    sigma is widened until the statements agree (the Birge ratio of metrology; from memory).

    >>> combined(["a", "a"], [6.0, 6.3], [0.3, 0.3]).round(3).to_dict("records")
    [{'lateral': 'a', 'measure_m': 6.15, 'sigma_m': 0.212, 'statements': 2, 'conflict': False, 'reason': ''}]
    """
    said = pd.DataFrame({"lateral": np.asarray(lateral), "measure_m": np.asarray(measure_m, np.float64)})
    said["sigma_m"] = np.maximum(np.asarray(sigma_m, np.float64), _LEAST_SIGMA_M)
    said["source"] = "property line" if source is None else np.asarray(source, dtype=object)
    # Sorted, so that the last digit of a sum does not depend on the order of rows.
    said = said[np.isfinite(said["measure_m"]) & np.isfinite(said["sigma_m"])]
    said = said.sort_values(["lateral", "measure_m", "sigma_m", "source"], ignore_index=True)
    group, names = pd.factorize(said["lateral"])
    found = _weighed(group, len(names), said["measure_m"].to_numpy(), said["sigma_m"].to_numpy())
    words = said["source"].astype(object) + said["measure_m"].map(" says {:.2f} m".format)
    listed = words[found["conflict"].to_numpy()[group]].groupby(said["lateral"]).agg(", ".join)
    found.insert(0, "lateral", names)
    found["reason"] = ("they contradict each other: " + listed).reindex(names).fillna("").astype("str").to_numpy()
    return found


def _weighed(group: NDArray[np.intp], groups: int, measure: Floats, sigma: Floats) -> pd.DataFrame:
    """The weighted mean of each group, and whether one of its members lies too far from the others together."""
    weight = sigma**-2
    sums = np.bincount(group, weight, groups)
    # Differences from a first mean keep the digits that sums of weight times measure would lose.
    about = (np.bincount(group, weight * measure, groups) / sums)[group]
    mean = about + (np.bincount(group, weight * (measure - about), groups) / sums)[group]
    statements = np.bincount(group, minlength=groups)
    several = statements[group] > 1
    # Against the others alone, a member's residual is its residual from the mean, standardised by what it leaves free.
    free = np.where(several, sigma**2 - 1 / sums[group], np.inf)
    far = np.abs(measure - mean) / np.sqrt(np.maximum(free, _LEAST_SIGMA_M**2)) > CONFLICT_SIGMAS
    conflict = np.bincount(group[far], minlength=groups) > 0
    square = np.bincount(group, weight * (measure - mean) ** 2, groups)
    birge = np.sqrt(np.maximum(square / np.maximum(statements - 1, 1), 1.0))
    values = np.empty(groups)
    values[group] = mean
    return pd.DataFrame(
        {
            "measure_m": values,
            "sigma_m": sums**-0.5 * np.where(conflict, birge, 1.0),
            "statements": statements,
            "conflict": conflict,
        }
    )


def _stretches(lines: Lines, parcels: NDArray[np.object_], touch: float) -> pd.DataFrame:
    """Each line cut at its vertices and where it meets its parcel's boundary: ``line``, ``to_m``, ``inside``, in order."""
    met, owner = shapely.get_coordinates(shapely.intersection(plan_of(lines), shapely.boundary(parcels)), return_index=True)
    line = np.concatenate([np.repeat(np.arange(len(lines)), np.diff(lines.offsets)), owner])
    cut = np.concatenate([lines.cumulative_m, measure_of(lines, owner, met)[0]])
    order = np.lexsort((cut, line))
    line, cut = line[order], cut[order]
    # A stretch of no length is no stretch. Each of the others is straight and crosses nothing: its middle tells its side.
    real = np.flatnonzero((line[1:] == line[:-1]) & (cut[1:] - cut[:-1] > TOUCH_M / 2))
    middle = point_at(lines, line[real], (cut[real] + cut[real + 1]) / 2)
    inside = shapely.dwithin(parcels[line[real]], shapely.points(middle), touch)
    return pd.DataFrame({"line": line[real], "to_m": cut[real + 1], "inside": inside})


def _sigma_along(
    lines: Lines, parcels: NDArray[np.object_], measure: Floats, line_accuracy_m: ArrayLike, parcel_accuracy_m: ArrayLike
) -> Floats:
    """Sigma of each crossing along its line; see property_line_measures."""
    line_sigma = np.broadcast_to(np.asarray(line_accuracy_m, np.float64), measure.shape)
    parcel_sigma = np.broadcast_to(np.asarray(parcel_accuracy_m, np.float64), measure.shape)
    known = np.flatnonzero(~np.isnan(measure))
    edge = shapely.boundary(parcels[known])
    away, along = np.zeros(len(known)), np.zeros(len(known))
    for step in (-_SLANT_M, _SLANT_M):
        beside = np.clip(measure[known] + step, 0.0, lines.length_m[known])
        away += shapely.distance(edge, shapely.points(point_at(lines, known, beside))) * lines.metres_per_unit
        along += np.abs(beside - measure[known])
    # How fast the line gets away from the boundary is the sine of the angle between them.
    sine = np.clip(away / np.maximum(along, _LEAST_SIGMA_M), _LEAST_SINE, 1.0)
    sigma = np.full(len(measure), np.nan)
    sigma[known] = np.hypot(parcel_sigma[known], line_sigma[known] * np.sqrt(1 - sine**2)) / sine
    return sigma


def _crossings(stretch: pd.DataFrame, at_building: NDArray[np.bool_]) -> NDArray[np.int64]:
    """How often each line passes the boundary; an end that stands on it, with the line outside, counts as one."""
    line, inside = stretch["line"].to_numpy(), stretch["inside"].to_numpy()
    last = np.append(line[1:] != line[:-1], True)[: len(line)]
    after = np.where(last, at_building[line], np.append(inside[1:], True)[: len(line)])
    return np.bincount(line[inside != after], minlength=len(at_building))


def _reasons(
    lines: Lines, parcels: NDArray[np.object_], at_building: NDArray[np.bool_], measure: Floats, crossings: NDArray[np.int64]
) -> NDArray[np.object_]:
    reasons = np.full(len(lines), "", dtype=object)
    again = ~np.isnan(measure) & (crossings > 1)
    words = "it passes its parcel's boundary {} times; the first time, seen from the building, counts"
    reasons[again] = pd.Series(crossings[again], dtype=object).map(words.format)
    reasons[at_building & np.isnan(measure)] = "it never leaves its own parcel"
    away = shapely.distance(parcels[~at_building], building_ends(lines)[~at_building]) * lines.metres_per_unit
    # Nothing is "0.00 m outside".
    reasons[~at_building] = pd.Series(np.maximum(away, 0.01), dtype=object).map(
        "its building end lies {:.2f} m outside its own parcel".format
    )
    reasons[shapely.is_missing(parcels) | shapely.is_empty(parcels)] = "its own parcel is not known"
    return reasons


def _normal_below(score: Floats) -> Floats:
    """The normal distribution function, to 1e-11: a table of it with its slope, joined by cubics (Hermite)."""
    table, step = _normal_table()
    place = (np.clip(np.nan_to_num(score), -9.0, 9.0) + 9.0) / step
    cell = np.minimum(place.astype(np.int64), len(table) - 2)
    t = place - cell
    low, high = table[cell], table[cell + 1]
    value: Floats = (
        (1 + 2 * t) * (1 - t) ** 2 * low[..., 0]
        + t * (1 - t) ** 2 * step * low[..., 1]
        + t**2 * (3 - 2 * t) * high[..., 0]
        + t**2 * (t - 1) * step * high[..., 1]
    )
    return np.clip(value, 0.0, 1.0)


@cache
def _normal_table() -> tuple[Floats, float]:
    scores = np.linspace(-9.0, 9.0, 2049)
    below = [0.5 * (1 + erf(score / sqrt(2))) for score in scores]
    slope = np.exp(-0.5 * scores**2) / np.sqrt(2 * np.pi)
    return np.column_stack([below, slope]), float(scores[1] - scores[0])
