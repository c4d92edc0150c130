"""What may be claimed under each warranty: issues on its stretch that came up within its term and were not there at the start.

Facts for whoever writes the claim, not its outcome: contracts and local law decide.
"""

import re
from datetime import date

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sewermap.history.kinds import vocabulary
from sewermap.history.life import MENDED, STATES
from sewermap.history.life_events import stretch_of
from sewermap.history.warranty_acceptance import FOR_ALL_TIME, acceptance_runs, passing_runs, since_work
from sewermap.history.warranty_reasons import reasons
from sewermap.history.warranty_rules import WarrantyRules
from sewermap.history.warranty_stretch import pairs_on_lateral, stretches
from sewermap.history.warranty_terms import day_of, days_of, notice_day

Flags = NDArray[np.bool_]
Whole = NDArray[np.int64]

CLAIMS = (
    "warranty", "issue", "lateral", "first_seen", "ends_on", "notice_by", "days_left", "acceptance_run", "reason", "is_returned",
)  # fmt: skip
"""Columns of ``claimable``."""

SIGMAS = 2.0
"""An issue that is no farther than this from an end of a part stretch may lie outside it."""

SPOTS = INSIDE, NEAR, PARTLY = ("inside", "near an end", "partly outside")
"""Where an issue lies on a warranted stretch."""


def claimable(
    warranties: pd.DataFrame,
    length_m: "pd.Series[float]",
    issues: pd.DataFrame,
    sightings: pd.DataFrame,
    coverages: pd.DataFrame,
    as_of: date,
    rules: WarrantyRules,
    *,
    returned: bool = False,
) -> pd.DataFrame:
    """One row a warranty and issue that may be claimed by what is known on a day, sorted by both names; columns ``CLAIMS``.

    warranties: as of ``in_force``. length_m: by lateral. issues: issue, lateral, kind, measure_m, sigma_m, and if there are
    to_measure_m (it runs along the line), state (a mended one is told), returned_after and returned_on (see ``lives``).
    sightings: issue, run, ran_on. coverages: one row a run: run, lateral, ran_on, reason, from_measure_m, to_measure_m.

    Claimable: its measure is on the stretch (one along the line: some of it; a stretch that is a single place: within 2 sigma),
    its kind is among the warranty's (none named: any defect), it was first seen from begins_on to ends_on, and no run of the
    acceptance run's day saw it. With ``returned`` also what came back within the term after the work that the warranty names
    (is_returned: for that alone; an acceptance run that saw it before it came back does not count). days_left: to notice_by.
    """
    day, warranties, issues = day_of(as_of), warranties.reset_index(drop=True), issues.reset_index(drop=True)
    known = sightings.assign(ran_on=days_of(sightings["ran_on"]))
    known = known[known["ran_on"].to_numpy() <= day]
    pairs = _pairs(warranties, issues, stretches(warranties, length_m))
    first = known.groupby("issue")["ran_on"].min()
    pairs["first_seen"] = first.reindex(pd.Index(pairs["issue"])).to_numpy("datetime64[s]")
    pairs = pairs[_inside(pairs, "first_seen") | _inside(pairs, "came_back", day)].reset_index(drop=True)
    accepted = acceptance_runs(warranties, coverages, day, rules).iloc[pairs["w"]]
    pairs["accepted_on"], pairs["accepted_by"] = days_of(accepted["ran_on"]), accepted["run"].to_numpy()
    pairs["formal"] = accepted["formal"].to_numpy()
    saw = _saw(pairs, known)
    fresh = _inside(pairs, "first_seen") & ~saw["on_that_day"]
    before_that = pairs["came_back"].to_numpy() > pairs["accepted_on"].to_numpy()
    back = _inside(pairs, "came_back", day) & ~saw["itself"] & (~saw["on_that_day"] | before_that)
    pairs["is_returned"] = ~fresh
    pairs["since"] = pairs["since"].where(~fresh, FOR_ALL_TIME)
    pairs["seen_on"] = pairs["first_seen"].where(fresh, pairs["came_back"])
    claims = pairs[fresh | back] if returned else pairs[fresh]
    return _told(claims.sort_values(["warranty", "issue"], ignore_index=True), coverages, known, day)


