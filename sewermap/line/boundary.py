"""Where the property line crosses a lateral.

The lateral runs from the main (measure 0) to the building. Walked from the building outwards, the property line is where it
first leaves its own parcel; where it comes back in and leaves again does not matter. Parcels are closed sets: a line that
touches its boundary, or runs along it, has not left. Walls stand on plot borders, and both are drawn with error: a line that
begins outside its parcel by no more than the two may be wrong (3 sigma) counts as beginning inside. Where
private ends is for the local code and the survey to say: what is computed here is where the *drawn* boundary lies.
"""

from collections.abc import Sequence

import numpy as np
import pandas as pd
import shapely
from numpy.typing import ArrayLike, NDArray

from sewermap.line.parcels import TOUCH_M, building_ends, own_parcels, valid_polygons
from sewermap.line.reference import Lines, measure_of, plan_of, point_at

__all__ = ["combined", "own_parcels", "property_line_measures"]

CONFLICT_SIGMAS = 3.0
"""Statements of one property line that lie further apart than this contradict each other."""

_OUTSIDE = (
    ", no further than the maps may be wrong, and it stays outside: the property line is taken to be at the building",
    ", no further than the maps may be wrong: it is taken to begin inside",
    ", no further than the maps may be wrong, and it never leaves it",
)

_SLANT_M = 0.1
"""Stretch on both sides of a crossing over which the angle between line and boundary is judged."""

_LEAST_SINE = 0.1
"""A crossing flatter than this (6°) is no more uncertain: its sigma is ten times the map's already."""

_LEAST_SIGMA_M = 1e-6

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]


def property_line_measures(
    lines: Lines, parcels: ArrayLike, line_accuracy_m: ArrayLike = 0.3, parcel_accuracy_m: ArrayLike = 0.3
) -> pd.DataFrame:
    """Where each line, walked from its building end outwards, first leaves its own parcel.

    ``parcels`` (L,) holds the Polygon or MultiPolygon of each line, in its map units, or None; the accuracies (L, or one for
    all) are one sigma per axis of a drawn vertex, metres. Returns one row a line:

    - ``measure_m``: the highest measure at which the line passes out of the parcel; NaN where there is none. A line whose
      building end lies outside, but by no more than 3 sigma of line and parcel together, begins inside; where it never comes into
      the parcel, the building stands on the boundary, and the property line is at its end;
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
    line_sigma, parcel_sigma = (
        np.broadcast_to(np.asarray(sigma, np.float64), len(lines)) for sigma in (line_accuracy_m, parcel_accuracy_m)
    )
    stretch = _stretches(lines, owned, touch)
    at_building = shapely.dwithin(owned, building_ends(lines), touch)
    crossings = _crossings(stretch, at_building)
    away = shapely.distance(owned, building_ends(lines)) * lines.metres_per_unit
    limit = CONFLICT_SIGMAS * np.hypot(line_sigma, parcel_sigma)
    near = ~at_building & (away <= limit)
    inside = stretch["inside"].to_numpy() | _between_wall_and_parcel(lines, owned, stretch, np.where(near, limit, np.nan))
    # Stretches are in order of measure within each line: the last one outside ends where the line leaves its parcel.
    leaves = stretch[~inside].groupby("line")["to_m"].last().reindex(range(len(lines))).to_numpy(np.float64)
    measure = np.where(at_building | near, leaves, np.nan)
    sigma = _sigma_along(lines, owned, measure, line_sigma, parcel_sigma)
    on_boundary = near & (measure == lines.length_m)
    sigma[on_boundary] = np.hypot(parcel_sigma, away)[on_boundary]
    ends = pd.DataFrame({"in": at_building, "near": near, "on_boundary": on_boundary, "away_m": away})
    return pd.DataFrame(
        {
            "measure_m": measure,
            "sigma_m": sigma,
            "crossings": crossings,
            "reason": pd.array(_reasons(owned, ends, measure, crossings), dtype="str"),
        }
    )


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
    """Each line cut at its vertices and where it meets its parcel's boundary: ``line``, ``from_m``, ``to_m``, ``inside``."""
    met, owner = shapely.get_coordinates(shapely.intersection(plan_of(lines), shapely.boundary(parcels)), return_index=True)
    line = np.concatenate([np.repeat(np.arange(len(lines)), np.diff(lines.offsets)), owner])
    cut = np.concatenate([lines.cumulative_m, measure_of(lines, owner, met)[0]])
    order = np.lexsort((cut, line))
    line, cut = line[order], cut[order]
    # A stretch of no length is no stretch. Each of the others is straight and crosses nothing: its middle tells its side.
    real = np.flatnonzero((line[1:] == line[:-1]) & (cut[1:] - cut[:-1] > TOUCH_M / 2))
    middle = point_at(lines, line[real], (cut[real] + cut[real + 1]) / 2)
    inside = shapely.dwithin(parcels[line[real]], shapely.points(middle), touch)
    return pd.DataFrame({"line": line[real], "from_m": cut[real], "to_m": cut[real + 1], "inside": inside})


