"""The acceptance run of each warranty, and what it and other runs say of a place: passed, or not looked at."""

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sewermap.history.warranty_rules import WarrantyRules
from sewermap.history.warranty_stretch import pairs_on_lateral
from sewermap.history.warranty_terms import days_of

ACCEPTANCE = "acceptance"
"""The reason of a run that is one by its own word."""

FOR_ALL_TIME = np.datetime64("0001-01-01", "s")
"""Before any run."""


def acceptance_runs(warranties: pd.DataFrame, coverages: pd.DataFrame, day: np.datetime64, rules: WarrantyRules) -> pd.DataFrame:
    """Of each warranty (row by row): ran_on and run of its acceptance run (NaT, NaN: none), and formal (its reason says so).

    It is the last run of reason acceptance up to the end of the term; without one, the last of any reason up to
    acceptance_days after the start. Nothing after ``day`` counts, nor, for a warranty of a work, what was run before the work
    (work_on; begins_on where that is not known). Of several on the last day, the first by name.
    """
    warranty, run = pairs_on_lateral(warranties["lateral"], coverages["lateral"])
    ran_on = days_of(coverages["ran_on"])[run]
    begins, ends = days_of(warranties["begins_on"]), days_of(warranties["ends_on"])
    stands_until = np.minimum(begins + np.timedelta64(rules.acceptance_days, "D"), day)
    formal = coverages["reason"].eq(ACCEPTANCE).to_numpy()[run] & (ran_on <= np.minimum(ends, day)[warranty])
    taken = (formal | (ran_on <= stands_until[warranty])) & (ran_on >= since_work(warranties)[warranty])
    found = pd.DataFrame({"warranty": warranty, "run": coverages["run"].to_numpy()[run], "ran_on": ran_on, "formal": formal})[
        taken
    ]
    found = found.sort_values(["warranty", "formal", "ran_on", "run"], ascending=[True, False, False, True])
    last = found[~found["warranty"].duplicated()].set_index("warranty").reindex(np.arange(len(warranties)))
    return last.astype({"run": "str", "formal": "boolean"}).fillna({"formal": False}).astype({"formal": bool})


def since_work(warranties: pd.DataFrame) -> NDArray[np.datetime64]:
    """The day from which runs say something of what a warranty answers for: its work's day; for all time where it names none."""
    begins = days_of(warranties["begins_on"])
    work_on = days_of(warranties["work_on"]) if "work_on" in warranties else np.full(len(begins), "NaT", dtype="datetime64[s]")
    named = warranties["work"].notna().to_numpy()
    return np.where(named, np.where(np.isnat(work_on), begins, work_on), FOR_ALL_TIME)


def passing_runs(claims: pd.DataFrame, coverages: pd.DataFrame, sightings: pd.DataFrame) -> tuple["pd.Series[str]", pd.DataFrame]:
    """Which runs passed the place of each claim (row by row) and did not see its issue.

    claims: issue, lateral, low_m and high_m (its place), accepted_on and accepted_by (the acceptance run; NaT, NaN: none),
    seen_on (the first day of what is claimed), since (runs before it say nothing).

    Returns the run of the acceptance run's day that passed the place (the acceptance run itself, if it did; NaN where none), and
    the last run that passed it before ``seen_on``: columns run and ran_on.
    """
    claim, run = pairs_on_lateral(claims["lateral"], coverages["lateral"])
    from_m, to_m = (coverages[name].to_numpy(float)[run] for name in ("from_measure_m", "to_measure_m"))
    there = (from_m <= claims["high_m"].to_numpy(float)[claim]) & (to_m >= claims["low_m"].to_numpy(float)[claim])
    saw = pd.MultiIndex.from_arrays([claims["issue"].to_numpy()[claim], coverages["run"].to_numpy()[run]])
    there &= ~saw.isin(pd.MultiIndex.from_frame(sightings[["issue", "run"]]))
    claim, run = claim[there], run[there]
    passed = pd.DataFrame({"claim": claim, "run": coverages["run"].to_numpy()[run], "ran_on": days_of(coverages["ran_on"])[run]})
    of_day = passed[passed["ran_on"].to_numpy() == days_of(claims["accepted_on"])[claim]]
    itself = of_day["run"].to_numpy() == claims["accepted_by"].to_numpy()[of_day["claim"].to_numpy()]
    of_day = of_day.assign(other=~itself).sort_values(["claim", "other", "run"])
    before = (passed["ran_on"].to_numpy() < days_of(claims["seen_on"])[claim]) & (
        passed["ran_on"].to_numpy() >= days_of(claims["since"])[claim]
    )
    earlier = passed[before].sort_values(["claim", "ran_on", "run"], ascending=[True, False, True])
    at = np.arange(len(claims))
    accepted, last = (rows[~rows["claim"].duplicated()].set_index("claim").reindex(at) for rows in (of_day, earlier))
    return accepted["run"].astype("str"), last.astype({"run": "str"})[["run", "ran_on"]]
