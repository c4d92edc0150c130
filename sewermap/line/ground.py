"""The base layers that place rules look at, and the points that somebody measured on laterals."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from sewermap.line.reference import Lines, measure_of


@dataclass(frozen=True)
class Ground:
    """The base layers that place rules look at: current rows of parcels, buildings and referents."""

    parcels: pd.DataFrame
    buildings: pd.DataFrame
    referents: pd.DataFrame


def measured_referents(table: pd.DataFrame, lines: Lines, referents: pd.DataFrame, fix_sigma_m: float) -> pd.DataFrame:
    """Given referents with their measures: as given, else the foot of their coordinates on the line."""
    lateral = pd.Index(table["lateral"]).get_indexer(referents["lateral"])
    measure = referents["measure_m"].to_numpy(float).copy()
    xy = referents[["x", "y"]].to_numpy(float)
    by_map = np.isnan(measure) & np.isfinite(xy).all(axis=1) & (lateral >= 0)
    if by_map.any():
        measure[by_map] = measure_of(lines, lateral[by_map], xy[by_map])[0]
    sigma = referents["sigma_m"].to_numpy(float)
    points = pd.DataFrame(
        {
            "lateral": lateral,
            "name": referents["name"].str.casefold(),
            "kind": referents["kind"],
            "measure_m": measure,
            "sigma_m": np.where(np.isnan(sigma), fix_sigma_m, sigma),
        }
    )
    known: pd.DataFrame = points[lateral >= 0]
    return known.reset_index(drop=True)
