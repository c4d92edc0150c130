"""Measures along laterals as points on the map, with radius and side."""

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sewermap.line.boundary import side_of
from sewermap.line.circle import within_m
from sewermap.line.known_points import Laterals
from sewermap.line.reference import point_at

Floats = NDArray[np.float64]


def on_the_map(laterals: Laterals, lateral: NDArray[np.int64], measure_m: Floats, sigma_m: Floats) -> pd.DataFrame:
    """Where measures are: columns lateral, measure_m, sigma_m, within_m, x, y, side (missing where unknown), side_probability.

    ``lateral``: rows of ``laterals``. A measure that is NaN is nowhere: all its numbers are NaN. Raises MeasureError for one
    outside its line.
    """
    count = len(measure_m)
    table = pd.DataFrame({"lateral": lateral})
    for name in ("measure_m", "sigma_m", "within_m", "x", "y", "side_probability"):
        table[name] = np.full(count, np.nan)
    side = np.full(count, "", dtype=object)
    rows = np.flatnonzero(~np.isnan(measure_m))
    if len(rows):
        of = laterals.table.iloc[lateral[rows]]
        measure, sigma = measure_m[rows], sigma_m[rows]
        xy = point_at(laterals.lines, lateral[rows], measure)
        property_line = of["property_line_m"].to_numpy(float), of["property_line_sigma_m"].to_numpy(float)
        sides, probability = side_of(measure, sigma, *property_line)
        side[rows] = np.where(pd.isna(sides), "", sides)
        found = {
            "measure_m": measure,
            "sigma_m": sigma,
            "within_m": within_m(sigma, of["accuracy_m"].to_numpy(float)),
            "x": xy[:, 0],
            "y": xy[:, 1],
            "side_probability": probability,
        }
        for name, values in found.items():
            column = np.full(count, np.nan)
            column[rows] = values
            table[name] = column
    words = pd.Series(side, dtype="str")
    return table.assign(side=words.where(words != ""))


def accuracy_of(laterals: Laterals, lateral: NDArray[np.int64]) -> Floats:
    """The map accuracy of each row's lateral, NaN where the lateral is not known (−1)."""
    accuracy = np.append(laterals.table["accuracy_m"].to_numpy(float), np.nan)
    return accuracy[lateral]
