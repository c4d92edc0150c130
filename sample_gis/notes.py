"""What crews note besides defects: clean-outs and bends passed, the property line, the ends of the line, and why a push ended."""

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sample_gis.pipes import Ground
from sample_gis.settings import Settings

Floats = NDArray[np.float64]
Rng = np.random.Generator
STOPS = ("stopped short", "could not pass", "turned back")
AS_PROPERTY_LINE, NAMED = 0.35, 0.85
BREAK_SD_M = 0.05
"""The material changes this near to the property line."""


def features_of(
    runs: pd.DataFrame, points: pd.DataFrame, ground: Ground, material: NDArray[np.object_], settings: Settings, rng: Rng
) -> pd.DataFrame:
    """All features that all runs noted: run, lateral, kind, true_kind, true_measure_m, referent, material_after."""
    parts = [
        _points_passed(runs, points, settings, rng),
        _property_lines(runs, ground, material, settings, rng),
        _ends(runs, ground, settings, rng),
        _stops(runs, rng),
    ]
    return pd.concat([part.astype({"kind": object}) for part in parts], ignore_index=True)


def passed(runs: pd.DataFrame, row: NDArray[np.int64], measure_m: Floats) -> NDArray[np.bool_]:
    """Whether the runs of these rows had each measure before their camera."""
    launch, end = runs["true_launch_m"].to_numpy(float)[row], runs["true_end_m"].to_numpy(float)[row]
    return np.asarray((measure_m >= np.minimum(launch, end)) & (measure_m <= np.maximum(launch, end)))


def _points_passed(runs: pd.DataFrame, points: pd.DataFrame, settings: Settings, rng: Rng) -> pd.DataFrame:
    """Clean-outs and bends; only a recorded one has a name that a crew can write down."""
    seen = points[points["kind"].isin(["clean-out", "bend"])]
    pairs = runs[["run", "lateral"]].assign(row=np.arange(len(runs))).merge(seen, on="lateral")
    row, measure_m = pairs["row"].to_numpy(), pairs["true_measure_m"].to_numpy(float)
    launch = runs["true_launch_m"].to_numpy(float)[row]
    noted = passed(runs, row, measure_m) & (measure_m != launch) & (rng.random(len(pairs)) >= settings.missed)
    named = pairs["recorded"].to_numpy(bool) & (rng.random(len(pairs)) < NAMED)
    table = pairs[["run", "lateral", "kind", "true_measure_m"]].assign(referent=pairs["name"].where(named))
    return pd.DataFrame(table[noted])


def _property_lines(
    runs: pd.DataFrame, ground: Ground, material: NDArray[np.object_], settings: Settings, rng: Rng
) -> pd.DataFrame:
    """Most runs note where ABS turns to PVC: as a material change, mostly said to be the property line, or as the line."""
    lateral = runs["lateral"].to_numpy()
    breaks_m = ground.property_line_m + rng.normal(0.0, BREAK_SD_M, len(ground.property_line_m))
    measure_m = breaks_m[lateral]
    noted = passed(runs, np.arange(len(runs)), measure_m) & (rng.random(len(runs)) < settings.property_line_noted)
    as_line = rng.random(len(runs)) < AS_PROPERTY_LINE
    named = ~as_line & (rng.random(len(runs)) < NAMED)
    after = np.where(runs["towards_building"], material[lateral], "PVC")
    table = pd.DataFrame(
        {
            "run": runs["run"].to_numpy(),
            "lateral": lateral,
            "kind": np.where(as_line, "property line", "material change"),
            "true_measure_m": measure_m,
            "referent": pd.Series("property line", index=range(len(runs)), dtype=object).where(named),
            "material_after": pd.Series(after, dtype=object).where(~as_line),
        }
    )
    return table[noted]


def _ends(runs: pd.DataFrame, ground: Ground, settings: Settings, rng: Rng) -> pd.DataFrame:
    """The tie-in, or the building, at the end of a push that got there."""
    noted = ~runs["stopped"].to_numpy(bool) & (rng.random(len(runs)) < settings.ends_noted)
    up, lateral = runs["towards_building"].to_numpy(bool), runs["lateral"].to_numpy()
    end_m = np.where(up, ground.true.length_m[lateral], 0.0)
    noted &= np.abs(end_m - runs["true_end_m"].to_numpy(float)) < BREAK_SD_M
    kind = np.where(up, "building", "tie-in")
    return pd.DataFrame({"run": runs["run"].to_numpy(), "lateral": lateral, "kind": kind, "true_measure_m": end_m})[noted]


def _stops(runs: pd.DataFrame, rng: Rng) -> pd.DataFrame:
    """Most pushes that end early say so."""
    noted = runs["stopped"].to_numpy(bool) & (rng.random(len(runs)) < NAMED)
    table = runs[["run", "lateral"]].assign(kind=rng.choice(STOPS, len(runs)), true_measure_m=runs["true_end_m"])
    return table[noted]