def _pairs(warranties: pd.DataFrame, issues: pd.DataFrame, stretch: pd.DataFrame) -> pd.DataFrame:
    """Each warranty with each issue on its stretch and of its kinds, and what is told of both; ``w`` is the warranty's row."""
    warranty, issue = pairs_on_lateral(warranties["lateral"], issues["lateral"])
    spot = _spots(stretch, issues, warranty, issue)
    keep = (spot != "") & _of_kind(warranties["kinds"], issues["kind"], warranty, issue)
    of_warranty, of_issue = warranties.iloc[warranty[keep]], issues.iloc[issue[keep]]
    low_m, high_m = stretch_of(of_issue, "measure_m", "to_measure_m")
    came_back, mended = np.full(len(of_issue), "NaT", dtype="datetime64[s]"), np.zeros(len(of_issue), dtype=bool)
    if "returned_on" in issues:
        after = of_issue["returned_after"].to_numpy(object) == of_warranty["work"].to_numpy(object)
        came_back[after] = days_of(of_issue["returned_on"])[after]
    if "state" in issues:
        mended = of_issue["state"].eq(STATES[MENDED]).to_numpy()
    return pd.DataFrame(
        {
            "w": warranty[keep],
            "since": since_work(warranties)[warranty[keep]],
            **{
                name: of_warranty[name].to_numpy()
                for name in ("warranty", "lateral", "work", "begins_on", "ends_on", "notice_by")
            },
            "issue": of_issue["issue"].to_numpy(),
            "low_m": low_m,
            "high_m": high_m,
            "spot": spot[keep],
            "came_back": came_back,
            "mended": mended,
        }
    )


def _spots(stretch: pd.DataFrame, issues: pd.DataFrame, warranty: Whole, issue: Whole) -> NDArray[np.str_]:
    """Of each pair, where the issue lies: one of ``SPOTS``, or empty off the stretch."""
    low_m, high_m = (side[issue] for side in stretch_of(issues, "measure_m", "to_measure_m"))
    from_m, to_m, line_m = (stretch[name].to_numpy(float)[warranty] for name in ("from_m", "to_m", "line_m"))
    reach_m = SIGMAS * np.nan_to_num(issues["sigma_m"].to_numpy(float))[issue]
    place = np.where(from_m == to_m, reach_m, 0.0)  # a single place is known no better than the issue's
    on = (low_m <= to_m + place) & (high_m >= from_m - place)
    # The line's own ends are no doubt: beyond them there is no line.
    inner_from, inner_to = from_m > 0.0, ~(to_m >= line_m)
    near = (inner_from & (high_m - reach_m <= from_m)) | (inner_to & (low_m + reach_m >= to_m))
    beyond = (inner_from & (low_m < from_m)) | (inner_to & (high_m > to_m))
    partly = beyond & (high_m > low_m)
    return np.select([~on, near, partly], ["", NEAR, PARTLY], INSIDE)


def _of_kind(asked: "pd.Series[str]", kinds: "pd.Series[str]", warranty: Whole, issue: Whole) -> Flags:
    """Whether the issue of each pair is of a kind that the warranty answers for."""
    words = vocabulary()
    codes, texts = pd.factorize(asked.fillna(""))
    allowed = np.zeros((len(texts), len(words.names) + 1), dtype=bool)  # the last column: a kind that nobody knows
    for row, text in enumerate(texts):
        named = {word.strip() for word in re.split("[,;]", str(text))} - {""}
        allowed[row, :-1] = np.isin(words.names, list(named)) if named else words.is_defect
    return np.asarray(allowed[codes[warranty], pd.Index(words.names).get_indexer(pd.Index(kinds))[issue]])


def _inside(pairs: pd.DataFrame, column: str, day: np.datetime64 | None = None) -> Flags:
    """Whether a day lies within the term, both ends inside, and not after ``day``."""
    when, ends = pairs[column].to_numpy(), pairs["ends_on"].to_numpy()
    return np.asarray((when >= pairs["begins_on"].to_numpy()) & (when <= (ends if day is None else np.minimum(ends, day))))


def _saw(pairs: pd.DataFrame, sightings: pd.DataFrame) -> pd.DataFrame:
    """Of each pair: whether the acceptance run itself, or any run of its day, saw the issue."""
    by_run = pd.MultiIndex.from_frame(sightings[["issue", "run"]])
    by_day = pd.MultiIndex.from_frame(sightings[["issue", "ran_on"]])
    return pd.DataFrame(
        {
            "itself": pd.MultiIndex.from_frame(pairs[["issue", "accepted_by"]]).isin(by_run),
            "on_that_day": pd.MultiIndex.from_frame(pairs[["issue", "accepted_on"]]).isin(by_day),
        }
    )


def _told(claims: pd.DataFrame, coverages: pd.DataFrame, sightings: pd.DataFrame, day: np.datetime64) -> pd.DataFrame:
    """The claims with their reasons and days, in the columns that callers get."""
    notice_by = notice_day(claims["notice_by"], claims["ends_on"], claims["seen_on"])
    claims = claims.assign(notice_by=notice_by, late=notice_by < day)
    passed_by, earlier = passing_runs(claims, coverages, sightings)
    claims["reason"] = reasons(claims, passed_by, earlier)
    claims["days_left"] = (notice_by - day).astype("timedelta64[D]").astype(np.int64)
    claims["acceptance_run"] = passed_by.fillna(claims["accepted_by"])
    texts = ["warranty", "issue", "lateral", "acceptance_run", "reason"]
    return claims.astype(dict.fromkeys(texts, "str"))[list(CLAIMS)]
