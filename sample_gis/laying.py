"""Who was laid when, and the known points along each pipe: clean-outs and bends, some recorded, some not."""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sample_gis.pipes import Ground
from sample_gis.settings import Settings

Floats = NDArray[np.float64]
FIRST_DAY = np.datetime64("2023-01-01", "D")
LAST_DAY = np.datetime64("2025-12-31", "D")
NEWLY_LAID = 0.45
BUILDING_CLEANOUT, STREET_CLEANOUT = 0.7, 0.35
BEND_SEEN_DEG = 10.0


@dataclass(frozen=True)
class Laid:
    """One row a lateral: the day it was laid, whether within the years that the town tells of, its material and diameter."""

    installed_on: NDArray[np.datetime64]
    new: NDArray[np.bool_]
    material: NDArray[np.object_]
    diameter: NDArray[np.object_]


def laid_on(count: int, rng: np.random.Generator) -> Laid:
    """New lines of ABS and PVC, laid from December 2022 to January 2025, among lines of 1948 to 2015."""
    new = rng.random(count) < NEWLY_LAID
    recent = np.datetime64("2022-12-01", "D") + rng.integers(0, 790, count)
    old = np.datetime64("1948-04-01", "D") + rng.integers(0, 24_700, count)
    clay = old < np.datetime64("1972-01-01", "D")
    material = np.where(new | ~clay, "ABS / PVC", np.where(rng.random(count) < 0.5, "clay / PVC", "cast iron / PVC"))
    diameter = rng.choice(['4"', "4 in", "100 mm", "3 in"], count, p=[0.45, 0.3, 0.13, 0.12])
    return Laid(np.where(new, recent, old), new, material.astype(object), diameter.astype(object))


def private_material(material: NDArray[np.object_]) -> NDArray[np.object_]:
    """What lies between building and property line."""
    return pd.Series(material).str.split(" / ").str[0].to_numpy(object)


def known_points(ground: Ground, settings: Settings, rng: np.random.Generator) -> pd.DataFrame:
    """Clean-outs and bends: lateral, name, kind, true_measure_m, true_x, true_y, recorded, and what the town's table says.

    What is said (measure_m, or x and y, sigma_m) is within ``referent_sd_m`` of the truth; bends are read off the map.
    """
    points = pd.concat([_cleanouts(ground, rng), _bends(ground)], ignore_index=True)
    lateral, measure_m = points["lateral"].to_numpy(), points["true_measure_m"].to_numpy(float)
    true_xy = ground.true.point_at(lateral, measure_m)
    points["true_x"], points["true_y"] = true_xy[:, 0], true_xy[:, 1]
    chance = rng.random(len(points))
    clean_out = (points["kind"] == "clean-out").to_numpy()
    points["recorded"] = chance < np.where(clean_out, settings.cleanouts_recorded, settings.bends_recorded)
    points["launchable"] = clean_out
    return pd.concat([_as_told(points, ground, settings, rng), _surveyed(ground, settings, rng)], ignore_index=True)


def _cleanouts(ground: Ground, rng: np.random.Generator) -> pd.DataFrame:
    """One a step outside the building, one a step inside the property line."""
    length_m, line_m = ground.true.length_m, ground.property_line_m
    at_building = length_m - rng.uniform(0.6, 1.5, len(length_m))
    at_line = line_m + rng.uniform(0.4, 1.0, len(length_m))
    near = np.flatnonzero((rng.random(len(length_m)) < BUILDING_CLEANOUT) & (at_building > line_m))
    far = np.flatnonzero((rng.random(len(length_m)) < STREET_CLEANOUT) & (at_line < at_building - 1.0))
    return pd.DataFrame(
        {
            "lateral": np.concatenate([near, far]),
            "name": ["CO1"] * len(near) + ["CO2"] * len(far),
            "kind": "clean-out",
            "true_measure_m": np.concatenate([at_building[near], at_line[far]]),
        }
    )


def _bends(ground: Ground) -> pd.DataFrame:
    lateral, bend = np.nonzero(ground.turn_deg > BEND_SEEN_DEG)
    return pd.DataFrame(
        {
            "lateral": lateral,
            "name": np.char.add("B", (bend + 1).astype(str)).astype(object),
            "kind": "bend",
            "true_measure_m": ground.true.cumulative_m[lateral, bend + 1],
            "drawn_measure_m": ground.drawn.cumulative_m[lateral, bend + 1],
        }
    )


def _as_told(points: pd.DataFrame, ground: Ground, settings: Settings, rng: np.random.Generator) -> pd.DataFrame:
    """Clean-outs by tape (measure) or by survey (x, y); bends by their vertex on the map."""
    clean_out = (points["kind"] == "clean-out").to_numpy()
    surveyed = clean_out & (rng.random(len(points)) < 0.5)
    told = np.where(
        clean_out, points["true_measure_m"] + rng.normal(0.0, settings.referent_sd_m, len(points)), points["drawn_measure_m"]
    )
    # A taped clean-out near the wall must not fall past the end of the line as it is drawn.
    told = np.minimum(told, ground.drawn.length_m[points["lateral"].to_numpy()])
    xy = points[["true_x", "true_y"]].to_numpy(float) + rng.normal(0.0, settings.referent_sd_m, (len(points), 2))
    return points.drop(columns="drawn_measure_m").assign(
        measure_m=np.where(surveyed, np.nan, np.floor(told * 100.0) / 100.0),
        x=np.where(surveyed, np.round(xy[:, 0], 2), np.nan),
        y=np.where(surveyed, np.round(xy[:, 1], 2), np.nan),
        sigma_m=np.where(surveyed, settings.referent_sd_m, np.nan),
    )


def _surveyed(ground: Ground, settings: Settings, rng: np.random.Generator) -> pd.DataFrame:
    """Property lines that a surveyor staked, within 5 cm."""
    lateral = np.flatnonzero(rng.random(len(ground.property_line_m)) < settings.property_lines_surveyed)
    true_xy = ground.true.point_at(lateral, ground.property_line_m[lateral])
    told = np.round(true_xy + rng.normal(0.0, 0.05, true_xy.shape), 2)
    return pd.DataFrame(
        {
            "lateral": lateral,
            "name": "property line",
            "kind": "property line",
            "true_measure_m": ground.property_line_m[lateral],
            "true_x": true_xy[:, 0],
            "true_y": true_xy[:, 1],
            "recorded": True,
            "launchable": False,
            "measure_m": np.nan,
            "x": told[:, 0],
            "y": told[:, 1],
            "sigma_m": 0.05,
        }
    )
