"""What the list and the cards of the town map tell of issues beyond their place on the map; loaded when first needed."""

from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sewermap.web.city_columns import REPEAT
from sewermap.web.packing import call, packed
from sewermap.web.site_index import SiteIndex, Whole, days_since_epoch, plain_texts
from sewermap.web.site_tables import SiteTables

MM = 1000.0
RETURNED = "returned"
ASKING = ("due", "not yet")
"""States of a warranty whose check is still to be made."""

STEPWISE = frozenset({"long_issue", "seen_day"})


def details_file(tables: SiteTables, index: SiteIndex) -> str:
    """``data/details.js``.

    Columns: measure (by issue, mm + 1 from the tie-in, 0 none) and sigma (mm); long_issue and long_to (mm) of those that run
    along the line; again (by issue, on how many days between the first and the last it was seen) with seen_day; came_back (by
    issue with the flag of a repeat, the day on which it was first told as returned); asks_on (by lateral, the first day of the
    window of the warranty that asks first, 0 none).
    """
    again, seen_day = _days_between(tables, index)
    columns: dict[str, NDArray[Any]] = {
        **_measures(index.issues),
        "again": again.astype(np.uint16),
        "seen_day": seen_day.astype(np.uint16),
        "came_back": _came_back(tables, index).astype(np.uint16),
        "asks_on": _asks_on(tables.due, index),
    }
    return call("sewermap.detailsData", {**packed(columns, STEPWISE), "repeat": REPEAT})


def _measures(issues: pd.DataFrame) -> dict[str, NDArray[Any]]:
    """Places along the line in whole millimetres: a tenth of a foot is told the same as from the database."""
    measure, sigma, to = (_mm(issues[name]) for name in ("measure_m", "sigma_m", "to_measure_m"))
    long = np.flatnonzero(to >= 0)
    return {
        "measure": (measure + 1).astype(np.uint32),
        "sigma": np.clip(sigma, 0, np.iinfo(np.uint16).max).astype(np.uint16),
        "long_issue": long.astype(np.uint32),
        "long_to": to[long].astype(np.uint32),
    }


def _mm(column: "pd.Series[Any]") -> Whole:
    """Millimetres, −1 where there is no length."""
    metres = pd.to_numeric(column, errors="coerce").to_numpy(np.float64, na_value=np.nan)
    return np.where(np.isnan(metres), -1, np.maximum(np.rint(np.nan_to_num(metres) * MM), 0)).astype(np.int64)


def _days_between(tables: SiteTables, index: SiteIndex) -> tuple[Whole, Whole]:
    """By issue, how many days it was seen on besides the first and the last, and these days one issue after another."""
    issue = index.issue_rows(tables.issue_sightings["issue"])
    day = days_since_epoch(tables.issue_sightings["ran_on"]).astype(np.int64)
    known = (issue >= 0) & (day > 0)
    seen = pd.DataFrame({"issue": issue[known], "day": day[known]}).drop_duplicates().sort_values(["issue", "day"])
    ends = [days_since_epoch(index.issues[name]).astype(np.int64)[seen["issue"]] for name in ("first_seen", "last_seen")]
    between = seen[(seen["day"].to_numpy() > ends[0]) & (seen["day"].to_numpy() < ends[1])]
    return np.bincount(between["issue"], minlength=len(index.issues)), between["day"].to_numpy(np.int64)


def _came_back(tables: SiteTables, index: SiteIndex) -> Whole:
    """By repeat issue the day on which its state first was ``returned``; where no event says so, the last day it was seen."""
    issues, events = index.issues, tables.issue_events
    back = events[plain_texts(events["state"]) == RETURNED]
    told = pd.DataFrame({"issue": index.issue_rows(back["issue"]), "day": days_since_epoch(back["day"])})
    first = told[told["issue"] >= 0].groupby("issue")["day"].min().reindex(range(len(issues))).to_numpy(np.float64)
    repeat = issues["is_repeat"].astype("float64").fillna(0).to_numpy() != 0
    day = np.where(np.isnan(first), days_since_epoch(issues["last_seen"]), np.nan_to_num(first))
    return np.asarray(day[repeat], dtype=np.int64)


def _asks_on(due: pd.DataFrame, index: SiteIndex) -> NDArray[np.uint16]:
    rows = pd.DataFrame({"lateral": index.lateral_rows(due["lateral"]), "day": days_since_epoch(due["check_from"])})
    rows = rows[plain_texts(due["state"]).isin(ASKING).to_numpy() & (rows["lateral"] >= 0) & (rows["day"] > 0)]
    first = rows.groupby("lateral")["day"].min()
    asks = np.zeros(len(index.laterals), dtype=np.uint16)
    asks[first.index] = first
    return asks
