"""Runs made ready for the counter model: where each was launched, which way it went, and what fixes its counter."""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sewermap.line import counter
from sewermap.line.counter_model import CounterModel
from sewermap.line.fixes import fixes_of
from sewermap.line.known_points import Laterals
from sewermap.line.lines_taken import NO_LINE
from sewermap.line.on_the_map import accuracy_of


@dataclass(frozen=True)
class Pushes:
    """Runs ready for the counter model: ``table`` has one row a run with lateral (row), launch_m, direction, zero_m (what the
    counter showed at the line's launch point), end_paid_m and launch_extra_m (sigma of the launch beside what every launch has);
    ``problem`` says why a run cannot be placed.
    """

    table: pd.DataFrame
    problem: NDArray[np.object_]


def pushes_of(runs: pd.DataFrame, laterals: Laterals, points: pd.DataFrame) -> Pushes:
    """Where each run was launched and which way it went.

    ``runs``: current rows. The launch is its ``launch_measure_m``, else the known point that ``launch`` names (the building
    where nothing is said). The direction follows the launch where it is not given.
    """
    lateral = laterals.index_of(runs["lateral"])
    launch = runs["launch"].str.casefold().fillna("building")
    wanted = pd.DataFrame({"lateral": lateral, "name": launch.to_numpy()})
    found = wanted.merge(points[["lateral", "name", "measure_m", "kind"]], on=["lateral", "name"], how="left")
    given = runs["launch_measure_m"].to_numpy(float)
    launch_m = np.where(np.isnan(given), found["measure_m"].to_numpy(float), given)
    towards_building = (runs["direction"] == "to building").to_numpy() | (
        runs["direction"].isna().to_numpy() & ((found["kind"] == "tie-in") | (launch == "tie-in").to_numpy()).to_numpy()
    )
    zero_m = runs["launch_reading_m"].fillna(0.0).to_numpy(float) + runs["lead_in_m"].fillna(0.0).to_numpy(float)
    problem = np.full(len(runs), "", dtype=object)
    problem[np.isnan(launch_m)] = "the launch point is not known on this lateral"
    problem[lateral < 0] = NO_LINE
    table = pd.DataFrame(
        {
            "run": runs["run"].to_numpy(),
            "lateral": lateral,
            "launch_m": launch_m,
            "direction": np.where(towards_building, 1.0, -1.0),
            "zero_m": zero_m,
            "end_paid_m": runs["end_reading_m"].to_numpy(float) - zero_m,
            "launch_extra_m": 0.0,
        }
    )
    return Pushes(table, problem)


def counter_runs(pushes: Pushes, laterals: Laterals, map_share: float = 1.0) -> counter.Runs:
    """The runs as the counter model takes them; runs that cannot be placed stand at measure 0 and are left out later.

    ``map_share``: how much of the variance of the map's accuracy the launch gets.
    """
    table = pushes.table
    lateral = np.maximum(table["lateral"].to_numpy(), 0)
    launch_m = table["launch_m"].to_numpy(float)
    accuracy = accuracy_of(laterals, lateral, launch_m) if len(laterals.table) else np.zeros(len(lateral))
    return counter.Runs(
        launch_measure_m=np.nan_to_num(launch_m),
        launch_map_sigma_m=np.hypot(accuracy * np.sqrt(map_share), table["launch_extra_m"].to_numpy(float)),
        direction=table["direction"].to_numpy(),
        length_m=_of(laterals, "length_m", lateral),
    )


def counter_fixes(
    observations: pd.DataFrame,
    pushes: Pushes,
    laterals: Laterals,
    points: pd.DataFrame,
    model: CounterModel,
    *,
    material_rule: bool,
    map_share: float = 1.0,
) -> tuple[counter.Fixes, NDArray[np.int64], NDArray[np.object_]]:
    """The fixes among observations (with columns push, kind, referent, located_map_x, located_map_y, reading_m).

    Returns them, the row of the observation each is from, and row by row what a meant fix lacks ("" where nothing).
    """
    push = observations["push"].to_numpy()
    placeable = np.flatnonzero((pushes.problem == "")[push] & observations["reading_m"].notna().to_numpy())
    rows = observations.iloc[placeable].assign(lateral=pushes.table["lateral"].to_numpy()[push[placeable]])
    found = fixes_of(
        rows,
        laterals,
        points,
        fix_sigma_m=model.fix_sigma_m,
        material_change_at_property_line=material_rule,
        map_share=map_share,
    )
    problem = np.full(len(observations), "", dtype=object)
    problem[placeable] = found["problem"]
    is_fix = found["measure_m"].notna().to_numpy()
    fixed = placeable[is_fix]
    paid = observations["reading_m"].to_numpy(float)[fixed] - pushes.table["zero_m"].to_numpy()[push[fixed]]
    fixes = counter.Fixes(
        run=push[fixed], paid_m=paid, measure_m=found["measure_m"].to_numpy()[is_fix], sigma_m=found["sigma_m"].to_numpy()[is_fix]
    )
    return fixes, fixed, problem


def _of(laterals: Laterals, column: str, lateral: NDArray[np.int64]) -> NDArray[np.float64]:
    if not len(laterals.table):
        return np.zeros(len(lateral))
    return laterals.table[column].to_numpy(float)[lateral]
