"""The last step of placing: measures of readings, points on the map, radii, sides, and the stretch each run covered."""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sewermap.line import counter
from sewermap.line.along import sketched
from sewermap.line.counter_model import CounterModel
from sewermap.line.known_points import Laterals
from sewermap.line.on_the_map import accuracy_of, on_the_map
from sewermap.line.pushes import Pushes, counter_fixes, counter_runs


@dataclass(frozen=True)
class Places:
    """Row by row with the observations and the runs that were asked for, and what is worth telling.

    ``observations``: lateral (row, −1 where unknown), measure_m, sigma_m, to_measure_m, within_m, x, y, side, side_probability,
    side_sigma_m, reason. ``coverages``: lateral, from_measure_m, to_measure_m, fixes, set_aside, notes. ``warnings``: row (of the
    observations, −1 for a run), push, field, reason.
    """

    observations: pd.DataFrame
    coverages: pd.DataFrame
    warnings: pd.DataFrame


def place(
    observations: pd.DataFrame,
    pushes: Pushes,
    laterals: Laterals,
    points: pd.DataFrame,
    model: CounterModel,
    *,
    material_rule: bool = False,
) -> Places:
    """Place observations (columns push, reading_m, to_reading_m, kind, referent, located_map_x, located_map_y)."""
    runs = counter_runs(pushes, laterals)
    fixes, fixed_rows, fix_problem = counter_fixes(observations, pushes, laterals, points, model, material_rule=material_rule)
    push = observations["push"].to_numpy()
    zero = pushes.table["zero_m"].to_numpy()
    paid = observations["reading_m"].to_numpy(float) - zero[push]
    to_paid = observations["to_reading_m"].to_numpy(float) - zero[push]
    placeable = (pushes.problem == "")[push] & ~np.isnan(paid)
    starts = np.flatnonzero(placeable)
    ends = np.flatnonzero(placeable & ~np.isnan(to_paid))
    readings = counter.Readings(
        run=np.concatenate([push[starts], push[ends]]), paid_m=np.concatenate([paid[starts], to_paid[ends]])
    )
    placement = counter.place(runs, readings, fixes, model)
    measure, sigma, to_measure = (np.full(len(observations), np.nan) for _ in range(3))
    reason = np.where(pushes.problem[push] != "", pushes.problem[push], "no reading").astype(object)
    measure[starts], sigma[starts] = placement.measure_m[: len(starts)], placement.sigma_m[: len(starts)]
    reason[starts] = placement.reason[: len(starts)]
    to_measure[ends] = placement.measure_m[len(starts) :]
    set_aside = fixed_rows[placement.verdict.set_aside]
    reason[set_aside] = [f"{text}; set aside as a fix" if text else "set aside as a fix" for text in reason[set_aside]]
    # Fixes on one drawn line share its error: however many there are, what is common to them stays. Between the known points of
    # a line that no map drew its own error is another one than theirs, and comes on top.
    lateral = pushes.table["lateral"].to_numpy()[push]
    common = accuracy_of(laterals, lateral, measure) * np.sqrt(model.map_shared)
    sigma = np.where(sketched(laterals.along, laterals.lines, lateral), np.hypot(sigma, common), np.maximum(sigma, common))
    table = on_the_map(laterals, lateral, measure, sigma, kind=observations["kind"])
    table = table.assign(to_measure_m=to_measure, reason=reason)
    coverages = _coverages(push, pushes, runs, fixes, model, paid, placement)
    return Places(table, coverages, _warnings(table, fix_problem, placement))


def _coverages(
    push: NDArray[np.int64],
    pushes: Pushes,
    runs: counter.Runs,
    fixes: counter.Fixes,
    model: CounterModel,
    paid: NDArray[np.float64],
    placement: counter.Placement,
) -> pd.DataFrame:
    """The stretch each run passed: from its launch to where the push ended, or to its last reading where that is not said."""
    end = pushes.table["end_paid_m"].to_numpy(float).copy()
    farthest = pd.Series(paid).groupby(push).max().reindex(np.arange(len(end))).to_numpy(float)
    end = np.where(np.isnan(end), farthest, end)
    covered = counter.coverage(placement.calibration, runs, end, model)
    looked = (pushes.problem == "") & ~np.isnan(end)
    table = pd.DataFrame(
        {"lateral": pushes.table["lateral"], "from_measure_m": covered.from_measure_m, "to_measure_m": covered.to_measure_m}
    )
    table.loc[~looked, ["from_measure_m", "to_measure_m"]] = np.nan
    count = len(end)
    table["fixes"] = np.bincount(fixes.run, minlength=count)
    table["set_aside"] = np.bincount(fixes.run[placement.verdict.set_aside], minlength=count)
    notes = np.where(pushes.problem != "", pushes.problem, placement.verdict.notes)
    table["notes"] = notes
    return table


def _warnings(table: pd.DataFrame, fix_problem: NDArray[np.object_], placement: counter.Placement) -> pd.DataFrame:
    """What a user should hear of: unplaced readings, fixes that could not be used, runs whose fixes contradict each other."""
    reason = table["reason"].to_numpy(object, copy=True)
    told = np.flatnonzero((reason != "") & (reason != "at end"))
    lame = np.flatnonzero(fix_problem != "")
    noted = np.flatnonzero(placement.verdict.notes != "")
    return pd.concat(
        [
            pd.DataFrame({"row": told, "push": -1, "field": "reading", "reason": reason[told]}),
            pd.DataFrame({"row": lame, "push": -1, "field": "referent", "reason": fix_problem[lame]}),
            pd.DataFrame({"row": -1, "push": noted, "field": "run", "reason": placement.verdict.notes[noted]}),
        ],
        ignore_index=True,
    )
