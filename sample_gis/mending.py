"""Works: what is done after a run that found something, what it mends, what it fails to mend and what grows back."""

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sample_gis.laying import LAST_DAY
from sample_gis.settings import Settings

if TYPE_CHECKING:
    from sample_gis.lives import Lives

Floats = NDArray[np.float64]
CLEANED = ("grease", "deposits", "debris")
MENDS = {"root cutting": ("roots",), "cleaning": CLEANED}
"""Works that mend some kinds only; spot repair, relining and replacement mend every kind in their stretch."""

REACH_M = {"root cutting": 2.5, "cleaning": 3.0, "spot repair": 1.0, "relining": 4.0, "replacement": 3.0}
WHOLE_LINE = 0.6
BAD_ENOUGH = 3.0
WRITTEN_SD_M = 0.2


def works_after(
    lives: "Lives",
    runs: pd.DataFrame,
    row: NDArray[np.int64],
    seen: NDArray[np.bool_],
    grade: Floats,
    settings: Settings,
    rng: np.random.Generator,
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Works done after a round of runs, and what each did to each defect in its stretch.

    Works: lateral, done_on, kind, true_from_m, true_to_m (NaN: the whole line), from_measure_m, to_measure_m (as written).
    Outcomes: work (row of the works), defect, outcome (``mended``, ``failed`` or ``comes back``). ``lives`` is changed.
    """
    works = _works(lives.defects, runs, row, seen, grade, settings, rng)
    work_of = np.full(int(lives.defects["lateral"].max()) + 1 if len(row) else 0, -1)
    work_of[works["lateral"].to_numpy()] = np.arange(len(works))
    work = work_of[lives.defects["lateral"].to_numpy()]
    hit = np.flatnonzero(_in_stretch(lives, works, work))
    kind = works["kind"].to_numpy(object)[work[hit]]
    day = works["done_on"].to_numpy("datetime64[D]")[work[hit]]
    mended = rng.random(len(hit)) >= settings.work_fails
    back = mended & (kind == "root cutting") & (rng.random(len(hit)) < settings.roots_return)
    lives.should_be_mended[hit] |= ~np.isnan(lives.last_grade[hit])  # who never saw it cannot say that it came back
    lives.mended[hit[mended]] = True
    lives.returns_on[hit] = np.where(back, day + rng.integers(120, 420, len(hit)), np.datetime64("NaT", "D"))
    outcome = np.where(back, "comes back", np.where(mended, "mended", "failed")).astype(object)
    return works, pd.DataFrame({"work": work[hit], "defect": hit, "outcome": outcome})


def _works(
    defects: pd.DataFrame,
    runs: pd.DataFrame,
    row: NDArray[np.int64],
    seen: NDArray[np.bool_],
    grade: Floats,
    settings: Settings,
    rng: np.random.Generator,
) -> pd.DataFrame:
    """One work for some of the laterals, on the worst of what was seen; hard faults only where they are bad enough."""
    at = np.flatnonzero(seen)
    worst = pd.DataFrame({"defect": at, "row": row[at], "grade": grade[at]}).sort_values(["row", "grade", "defect"])
    worst = worst.drop_duplicates("row", keep="last")
    found = defects.iloc[worst["defect"].to_numpy()]
    soft = found["kind"].isin((*CLEANED, "roots")).to_numpy()
    done = (soft | (worst["grade"].to_numpy() >= BAD_ENOUGH)) & (rng.random(len(worst)) < settings.work_done)
    found, worst = found[done], worst[done]
    ran_on = runs["ran_on"].to_numpy("datetime64[D]")[worst["row"].to_numpy()]
    done_on = ran_on + rng.integers(6, 30, len(worst))
    kind = _kind_of_work(found["kind"], rng)
    whole = np.isin(kind, ("root cutting", "cleaning")) & (rng.random(len(kind)) < WHOLE_LINE)
    reach = pd.Series(kind, dtype=object).map(REACH_M).to_numpy(float)
    measure = found["true_measure_m"].to_numpy(float)
    till = np.where(found["true_to_measure_m"].isna(), measure, found["true_to_measure_m"])
    low, high = np.where(whole, np.nan, np.maximum(measure - reach, 0.0)), np.where(whole, np.nan, till + reach)
    works = pd.DataFrame(
        {
            "lateral": found["lateral"].to_numpy(),
            "done_on": done_on.astype("datetime64[s]"),
            "kind": kind,
            "true_from_m": low,
            "true_to_m": high,
            "from_measure_m": np.round(np.maximum(low + rng.normal(0.0, WRITTEN_SD_M, len(low)), 0.0), 1),
            "to_measure_m": np.round(high + rng.normal(0.0, WRITTEN_SD_M, len(high)), 1),
        }
    )
    return works[works["done_on"] <= LAST_DAY].reset_index(drop=True)


def _kind_of_work(kind: pd.Series, rng: np.random.Generator) -> NDArray[np.object_]:
    chance = rng.random(len(kind))
    hard = np.select([chance < 0.55, chance < 0.8], ["spot repair", "relining"], "replacement")
    on_roots = np.where(chance < 0.8, "root cutting", "relining")
    return np.select([kind.eq("roots"), kind.isin(CLEANED)], [on_roots, "cleaning"], hard).astype(object)


def _in_stretch(lives: "Lives", works: pd.DataFrame, work: NDArray[np.int64]) -> NDArray[np.bool_]:
    """Which defects lie in the stretch of their lateral's work, are there on its day, and are of a kind that it mends."""
    if not len(works):
        return np.zeros(len(work), dtype=bool)
    kind, done_on = works["kind"].to_numpy(object)[work], works["done_on"].to_numpy("datetime64[D]")[work]
    low, high = works["true_from_m"].to_numpy(float)[work], works["true_to_m"].to_numpy(float)[work]
    measure = lives.defects["true_measure_m"].to_numpy(float)
    inside = np.isnan(low) | ((measure >= low) & (measure <= high))
    mends = ~np.isin(kind, tuple(MENDS))
    for name, kinds in MENDS.items():
        mends |= (kind == name) & lives.defects["kind"].isin(kinds).to_numpy()
    born = lives.defects["born_on"].to_numpy("datetime64[D]") <= done_on
    return np.asarray((work >= 0) & inside & mends & born & ~lives.mended)
