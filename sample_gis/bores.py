"""A utility's pipe bored through a sewer: rare, and what a crew must stop at. It is put into a town after all else, so that the
rest of the town is the same with and without it.
"""

import numpy as np
import pandas as pd

from sample_gis.pipes import Ground
from sample_gis.readings import steps_m
from sample_gis.settings import Settings

KIND = "cross-bore"
APART_M = 0.8
"""So far from all else that a run noted, or it would be taken for that."""


def with_bores(
    observations: pd.DataFrame,
    defects: pd.DataFrame,
    states: pd.DataFrame,
    works: pd.DataFrame,
    runs: pd.DataFrame,
    ground: Ground,
    settings: Settings,
    rng: np.random.Generator,
) -> tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame]:
    """Observations, defects and states with ``settings.cross_bores`` suspected cross-bores more (fewer where there is no room).

    Each lies under the street, and is noted by the last run of a lateral, after which no work was done; it was bored since the
    run before. A yearly check of a new line is preferred. New defects stand last, so the others keep their names.
    """
    places = _places(observations, works, runs, ground)
    order = np.lexsort([rng.random(len(places)), ~places["check"].to_numpy(bool)])
    places = places.iloc[order[: settings.cross_bores]].reset_index(drop=True)
    if places.empty:
        return observations, defects, states
    number = len(defects) + np.arange(len(places))
    xy = ground.true.point_at(places["lateral"].to_numpy(np.int64), places["true_measure_m"].to_numpy(float))
    clock = rng.integers(2, 11, len(places)).astype(float)
    common = places[["lateral", "true_measure_m"]].assign(kind=KIND, true_x=xy[:, 0], true_y=xy[:, 1])
    born_on = places["ran_on"] - ((places["ran_on"] - places["before"]) / 2).dt.floor("D")
    new = common.assign(
        truth_id=[f"D{one:05d}" for one in number + 1],
        clock=clock,
        born_on=born_on.astype("datetime64[s]"),
        severity=5.0,
        growth=0.0,
    )
    step_m = steps_m(runs["crew"].to_numpy()[places["run"]], settings)
    seen = common.assign(
        run=places["run"],
        defect=number,
        true_kind=KIND,
        clock_from=np.where(runs["towards_building"].to_numpy(bool)[places["run"]], 12.0 - clock, clock),
        grade=5.0,
        true_state="new",
        reading_m=np.round(places["reading_m"].to_numpy(float) / step_m) * step_m,
    )
    state = seen[["run", "defect", "true_state"]].assign(there=True, covered=True, true_grade=5.0, seen=True)
    observations = _added(observations, seen).sort_values(
        ["run", "reading_m", "kind", "true_measure_m"], kind="stable", ignore_index=True
    )
    return observations, _added(defects, new), _added(states, state)


def _places(observations: pd.DataFrame, works: pd.DataFrame, runs: pd.DataFrame, ground: Ground) -> pd.DataFrame:
    """The middle of the public part of each lateral whose last run passed there with room: run, lateral, ran_on, before (the
    run before), true_measure_m, reading_m (as its counter would show it), check (a yearly check).
    """
    ran_on = runs.groupby("lateral")["ran_on"]
    last = runs.assign(before=ran_on.shift(1)).drop_duplicates("lateral", keep="last").dropna(subset="before")
    worked = works.groupby("lateral")["done_on"].max().reindex(last["lateral"]).to_numpy()
    last = last[~(worked >= last["before"].to_numpy())].assign(check=lambda rows: rows["reason"] == "check")
    middle_m = ground.property_line_m[last["lateral"].to_numpy()] / 2.0
    last = last[["run", "lateral", "ran_on", "before", "check"]].assign(true_measure_m=middle_m)
    noted = observations[["run", "true_measure_m", "reading_m"]].rename(columns={"true_measure_m": "noted_m"})
    pairs = last.merge(noted, on="run").astype({"noted_m": float, "reading_m": float})
    off = pairs["noted_m"] - pairs["true_measure_m"]
    near, far = (pairs[side].sort_values("noted_m") for side in (off < 0, off > 0))
    either = near.drop_duplicates("run", keep="last").merge(far.drop_duplicates("run")[["run", "noted_m", "reading_m"]], on="run")
    share = (either["true_measure_m"] - either["noted_m_x"]) / (either["noted_m_y"] - either["noted_m_x"])
    either["reading_m"] = either["reading_m_x"] + share * (either["reading_m_y"] - either["reading_m_x"])
    room = either["run"].map(off.abs().groupby(pairs["run"]).min()) >= APART_M
    return either[room]


def _added(table: pd.DataFrame, rows: pd.DataFrame) -> pd.DataFrame:
    """A table with further rows; what they lack is missing."""
    types = table.dtypes
    both = pd.concat([table.astype(object), rows.reindex(columns=table.columns).astype(object)], ignore_index=True)
    return both.astype(types)
