"""The true defects of the town: what, where, since when, how bad and how fast it grows."""

import numpy as np
import pandas as pd

from sample_gis.laying import FIRST_DAY, LAST_DAY, Laid
from sample_gis.pipes import Ground
from sample_gis.settings import Settings

KINDS = {
    "roots": 0.3,
    "crack": 0.09,
    "open crack": 0.05,
    "offset joint": 0.1,
    "open joint": 0.06,
    "shifted coupling": 0.06,
    "sag": 0.12,
    "grease": 0.06,
    "deposits": 0.06,
    "debris": 0.04,
    "infiltration": 0.03,
    "intruding connection": 0.02,
    "deformation": 0.01,
}
"""How often each kind is met; common practice, no source."""

FROM_LAYING = ("sag", "offset joint", "shifted coupling", "deformation")
STRETCHES = {"sag": (1.0, 3.0), "grease": (0.4, 1.5), "deposits": (0.4, 1.5)}
CLOCKED = ("crack", "open crack", "roots", "infiltration", "intruding connection", "offset joint")
PERCENT = ("roots", "grease", "deposits", "debris", "standing water", "deformation", "intruding connection")
STANDING_WATER = 0.6
FROM_THE_ENDS_M = 0.3


def defects_of(ground: Ground, laid: Laid, settings: Settings, rng: np.random.Generator) -> pd.DataFrame:
    """One row a defect, in order of lateral and measure.

    Columns: truth_id, lateral (row), kind, true_measure_m (its end nearer the main), true_to_measure_m (empty for a point),
    clock (looking towards the main), born_on, severity (grade-like, at birth), growth (a year), true_x, true_y.
    """
    count = rng.poisson(settings.defects_per_lateral, len(ground.true.length_m))
    lateral = np.repeat(np.arange(len(count)), count)
    kind = rng.choice(list(KINDS), len(lateral), p=np.array(list(KINDS.values())))
    table = pd.DataFrame({"lateral": lateral, "kind": kind.astype(object)})
    _put(table, ground, rng)
    _age(table, laid, rng)
    table = pd.concat([table, _water_in_sags(table, rng)], ignore_index=True)
    table = table.sort_values(["lateral", "true_measure_m", "kind"], kind="stable", ignore_index=True)
    table.insert(0, "truth_id", [f"D{number:05d}" for number in range(1, len(table) + 1)])
    xy = ground.true.point_at(table["lateral"].to_numpy(), table["true_measure_m"].to_numpy(float))
    return table.assign(true_x=xy[:, 0], true_y=xy[:, 1])


def _put(table: pd.DataFrame, ground: Ground, rng: np.random.Generator) -> None:
    lateral, kind = table["lateral"].to_numpy(), table["kind"].to_numpy()
    length_m = ground.true.length_m[lateral]
    measure_m = FROM_THE_ENDS_M + rng.random(len(table)) * (length_m - 2.0 * FROM_THE_ENDS_M)
    at_change = ground.property_line_m[lateral] + rng.normal(0.0, 0.05, len(table))
    measure_m = np.where(kind == "shifted coupling", at_change, measure_m)
    extent_m = np.full(len(table), np.nan)
    for name, (shortest, longest) in STRETCHES.items():
        extent_m = np.where(kind == name, rng.uniform(shortest, longest, len(table)), extent_m)
    over_m = np.nan_to_num(measure_m + extent_m - (length_m - FROM_THE_ENDS_M))
    table["true_measure_m"] = measure_m - np.maximum(over_m, 0.0)
    table["true_to_measure_m"] = table["true_measure_m"] + extent_m
    clock = rng.integers(1, 13, len(table)).astype(float)
    table["clock"] = np.where(np.isin(kind, CLOCKED), clock, np.nan)


def _age(table: pd.DataFrame, laid: Laid, rng: np.random.Generator) -> None:
    """Faults of workmanship are there from the laying on; the rest comes with time, on old lines mostly before the records."""
    lateral, kind = table["lateral"].to_numpy(), table["kind"].to_numpy()
    installed = laid.installed_on[lateral]
    years = int((LAST_DAY - FIRST_DAY).astype(int))
    lately = FIRST_DAY + rng.integers(0, years, len(table))
    before = FIRST_DAY - rng.integers(30, 2000, len(table))
    on_old = np.where(rng.random(len(table)) < 0.7, np.maximum(before, installed), lately)
    later = installed + 40 + rng.integers(0, 700, len(table))
    on_new = np.where(np.isin(kind, FROM_LAYING), installed, later)
    table["born_on"] = np.where(laid.new[lateral], on_new, on_old).astype("datetime64[s]")
    table["severity"] = rng.uniform(1.0, 3.5, len(table))
    growth = np.maximum(rng.normal(0.3, 0.3, len(table)), 0.0)
    table["growth"] = np.where(kind == "roots", growth + 0.5, growth)


def _water_in_sags(table: pd.DataFrame, rng: np.random.Generator) -> pd.DataFrame:
    """Water stands in the deeper part of most sags: a defect of its own inside the sag's stretch."""
    sags = table[table["kind"] == "sag"]
    wet = sags[rng.random(len(sags)) < STANDING_WATER].copy()
    extent_m = wet["true_to_measure_m"] - wet["true_measure_m"]
    wet["kind"] = "standing water"
    wet["true_to_measure_m"] = wet["true_to_measure_m"] - 0.2 * extent_m
    wet["true_measure_m"] = wet["true_measure_m"] + 0.2 * extent_m
    return wet
