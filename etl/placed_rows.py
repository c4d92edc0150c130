"""The rows of placed_observations: each observation with its place and what a layer's reader wants beside it."""

import numpy as np
import pandas as pd

from sewermap.history.kinds import roles
from sewermap.line.known_points import Laterals
from sewermap.line.on_the_map import points_of
from sewermap.line.places import Places
from sewermap.store.tables import placed_observations

SIDE = ("side", "side_probability", "side_sigma_m")
AS_RECORDED = (
    "id",
    "run",
    "source_file",
    "source_row",
    "reading",
    "to_reading",
    "kind",
    "grade",
    "percent",
    "clock_from",
    "clock_to",
    "remark",
    "picture",
)


def placed_rows(runs: pd.DataFrame, laterals: Laterals, observations: pd.DataFrame, places: Places) -> pd.DataFrame:
    """The rows of placed_observations, with what a layer's reader wants beside the place."""
    push, lateral = observations["push"].to_numpy(), places.observations["lateral"].to_numpy()
    rows = observations[list(AS_RECORDED)].copy()
    rows["observation"] = observation_names(observations)
    rows["role"] = rows["kind"].map(roles()).astype("str")
    rows["issue"] = pd.Series(np.nan, index=rows.index, dtype="str")
    for name in ("ran_on", "lateral", "unit"):
        rows[name] = runs[name].take(push).to_numpy()
    for name in ("property", "street", "address", "accuracy_assumed"):
        rows[name] = laterals.table[name].reindex(lateral).to_numpy()
    for name in ("measure_m", "sigma_m", "to_measure_m", "within_m", "x", "y", *SIDE, "reason"):
        rows[name] = places.observations[name].to_numpy()
    rows["reason"] = rows["reason"].astype("str").where(rows["reason"] != "")
    rows["geometry"] = points_of(rows)
    return rows[[column.name for column in placed_observations.c]]


def observation_names(observations: pd.DataFrame) -> pd.Series:
    """A name for each observation, made of what identifies it: ``run@reading:kind``, then ``:clock`` where one is given, then
    ``#2`` and on for further equal ones, counted in the order of their contents (never of their rows).
    """
    clock = observations["clock_from"]
    names = observations["run"] + "@" + observations["reading"].fillna("?") + ":" + observations["kind"]
    has_clock = clock.notna()
    names[has_clock] = names[has_clock] + ":" + clock[has_clock].map("{:g}".format).astype("str")
    order = observations.assign(name=names).sort_values(["name", "content", "id"], kind="stable")
    nth = order.groupby("name").cumcount().reindex(observations.index) + 1
    again = nth > 1
    names[again] = names[again] + "#" + nth[again].astype("str")
    return names