def _between_wall_and_parcel(lines: Lines, parcels: NDArray[np.object_], stretch: pd.DataFrame, limit_m: Floats) -> Flags:
    """Stretches from a building near its parcel to where the line comes into that, never further off than the line's limit (NaN:
    the line begins in its parcel, or too far off).
    """
    line, inside = stretch["line"].to_numpy(), stretch["inside"].to_numpy()
    # Walked from the building, nothing of the line was inside before these.
    inside_after = stretch["inside"].iloc[::-1].groupby(line[::-1]).cumsum().iloc[::-1].to_numpy()
    first = np.flatnonzero((inside_after == 0) & ~np.isnan(limit_m)[line])
    where = np.concatenate([(stretch["from_m"] + stretch["to_m"]).to_numpy()[first] / 2, stretch["from_m"].to_numpy()[first]])
    twice = np.tile(line[first], 2)
    away = shapely.distance(parcels[twice], shapely.points(point_at(lines, twice, where))) * lines.metres_per_unit
    strays = np.bincount(twice[away > limit_m[twice]], minlength=len(limit_m)) > 0
    enters = np.bincount(line[inside], minlength=len(limit_m)) > 0
    between = np.zeros(len(line), dtype=bool)
    between[first] = (enters & ~strays)[line[first]]
    return between


def _sigma_along(lines: Lines, parcels: NDArray[np.object_], measure: Floats, line_sigma: Floats, parcel_sigma: Floats) -> Floats:
    """Sigma of each crossing along its line; see property_line_measures."""
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


def _crossings(stretch: pd.DataFrame, at_building: Flags) -> NDArray[np.int64]:
    """How often each line passes the boundary; an end that stands on it, with the line outside, counts as one."""
    line, inside = stretch["line"].to_numpy(), stretch["inside"].to_numpy()
    last = np.append(line[1:] != line[:-1], True)[: len(line)]
    after = np.where(last, at_building[line], np.append(inside[1:], True)[: len(line)])
    return np.bincount(line[inside != after], minlength=len(at_building))


def _reasons(
    parcels: NDArray[np.object_], ends: pd.DataFrame, measure: Floats, crossings: NDArray[np.int64]
) -> NDArray[np.object_]:
    reasons = np.full(len(ends), "", dtype=object)
    known, near, inside = ~np.isnan(measure), ends["near"].to_numpy(), ends["in"].to_numpy()
    again = known & (crossings > np.where(near, 2, 1))
    words = "it passes its parcel's boundary {} times; the first time, seen from the building, counts"
    reasons[again] = pd.Series(crossings[again], dtype=object).map(words.format)
    reasons[inside & ~known] = "it never leaves its own parcel"
    # Nothing is "0.00 m outside".
    away = pd.Series(np.maximum(ends["away_m"].to_numpy(), 0.01), dtype=object)
    outside = away.map("its building end lies {:.2f} m outside its own parcel".format).to_numpy(object)
    reasons[~inside] = np.where(again, "; " + reasons, "")[~inside]
    reasons[~inside] = (outside + np.select([ends["on_boundary"], near & known, near], _OUTSIDE, "") + reasons)[~inside]
    reasons[shapely.is_missing(parcels) | shapely.is_empty(parcels)] = "its own parcel is not known"
    return reasons
