"""One round of runs: when each lateral is looked at next, why, from where, and how far the camera gets."""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sample_gis.laying import FIRST_DAY, LAST_DAY, Laid
from sample_gis.pipes import Ground
from sample_gis.settings import Settings

Floats = NDArray[np.float64]
Days = NDArray[np.datetime64]
AFTER_WORK, CHECKED_IN_TIME = 0.75, 0.75
FROM_TIE_IN, FROM_CLEANOUT = 0.1, 0.4
LEAD_IN, EARLY_ZERO = 0.25, 0.25
CREWS = 3
CREW_SHARES = (0.45, 0.3, 0.25)
PUSH_CABLE_M = 60.0


@dataclass(frozen=True)
class Launches:
    """Where a camera may enter each lateral besides building and tie-in: its clean-out nearest the building."""

    measure_m: Floats
    name: NDArray[np.object_]
    recorded: NDArray[np.bool_]


def launches_of(points: pd.DataFrame, count: int) -> Launches:
    """The clean-out nearest the building of each of ``count`` laterals; measure NaN where there is none."""
    best = points[points["launchable"]].sort_values(["lateral", "true_measure_m"]).drop_duplicates("lateral", keep="last")
    best = best.assign(recorded=best["recorded"].astype(float)).set_index("lateral").reindex(np.arange(count))
    recorded = best["recorded"].fillna(value=0.0).to_numpy(float) > 0.0
    return Launches(best["true_measure_m"].to_numpy(float), best["name"].to_numpy(object), recorded)


def round_of_runs(
    number: int,
    history: pd.DataFrame,
    laid: Laid,
    ground: Ground,
    launches: Launches,
    settings: Settings,
    rng: np.random.Generator,
) -> pd.DataFrame:
    """The runs of one round, one row a lateral that is still looked at.

    ``history`` has one row a lateral: runs_left, ran_on (last run), worked_on (work since then). Columns of the answer: lateral
    (row), ran_on, reason, launch, launch_known, towards_building, true_launch_m, true_end_m, stopped, crew and the counter's
    true errors (launch_error_m, scale_error, badly_zeroed) and where it stood (launch_reading_m, lead_in_m).
    """
    ran_on, reason = _when(number, history, laid, settings, rng)
    going = np.flatnonzero((history["runs_left"].to_numpy() > number) & (ran_on <= LAST_DAY))
    table = pd.DataFrame({"lateral": going, "ran_on": ran_on[going].astype("datetime64[s]"), "reason": reason[going]})
    _launch(table, ground, launches, rng)
    _reach(table, ground, settings, rng)
    crew = rng.choice(CREWS, len(table), p=CREW_SHARES)
    table["crew"] = crew if settings.crews == CREWS else 0
    _zero(table, settings, rng)
    return table


def _when(
    number: int, history: pd.DataFrame, laid: Laid, settings: Settings, rng: np.random.Generator
) -> tuple[Days, NDArray[np.object_]]:
    count = len(history)
    if number == 0:
        new = laid.installed_on + rng.integers(3, 20, count)
        old = FIRST_DAY + rng.integers(0, 420, count)
        reason = np.where(laid.new, "acceptance", rng.choice(["complaint", "sale", "check"], count, p=[0.6, 0.25, 0.15]))
        return np.where(laid.new, np.maximum(new, FIRST_DAY), old), reason.astype(object)
    last = history["ran_on"].to_numpy("datetime64[D]")
    worked = history["worked_on"].to_numpy("datetime64[D]")
    gap = (rng.uniform(0.5, 1.3, count) * 1000.0 / settings.runs_per_lateral).astype(int)
    day = np.maximum(last, np.where(np.isnat(worked), last, worked)) + gap
    reason = rng.choice(["complaint", "check", "sale", "other"], count, p=[0.55, 0.3, 0.1, 0.05])
    year_check = np.maximum(laid.installed_on + 365 - rng.integers(5, 55, count), last + 20)
    in_year = (number == 1) & laid.new & (rng.random(count) < CHECKED_IN_TIME)
    day, reason = np.where(in_year, year_check, day), np.where(in_year, "check", reason)
    after = ~np.isnat(worked) & (rng.random(count) < AFTER_WORK)
    return np.where(after, worked + rng.integers(3, 25, count), day), np.where(after, "work", reason).astype(object)


def _launch(table: pd.DataFrame, ground: Ground, launches: Launches, rng: np.random.Generator) -> None:
    """Mostly from the building or a clean-out towards the main. Nobody can name a clean-out that is not in the table: then the
    run is said to start at the building, a step further out than it did.
    """
    lateral = table["lateral"].to_numpy()
    chance = rng.random(len(table))
    tie_in = chance < FROM_TIE_IN
    clean_out = ~tie_in & (chance < FROM_TIE_IN + FROM_CLEANOUT) & ~np.isnan(launches.measure_m[lateral])
    name = np.where(clean_out & launches.recorded[lateral], launches.name[lateral], "building")
    table["launch"] = np.where(tie_in, "tie-in", name).astype(object)
    table["launch_as_said"] = ~clean_out | launches.recorded[lateral]
    table["towards_building"] = tie_in
    from_m = np.where(clean_out, launches.measure_m[lateral], ground.true.length_m[lateral])
    table["true_launch_m"] = np.where(tie_in, 0.0, from_m)
    table["from_cleanout"] = clean_out


def _reach(table: pd.DataFrame, ground: Ground, settings: Settings, rng: np.random.Generator) -> None:
    length_m = ground.true.length_m[table["lateral"].to_numpy()]
    launch_m = table["true_launch_m"].to_numpy(float)
    way_m = np.where(table["towards_building"], length_m, launch_m)
    stopped = rng.random(len(table)) < settings.stops_short
    reach_m = np.minimum(np.where(stopped, rng.uniform(0.3, 0.9, len(table)) * way_m, way_m), PUSH_CABLE_M)
    table["true_end_m"] = np.where(table["towards_building"], launch_m + reach_m, launch_m - reach_m)
    table["stopped"] = stopped


def _zero(table: pd.DataFrame, settings: Settings, rng: np.random.Generator) -> None:
    count = len(table)
    badly = rng.random(count) < settings.badly_zeroed
    table["badly_zeroed"] = badly
    table["launch_error_m"] = rng.normal(size=count) * np.where(badly, settings.badly_zeroed_sd_m, settings.launch_sd_m)
    table["scale_error"] = rng.normal(0.0, settings.scale_sd, count)
    table["launch_reading_m"] = np.where(rng.random(count) < EARLY_ZERO, rng.uniform(0.3, 3.0, count), 0.0)
    riser = table["from_cleanout"].to_numpy() & (rng.random(count) < LEAD_IN)
    table["lead_in_m"] = np.where(riser, rng.uniform(0.6, 1.8, count), 0.0)
