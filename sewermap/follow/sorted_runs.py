"""Runs, observations and readings in an order that comes from what they say, never from how the tables' rows stand."""

from dataclasses import dataclass
from enum import IntEnum
from typing import Any, TypeVar

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sewermap.history.matching_tables import Jobs, Looks, Seen
from sewermap.line import counter
from sewermap.line.pushes import counter_fixes, counter_runs
from sewermap.line.register import Town
from sewermap.line.scene import Scene

Whole = NDArray[np.int64]
Floats = NDArray[np.float64]
Columns = TypeVar("Columns", Town, Seen, Looks, Jobs)
_CONTENT = (
    "reading_m", "kind", "to_reading_m", "clock_from", "clock_to", "percent", "grade", "referent", "material_after",
    "located_map_x", "located_map_y", "located_sigma_m", "depth_m", "remark", "picture", "film_time",
)  # fmt: skip


class What(IntEnum):
    """What a reading is of: an observation's first or second reading, or where its run began or ended."""

    START = 0
    END = 1
    LAUNCH = 2
    STOP = 3


@dataclass(frozen=True)
class Sorted:
    """``order``: runs that can be placed, by lateral, time and name, with lateral, launch_m, direction, time; index: row of the
    scene's runs (push). ``rank``: of each push its place in ``order``, −1: none. ``rows``: of each observation with a reading
    on such a run, its row in ``observations``, by run and content. ``readings``: run, seen (place in ``rows``, −1: the run's
    own), what, paid_m; sorted by run.
    """

    scene: Scene
    observations: pd.DataFrame
    runs: counter.Runs
    fixes: counter.Fixes
    fixed_rows: Whole
    calibration: counter.Calibration
    order: pd.DataFrame
    rank: Whole
    rows: Whole
    readings: pd.DataFrame

    @property
    def push(self) -> Whole:
        """Of each run in order, its row in the scene."""
        return self.order.index.to_numpy(np.int64)

    @property
    def run(self) -> Whole:
        """Of each observation in order, its run in order."""
        run: Whole = self.rank[self.observations["push"].to_numpy()[self.rows]]
        return run

    def firsts(self, run: Whole) -> Whole:
        """Where each lateral (L + 1) begins in a column of runs in order."""
        lateral = self.order["lateral"].to_numpy(np.int64)[run]
        return firsts(lateral, len(self.scene.laterals.table))


def plain(columns: Columns) -> Columns:
    """The same columns as arrays of our own in one layout: compiled code is made for each layout that it meets."""
    own: list[NDArray[Any]] = [np.array(column, order="C") for column in columns]
    return type(columns)(*own)


def firsts(lateral: Whole, laterals: int) -> Whole:
    """Where each of L laterals begins in a sorted column of them, and its end: (L + 1,)."""
    return np.searchsorted(lateral, np.arange(laterals + 1)).astype(np.int64)


def times(days: pd.Series, later: int = 0) -> Whole:
    """Days as whole numbers, 4 for each day and ``later`` (0 to 3) within it; −1 for no day."""
    known = days.astype("datetime64[s]")
    numbers = known.to_numpy("datetime64[D]").astype(np.int64)
    return np.where(known.isna().to_numpy(), -1, 4 * numbers + later)


def sorted_runs(scene: Scene, observations: pd.DataFrame) -> Sorted:
    """Everything of the scene that these observations (with ``push``) belong to, sorted."""
    runs = counter_runs(scene.pushes, scene.laterals)
    model = scene.rules.counter
    material_rule = scene.rules.material_change_at_property_line
    places = scene.pushes, scene.laterals, scene.points, model
    fixes, fixed_rows, _ = counter_fixes(observations, *places, material_rule=material_rule)
    calibration = counter.calibrate(runs, fixes, model)
    order = _runs_in_order(scene, observations)
    rank = np.full(len(scene.runs), -1)
    rank[order.index.to_numpy(np.int64)] = np.arange(len(order))
    rows = _rows_in_order(observations, rank)
    readings = _readings(scene, observations, order, rank, rows)
    return Sorted(scene, observations, runs, fixes, fixed_rows, calibration, order, rank, rows, readings)


def _runs_in_order(scene: Scene, observations: pd.DataFrame) -> pd.DataFrame:
    """A run for a work comes after the works of its day, any other before."""
    for_work = (scene.runs["reason"] == "work").to_numpy()
    table = scene.pushes.table.assign(time=np.where(for_work, times(scene.runs["ran_on"], 2), times(scene.runs["ran_on"])))
    asked = np.zeros(len(table), bool)
    asked[observations["push"].to_numpy()] = True
    asked = np.isin(table["lateral"].to_numpy(), table["lateral"].to_numpy()[asked])
    able = pd.DataFrame(table[asked & (scene.pushes.problem == "")])
    return able.sort_values(["lateral", "time", "run"], kind="stable")


def _rows_in_order(observations: pd.DataFrame, rank: Whole) -> Whole:
    run = rank[observations["push"].to_numpy()]
    rows = np.flatnonzero((run >= 0) & observations["reading_m"].notna().to_numpy())
    keys = [_codes(observations[name].iloc[rows]) for name in _CONTENT if name in observations]
    by_content: Whole = rows[np.lexsort([*reversed(keys), run[rows]])]
    return by_content


def _codes(column: pd.Series) -> NDArray[np.generic]:
    """Numbers that sort as the column does; NaN sorts last."""
    if pd.api.types.is_numeric_dtype(column):
        return column.to_numpy()
    return pd.factorize(column, sort=True)[0]


def _readings(scene: Scene, observations: pd.DataFrame, order: pd.DataFrame, rank: Whole, rows: Whole) -> pd.DataFrame:
    """All readings: of observations, and of the launch and the end of each run (its last reading where no end is said)."""
    push = observations["push"].to_numpy()[rows]
    zero_m = scene.pushes.table["zero_m"].to_numpy(float)[push]
    paid_m = observations["reading_m"].to_numpy(float)[rows] - zero_m
    to_m = observations["to_reading_m"].to_numpy(float)[rows] - zero_m
    run, place = rank[push], np.arange(len(rows))
    has_end = ~np.isnan(to_m)
    farthest = pd.Series(paid_m).groupby(run).max().reindex(np.arange(len(order))).to_numpy(float)
    stop_m = order["end_paid_m"].to_numpy(float)
    stop_m = np.maximum(np.nan_to_num(np.where(np.isnan(stop_m), farthest, stop_m)), 0.0)
    going = np.arange(len(order))
    parts = (
        (run, place, What.START, paid_m),
        (run[has_end], place[has_end], What.END, to_m[has_end]),
        (going, np.full(len(order), -1), What.LAUNCH, np.zeros(len(order))),
        (going, np.full(len(order), -1), What.STOP, stop_m + scene.rules.counter.covered_beyond_m),
    )
    table = pd.DataFrame(
        {
            "run": np.concatenate([part[0] for part in parts]),
            "seen": np.concatenate([part[1] for part in parts]),
            "what": np.concatenate([np.full(len(part[0]), int(part[2])) for part in parts]),
            "paid_m": np.concatenate([part[3] for part in parts]),
        }
    )
    return table.iloc[np.lexsort([table["what"], table["seen"], table["run"]])].reset_index(drop=True)
