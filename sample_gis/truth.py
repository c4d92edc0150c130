"""The truth as tables to compare with: what a reading really saw, what became of each defect, what each work really did."""

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sample_gis.generator import Town

PLACES = 3
"""Decimals of metres."""


def truth_tables(town: Town) -> dict[str, pd.DataFrame]:
    """All tables by file name. ``truth.csv`` has one row an observation, joined to exported places by run, reading and kind."""
    return {
        "truth.csv": observation_truth(town),
        "truth/defects.csv": _defects(town),
        "truth/runs.csv": _runs(town),
        "truth/falls.csv": _falls(town),
        "truth/states.csv": _states(town),
        "truth/works.csv": _works(town),
    }


def observation_truth(town: Town) -> pd.DataFrame:
    """One row an observation, in the order of ``town.observations``: run, reading and to_reading as written, kind, lateral,
    true_kind, true_measure_m and true_to_measure_m (on the true pipe, from the tie-in), true_x, true_y (map CRS), truth_id
    (empty for what is no defect), true_state, true_grade.
    """
    seen = town.observations
    return pd.DataFrame(
        {
            "run": seen["run_name"],
            "reading": seen["reading"],
            "kind": seen["kind"],
            "lateral": _lateral_names(town, seen["lateral"]),
            "to_reading": seen["to_reading"],
            "true_x": seen["true_x"].round(PLACES),
            "true_y": seen["true_y"].round(PLACES),
            "true_measure_m": seen["true_measure_m"].astype(float).round(PLACES),
            "true_to_measure_m": seen["true_to_measure_m"].astype(float).round(PLACES),
            "truth_id": seen["truth_id"],
            "true_kind": seen["true_kind"],
            "true_state": seen["true_state"],
            "true_grade": seen["grade"].astype(float),
        }
    )


def _lateral_names(town: Town, row: pd.Series) -> NDArray[np.object_]:
    return np.asarray(town.laterals["lateral"].to_numpy(object)[row.to_numpy(np.int64)])


def _rounded(table: pd.DataFrame) -> pd.DataFrame:
    """Numbers with as many decimals as mean something; days and words as they are."""
    return table.assign(**table.select_dtypes("float").round(PLACES + 1))


def _defects(town: Town) -> pd.DataFrame:
    table = town.defects.assign(lateral=_lateral_names(town, town.defects["lateral"]))
    return _rounded(table.drop(columns=["severity", "growth"]))


def _runs(town: Town) -> pd.DataFrame:
    """``launch_as_said`` is false where a camera went in at a clean-out that nobody recorded, and is said to start at the
    building; scale_error and launch_error_m are what its counter did wrong.
    """
    columns = [
        "run", "lateral", "ran_on", "true_launch_m", "true_end_m", "launch_as_said", "stopped", "badly_zeroed", "launch_error_m",
        "scale_error",
    ]  # fmt: skip
    return town.runs.assign(run=town.runs["name"], lateral=_lateral_names(town, town.runs["lateral"]))[columns].pipe(_rounded)


def _states(town: Town) -> pd.DataFrame:
    """Each defect in each run of its lateral since it was born: there, covered, seen, and its true state and grade."""
    columns = ["truth_id", "run", "true_state", "there", "covered", "seen", "true_grade"]
    return town.states.assign(run=town.states["run_name"])[columns]


def _falls(town: Town) -> pd.DataFrame:
    """Each lateral's true fall towards the main (a length a length, negative: the wrong way), inverts and ground, in metres."""
    columns = ["true_slope", "true_tie_in_invert_m", "true_building_invert_m", "ground_m"]
    falls = town.falls[columns].assign(true_slope=town.falls["true_slope"].round(5), lateral=town.laterals["lateral"])
    return falls.round(dict.fromkeys(columns[1:], PLACES))[["lateral", *columns]]


def _works(town: Town) -> pd.DataFrame:
    """Each work and each defect in its stretch: mended, failed (still there after it) or comes back (roots)."""
    work = town.outcomes["work"].to_numpy(np.int64)
    works = town.works.iloc[work]
    return pd.DataFrame(
        {
            "work": town.outcomes["work_name"],
            "kind": works["kind"].to_numpy(object),
            "done_on": works["done_on"].to_numpy(),
            "truth_id": town.outcomes["truth_id"],
            "outcome": town.outcomes["outcome"],
        }
    )
