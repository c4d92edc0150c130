"""The true life of every defect, round of runs after round of runs: seen, missed, grown, mended, come back.

The words for states are those of the history: new, same, worse, returned, mended, not looked. They are the *true* ones: a
defect that was there and covered but overlooked keeps its true state and is marked as not seen.
"""

from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sample_gis.mending import works_after
from sample_gis.settings import Settings

Bools = NDArray[np.bool_]
Floats = NDArray[np.float64]
RENAMES = {
    "crack": "open crack",
    "open crack": "crack",
    "offset joint": "open joint",
    "open joint": "offset joint",
    "deposits": "debris",
    "debris": "deposits",
    "infiltration": "open joint",
}
"""What a hurried eye takes for something else."""

DAYS_A_YEAR = 365.25
BACK_SEVERITY = 1.2
WORST = 5


@dataclass
class Lives:
    """What is true of each defect at the moment: one element a defect, in their order. Changed in place by each round."""

    defects: pd.DataFrame
    mended: Bools = field(init=False)
    back: Bools = field(init=False)
    should_be_mended: Bools = field(init=False)
    returns_on: NDArray[np.datetime64] = field(init=False)
    since: NDArray[np.datetime64] = field(init=False)
    base: Floats = field(init=False)
    last_grade: Floats = field(init=False)

    def __post_init__(self) -> None:
        count = len(self.defects)
        self.mended, self.back, self.should_be_mended = (np.zeros(count, dtype=bool) for _ in range(3))
        self.returns_on = np.full(count, np.datetime64("NaT", "D"))
        self.since = self.defects["born_on"].to_numpy("datetime64[D]").copy()
        self.base = self.defects["severity"].to_numpy(float).copy()
        self.last_grade = np.full(count, np.nan)

    def grade_on(self, day: NDArray[np.datetime64]) -> Floats:
        """Grade 1 to 5 of each defect on its day (D,)."""
        years = (day - self.since).astype("timedelta64[D]").astype(float) / DAYS_A_YEAR
        grown = self.base + self.defects["growth"].to_numpy(float) * np.nan_to_num(years)
        return np.asarray(np.clip(np.round(grown), 1.0, WORST))

    def grow_back(self, day: NDArray[np.datetime64]) -> None:
        """Roots that were cut and are due to be back on their day are there again, thin at first."""
        due = self.mended & (self.returns_on <= day)
        self.mended[due], self.base[due] = False, BACK_SEVERITY
        self.since[due] = self.returns_on[due]
        self.returns_on[due] = np.datetime64("NaT", "D")


@dataclass(frozen=True)
class Round:
    """What one round of runs brought: sightings (as observations), states (defect by run), works and what they did."""

    sightings: pd.DataFrame
    states: pd.DataFrame
    works: pd.DataFrame
    outcomes: pd.DataFrame


def live_through(lives: Lives, runs: pd.DataFrame, laterals: int, settings: Settings, rng: np.random.Generator) -> Round:
    """One round: ``runs`` (of ``round_of_runs``, with a column ``run`` of row numbers) look, then works are done."""
    row_of = np.full(laterals, -1)
    row_of[runs["lateral"].to_numpy()] = np.arange(len(runs))
    row = row_of[lives.defects["lateral"].to_numpy()]
    day = np.full(len(row), np.datetime64("NaT", "D"))
    day[row >= 0] = runs["ran_on"].to_numpy("datetime64[D]")[row[row >= 0]]
    lives.grow_back(day)
    born = (row >= 0) & (lives.defects["born_on"].to_numpy("datetime64[D]") <= day)
    looks = _looks(lives.defects, runs, row)
    there = born & ~lives.mended
    seen = there & looks["covered"].to_numpy() & (rng.random(len(row)) >= settings.missed)
    grade = lives.grade_on(day)
    states = _states(lives, runs, row, born, looks["covered"].to_numpy(), grade)
    states["seen"] = seen[born]
    sightings = _sightings(lives.defects, looks, runs, row, seen, grade, settings, rng)
    sightings["true_state"] = states.set_index("defect")["true_state"].reindex(sightings["defect"]).to_numpy(object)
    lives.back |= seen & lives.should_be_mended
    lives.last_grade = np.where(seen, grade, lives.last_grade)
    works, outcomes = works_after(lives, runs, row, seen, grade, settings, rng)
    return Round(sightings, states, works, outcomes)


def _looks(defects: pd.DataFrame, runs: pd.DataFrame, row: NDArray[np.int64]) -> pd.DataFrame:
    """The end of each defect that its run meets first, the other end (as far as the run got), and whether it got there."""
    up = runs["towards_building"].to_numpy(bool)[row]
    launch, end = runs["true_launch_m"].to_numpy(float)[row], runs["true_end_m"].to_numpy(float)[row]
    near_main = defects["true_measure_m"].to_numpy(float)
    far = defects["true_to_measure_m"].to_numpy(float)
    first = np.where(up | np.isnan(far), near_main, far)
    last = np.where(up, np.minimum(far, end), np.maximum(near_main, end))
    low, high = np.minimum(launch, end), np.maximum(launch, end)
    covered = (row >= 0) & (first >= low) & (first <= high)
    return pd.DataFrame({"first_m": first, "last_m": np.where(np.isnan(far), np.nan, last), "covered": covered})


def _states(lives: Lives, runs: pd.DataFrame, row: NDArray[np.int64], born: Bools, covered: Bools, grade: Floats) -> pd.DataFrame:
    known = ~np.isnan(lives.last_grade)
    state = np.select(
        [~covered, lives.mended, known & (lives.should_be_mended | lives.back), ~known, grade > lives.last_grade],
        ["not looked", "mended", "returned", "new", "worse"],
        "same",
    )
    return pd.DataFrame(
        {
            "run": runs["run"].to_numpy()[row[born]],
            "defect": np.flatnonzero(born),
            "there": ~lives.mended[born],
            "covered": covered[born],
            "true_state": state[born].astype(object),
            "true_grade": grade[born],
        }
    )


def _sightings(
    defects: pd.DataFrame,
    looks: pd.DataFrame,
    runs: pd.DataFrame,
    row: NDArray[np.int64],
    seen: Bools,
    grade: Floats,
    settings: Settings,
    rng: np.random.Generator,
) -> pd.DataFrame:
    at = np.flatnonzero(seen)
    found, look = defects.iloc[at], looks.iloc[at]
    up = runs["towards_building"].to_numpy(bool)[row[at]]
    true_kind = found["kind"].to_numpy(object)
    other = found["kind"].map(RENAMES).to_numpy(object)
    renamed = pd.notna(other) & (rng.random(len(at)) < settings.renamed)
    clock = found["clock"].to_numpy(float)
    # The clock reads as the camera looks: three o'clock towards the main is nine o'clock towards the building.
    clock = np.where(up, np.where(clock == 12.0, 12.0, 12.0 - clock), clock)
    return pd.DataFrame(
        {
            "run": runs["run"].to_numpy()[row[at]],
            "lateral": found["lateral"].to_numpy(),
            "defect": at,
            "kind": np.where(renamed, other, true_kind),
            "true_kind": true_kind,
            "true_measure_m": look["first_m"].to_numpy(float),
            "true_to_measure_m": look["last_m"].to_numpy(float),
            "clock_from": clock,
            "grade": grade[at],
        }
    )
