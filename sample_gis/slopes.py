"""How deep each pipe lies and how it falls, and what the town's map says of it.

The town stands on a flat marsh: each street's ground is level, so that depths and inverts tell the same fall. Depths are
measured from the ground to the pipe's invert, to the nearest 5 cm; inverts are surveyed to the centimetre. Common falls are 1/8
to 1/4 inch in a foot; some lines lie too flat, and one runs the wrong way.
"""

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sample_gis.pipes import Ground
from sample_gis.streets import Lots

Floats = NDArray[np.float64]

EIGHTH_INCH_A_FOOT = 1.0 / 96.0
GROUND_M = (6.0, 9.0)
"""Elevation of the streets: high enough that no invert lies below nought."""

SHALLOWEST_M, DEEPEST_M = 0.9, 2.2
TOO_FLAT = 0.12
ADVERSE_SLOPE = -1.0 / 250.0
TIE_IN_TOLD, BUILDING_TOLD, INVERTS_TOLD = 0.85, 0.75, 0.3
TOLD = ("tie_in_depth_m", "building_depth_m", "tie_in_invert_m", "building_invert_m")
"""What the map says, in metres."""

TAPE_SD_M, LEVEL_SD_M = 0.04, 0.01


def falls_of(lots: Lots, ground: Ground, rng: np.random.Generator) -> pd.DataFrame:
    """One row a lateral: the truth and, rounded as the map has it, what the town knows of it (NaN where nobody measured).

    ``true_slope`` is the fall towards the main a length of pipe (negative: it runs the wrong way), ``true_tie_in_invert_m`` and
    ``true_building_invert_m`` are elevations, ``ground_m`` that of the ground at both ends; tie_in_depth_m, building_depth_m,
    tie_in_invert_m and building_invert_m are what the map says. A line whose inverts are told has both of them.
    """
    count = len(lots.street)
    slope = EIGHTH_INCH_A_FOOT * rng.uniform(1.0, 2.0, count)
    flat = rng.random(count) < TOO_FLAT
    slope = np.where(flat, EIGHTH_INCH_A_FOOT * rng.uniform(0.2, 0.8, count), slope)
    ground_m = rng.uniform(*GROUND_M, int(lots.street.max()) + 1)[lots.street]
    building_depth_m = rng.uniform(SHALLOWEST_M, DEEPEST_M, count)
    chance = rng.random((2, count))
    levelled = rng.random(count) < INVERTS_TOLD
    # One line of those whose inverts are known runs the wrong way, so that it can be found.
    wrong = np.flatnonzero(levelled)[:1] if levelled.any() else np.array([0])
    levelled[wrong], slope[wrong] = True, ADVERSE_SLOPE
    building_m = ground_m - building_depth_m
    tie_in_m = building_m - slope * ground.true.length_m
    noise = rng.normal(0.0, 1.0, (4, count))
    return pd.DataFrame(
        {
            "true_slope": slope,
            "ground_m": ground_m,
            "true_tie_in_invert_m": tie_in_m,
            "true_building_invert_m": building_m,
            "tie_in_depth_m": _told(ground_m - tie_in_m + TAPE_SD_M * noise[0], 0.05, chance[0] < TIE_IN_TOLD),
            "building_depth_m": _told(building_depth_m + TAPE_SD_M * noise[1], 0.05, chance[1] < BUILDING_TOLD),
            "tie_in_invert_m": _told(tie_in_m + LEVEL_SD_M * noise[2], 0.01, levelled),
            "building_invert_m": _told(building_m + LEVEL_SD_M * noise[3], 0.01, levelled),
        }
    )


def _told(values_m: Floats, step_m: float, known: NDArray[np.bool_]) -> Floats:
    return np.where(known, np.round(np.round(values_m / step_m) * step_m, 2), np.nan)
