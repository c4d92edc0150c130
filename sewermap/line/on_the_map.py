"""Measures along laterals as points on the map, with radius and side."""

import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from sewermap.line.along import accuracies_at
from sewermap.line.boundary_rule import BUILDING, PROPERTY_LINE, TIE_IN
from sewermap.line.circle import within_m
from sewermap.line.known_points import Laterals
from sewermap.line.property_line import MATERIAL_CHANGE
from sewermap.line.reference import point_at
from sewermap.line.side import joint_or_elsewhere, side_of, told

JOINTS = ("shifted coupling", "material change")
"""Kinds that may be the very joint at the property line, whose side no reading can tell."""

LEAST_SIDE_SIGMA_M = 0.1
"""However much of their errors is common, how far apart two things were seen is no better known than that; common practice, no
source."""

Floats = NDArray[np.float64]


def on_the_map(
    laterals: Laterals,
    lateral: NDArray[np.int64],
    measure_m: Floats,
    sigma_m: Floats,
    *,
    side_sigma_m: Floats | None = None,
    kind: pd.Series | None = None,
) -> pd.DataFrame:
    """Where measures are: columns lateral, measure_m, sigma_m, within_m, x, y, side (missing where unknown), side_probability
    and side_sigma_m.

    ``lateral``: rows of ``laterals``. ``side_sigma_m``: the deviation of each measure's distance from where private ends, where
    more is known of it than the two sigmas (see ``side_sigma``). ``kind``: what was seen there, row by row, where that matters. A
    measure that is NaN is nowhere: all its numbers are NaN. Raises MeasureError for one outside its line.
    """
    count = len(measure_m)
    table = pd.DataFrame({"lateral": lateral})
    for name in ("measure_m", "sigma_m", "within_m", "x", "y", "side_probability", "side_sigma_m"):
        table[name] = np.full(count, np.nan)
    rows = np.flatnonzero(~np.isnan(measure_m))
    if len(rows):
        measure, sigma, at = measure_m[rows], sigma_m[rows], lateral[rows]
        xy = point_at(laterals.lines, at, measure)
        spread = side_sigma(laterals, at, sigma, np.zeros(len(rows))) if side_sigma_m is None else side_sigma_m[rows]
        found = {
            "measure_m": measure,
            "sigma_m": sigma,
            "within_m": within_m(sigma, across_of(laterals, at, measure)),
            "x": xy[:, 0],
            "y": xy[:, 1],
            "side_probability": _private(laterals, at, measure, spread, None if kind is None else kind.iloc[rows]),
            "side_sigma_m": spread,
        }
        for name, values in found.items():
            column = np.full(count, np.nan)
            column[rows] = values
            table[name] = column
    return table.assign(side=pd.Series(told(table["side_probability"].to_numpy(), laterals.boundary.sure)))


def side_sigma(laterals: Laterals, lateral: NDArray[np.int64], sigma_m: Floats, line_share: Floats) -> Floats:
    """The deviation (N,) of each measure's distance from where private ends on its lateral, metres; NaN where that is not known.

    ``sigma_m`` is that of the measure and ``line_share`` its derivative to where the map draws the end of private: 1 where the
    counter was fixed there and nowhere else, 0 where nothing was seen there. What is wrong with the drawn limit moves such a
    measure with it and cancels: Var(m − l) = Var(m) + Var(l) − 2 Cov(m, l), with Cov(m, l) = share · Var(l).

    Where l is a weighted mean of the drawn line and of what counters said of it, Var(l) is what each of the two gives to
    Cov(m, l): the first with the share, the second with the rest of it, for the runs' own error is in both. Runs of one lateral
    are solved together and mostly share their launch; on invented towns this makes the probabilities modest, not bold.
    """
    if laterals.table.empty:  # runs may be known before any line is
        return np.full(len(lateral), np.nan)
    of = laterals.table.iloc[lateral]
    own = of["private_ends_sigma_m"].to_numpy(float) ** 2
    share = np.nan_to_num(line_share)
    told = seen_by_counters(of)
    on_map = laterals.map_shared * accuracy_of(laterals, lateral, of["private_ends_m"].to_numpy(float)) ** 2
    covariance = np.where(told, own, (own + on_map) * share)
    return np.asarray(np.sqrt(np.maximum(sigma_m**2 + own - 2.0 * covariance, LEAST_SIDE_SIGMA_M**2)))


def seen_by_counters(table: pd.DataFrame) -> NDArray[np.bool_]:
    """The laterals on which private ends at a property line that runs' own sightings of a change of material helped to tell."""
    told_by = table["property_line_from"].astype("str").str.contains(MATERIAL_CHANGE, regex=False, na=False).to_numpy(bool)
    return np.asarray(told_by & (table["private_ends_at"] == PROPERTY_LINE).to_numpy(bool))


def _private(
    laterals: Laterals, lateral: NDArray[np.int64], measure_m: Floats, spread_m: Floats, kind: pd.Series | None
) -> Floats:
    """The probability (N,) that each measure is on private ground."""
    of = laterals.table.iloc[lateral]
    limit, at = of["private_ends_m"].to_numpy(float), of["private_ends_at"].to_numpy(object)
    _, probability = side_of(measure_m, spread_m, limit, 0.0)
    if kind is not None:
        joint = kind.isin(JOINTS).to_numpy() & (at == PROPERTY_LINE)
        length, share = of["length_m"].to_numpy(float), laterals.boundary.couplings_at_property_line
        mixed = joint_or_elsewhere(probability, measure_m - limit, spread_m, length, share)
        probability = np.where(joint, mixed, probability)
    # Where all of a lateral is one party's, there is no doubt of a measure that could tell otherwise.
    return np.asarray(np.select([at == TIE_IN, at == BUILDING], [1.0, 0.0], probability))


def accuracy_of(laterals: Laterals, lateral: NDArray[np.int64], measure_m: Floats) -> Floats:
    """The map accuracy of each row's lateral along its line at a measure of it, NaN where the lateral is not known (−1)."""
    return _accuracies(laterals, lateral, measure_m)[0]


def across_of(laterals: Laterals, lateral: NDArray[np.int64], measure_m: Floats) -> Floats:
    """As ``accuracy_of``, squarely to the line."""
    return _accuracies(laterals, lateral, measure_m)[1]


def _accuracies(laterals: Laterals, lateral: NDArray[np.int64], measure_m: Floats) -> tuple[Floats, Floats]:
    return accuracies_at(laterals.table["accuracy_m"].to_numpy(float), laterals.along, laterals.lines, lateral, measure_m)


def points_of(rows: pd.DataFrame) -> NDArray[np.object_]:
    """A point for each placed row, None for the others."""
    xy = rows[["x", "y"]].to_numpy(float)
    points = np.full(len(rows), None, dtype=object)
    placed = np.isfinite(xy).all(axis=1)
    points[placed] = shapely.points(xy[placed])
    return points
