"""Small frames of warranties, runs and issues, and the rules of checks and claims told once more as plain loops."""

from datetime import date, timedelta

import numpy as np
import pandas as pd

from sewermap.history.warranty import WarrantyRules, checked, claimable, in_force, warranty_rules

RULES = warranty_rules()
LENGTHS = pd.Series({"L1": 20.0, "L2": 30.0})
TEXTS = ("warranty", "lateral", "term", "answerable", "work", "kinds", "start_event", "notice_by")
NUMBERS = ("check_lead", "cure", "from_measure_m", "to_measure_m")
NAN = np.nan


def day(text: str) -> date:
    return date.fromisoformat(text)


def days(texts) -> pd.Series:
    return pd.Series(pd.to_datetime(list(texts)), dtype="datetime64[s]")


def warranties(*rows: dict) -> pd.DataFrame:
    """Recorded warranties; each row says what is not common: a year on all of L1 from 2024-03-01."""
    common = dict.fromkeys((*TEXTS, *NUMBERS), NAN) | {"warranty": "G-1", "lateral": "L1", "begins_on": "2024-03-01"}
    table = pd.DataFrame([common | row for row in rows], columns=list(common))
    return table.astype(dict.fromkeys(TEXTS, "str") | dict.fromkeys(NUMBERS, "float64")).assign(
        begins_on=days(table["begins_on"])
    )


def works(*rows: tuple) -> pd.DataFrame:
    """Rows of work, lateral, done_on, kind, from_measure_m, to_measure_m, by."""
    table = pd.DataFrame(rows, columns=["work", "lateral", "done_on", "kind", "from_measure_m", "to_measure_m", "by"])
    texts = dict.fromkeys(("work", "lateral", "kind", "by"), "str")
    return table.astype(texts | {"from_measure_m": "float64", "to_measure_m": "float64"}).assign(done_on=days(table["done_on"]))


def runs(*rows: tuple) -> pd.DataFrame:
    """Rows of run, day, from, to; then the reason (check) and the lateral (L1)."""
    full = [(*row, *("check", "L1")[len(row) - 4 :]) for row in rows]
    table = pd.DataFrame(full, columns=["run", "ran_on", "from_measure_m", "to_measure_m", "reason", "lateral"])
    texts = dict.fromkeys(("run", "reason", "lateral"), "str")
    return table.astype(texts | {"from_measure_m": "float64", "to_measure_m": "float64"}).assign(ran_on=days(table["ran_on"]))


def seen(*rows: tuple) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Issues and sightings from rows of issue, measure, runs that saw it (all runs as ``runs`` made them); sigma 0.1, roots."""
    issues = pd.DataFrame(
        [(name, "L1", "roots", measure_m, 0.1) for name, measure_m, _ in rows],
        columns=["issue", "lateral", "kind", "measure_m", "sigma_m"],
    ).astype({"issue": "str", "lateral": "str", "kind": "str", "measure_m": "float64"})
    pairs = [(name, run["run"], run["ran_on"]) for name, _, by in rows for run in by.to_dict("records")]
    table = pd.DataFrame(pairs, columns=["issue", "run", "ran_on"]).astype({"issue": "str", "run": "str"})
    return issues, table.assign(ran_on=days(table["ran_on"]))


def nothing(frame: pd.DataFrame) -> pd.DataFrame:
    return frame.iloc[:0]


NO_WORKS = nothing(works(("W-0", "L1", "2020-01-01", "other", NAN, NAN, "X")))


def check_of(recorded: pd.DataFrame, coverages: pd.DataFrame, as_of: str, rules: WarrantyRules = RULES) -> pd.DataFrame:
    return checked(in_force(recorded, NO_WORKS, rules, day(as_of)), LENGTHS, coverages, day(as_of), rules)


def claims_of(recorded, known, coverages, as_of, done=NO_WORKS, rules=RULES, **how) -> pd.DataFrame:
    issues, sightings = known
    return claimable(in_force(recorded, done, rules, day(as_of)), LENGTHS, issues, sightings, coverages, day(as_of), rules, **how)


# --- the rules as plain loops

STEP_M = 0.5
"""Measures of the histories that loops judge are multiples of this, so that a stretch is a number of whole steps."""


def steps(from_m: float, to_m: float) -> set[int]:
    return set(range(round(from_m / STEP_M), round(to_m / STEP_M))) if from_m <= to_m else set()


def state_by_hand(row: dict, coverages: list[dict], as_of: date, share: float) -> str:
    """The state of one warranty's check: row has begins_on, ends_on, check_lead, lateral and the stretch's from and to."""
    begins, ends = row["begins_on"], row["ends_on"]
    opens = ends - timedelta(days=row["check_lead"])
    asked = steps(min(row["from"], row["to"]), max(row["from"], row["to"]))
    by_day: dict[date, set[int]] = {}
    for run in coverages:
        when = run["ran_on"]
        if run["lateral"] == row["lateral"] and max(opens, begins) <= when <= min(ends, as_of):
            by_day.setdefault(when, set()).update(asked & steps(run["from"], run["to"]))
    if any(len(looked) >= share * len(asked) for looked in by_day.values()):
        return "checked"
    if as_of < opens:
        return "not yet"
    return "due" if as_of <= ends else "lapsed"


def acceptance_by_hand(row: dict, coverages: list[dict], as_of: date) -> date | None:
    """The day of the acceptance run of a warranty that names no work."""
    mine = [run for run in coverages if run["lateral"] == row["lateral"] and run["ran_on"] <= as_of]
    formal = [run["ran_on"] for run in mine if run["reason"] == "acceptance" and run["ran_on"] <= row["ends_on"]]
    other = [run["ran_on"] for run in mine if run["ran_on"] <= row["begins_on"] + timedelta(days=30)]
    return max(formal, default=None) or max(other, default=None)


def claimed_by_hand(row: dict, issue: dict, coverages: list[dict], as_of: date) -> bool:
    """Whether an issue (lateral, measure, days: when it was seen) may be claimed under a warranty that names no work."""
    known = [when for when in issue["days"] if when <= as_of]
    if issue["lateral"] != row["lateral"] or not known or not row["from"] <= issue["measure"] <= row["to"]:
        return False
    return row["begins_on"] <= min(known) <= row["ends_on"] and acceptance_by_hand(row, coverages, as_of) not in known
