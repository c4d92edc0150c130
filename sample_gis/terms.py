"""What the town's warranties say beside their dates: kinds, notice, start events, and the awkward days that a calendar has.

All of it is put on the warranties that are there; no run is moved. Common practice, no source.
"""

import numpy as np
import pandas as pd
from numpy.typing import NDArray

Bools = NDArray[np.bool_]
SINCE_LAID = 20
"""Days from laying a line to the start of its warranty: by no more may one be moved back."""

LEAP_DAY = pd.Timestamp("2024-02-29")
START_EVENTS = ("acceptance", "final inspection", "substantial completion")
ROOTS = "roots"
FORGOTTEN = 0.3
"""Share of spot repairs and relinings whose warranty the office did not write down: the town's rules open one by themselves."""

OPENED = ("spot repair", "relining")


def with_terms(warranties: pd.DataFrame, works: pd.DataFrame, runs: pd.DataFrame, rng: np.random.Generator) -> pd.DataFrame:
    """The warranties with kinds, notice_by and start events, and with checks at the very edges of their windows.

    Two begin on 29 February 2024, one for a year and one for two. A line's first check falls on the first day of its window, on
    the last, a day before the first and a day after the last, each once, where there are so many; the last two run for eleven
    months. Names stay; some are gone.
    """
    table = warranties.assign(kinds=pd.Series(np.nan, index=warranties.index, dtype=object))
    chance = rng.random((3, len(table)))
    laying = table["work"].isna().to_numpy()
    event = np.array(START_EVENTS, dtype=object)[(chance[0] * len(START_EVENTS)).astype(int)]
    table["start_event"] = np.where(laying, event, table["start_event"].to_numpy(object))
    _leap_days(table, laying)
    _checks_at_edges(table, laying, runs)
    table.loc[laying & (chance[1] < 0.2), "kinds"] = "roots; offset joint; open joint"
    table.loc[~laying & (chance[1] < 0.2), "kinds"] = ROOTS
    ends = pd.Series([_end(*pair) for pair in zip(table["begins_on"], table["term"], strict=True)], index=table.index)
    day = (ends + pd.Timedelta(days=14)).dt.strftime("%Y-%m-%d")
    table["notice_by"] = None
    for text, most in (("P10D after seen", 0.4), ("P30D after end", 0.25), (day.to_numpy(object), 0.1)):
        table["notice_by"] = np.where(chance[2] < most, text, table["notice_by"].to_numpy(object))
    kind = works.set_index("name")["kind"].reindex(table["work"]).isin(OPENED).to_numpy()
    return table[~(kind & (rng.random(len(table)) < FORGOTTEN))].reset_index(drop=True)


def _leap_days(table: pd.DataFrame, laying: Bools) -> None:
    """The two lines begun nearest the leap day begin on it."""
    off = (table["begins_on"] - LEAP_DAY).abs().where(laying).dropna().sort_values(kind="stable")
    for row, term in zip(off.index[:2], ("P1Y", "P2Y"), strict=False):
        table.loc[row, "begins_on"], table.loc[row, "term"] = LEAP_DAY, term


def _checks_at_edges(table: pd.DataFrame, laying: Bools, runs: pd.DataFrame) -> None:
    """Windows are moved so that a run of reason check, that got to its end, falls on their edges."""
    checks = runs[(runs["reason"] == "check") & ~runs["stopped"]].drop_duplicates("lateral").set_index("lateral")["ran_on"]
    yearly = table[laying & (table["term"] == "P1Y").to_numpy() & (table["begins_on"] != LEAP_DAY).to_numpy()]
    checked_on = yearly["lateral"].map(checks)
    left = (yearly["begins_on"] + pd.DateOffset(months=11) - checked_on).dt.days
    late = left[left.between(0, SINCE_LAID)].sort_values(kind="stable").index[:2]
    for row, days in zip(late, (1, 0), strict=False):
        table.loc[row, "term"] = "P11M"
        table.loc[row, "begins_on"] = checked_on[row] - pd.DateOffset(months=11) - pd.Timedelta(days=days)
    left = (yearly["begins_on"] + pd.DateOffset(years=1) - checked_on).dt.days
    for row, days in zip(left.index[left.between(5, 55) & ~left.index.isin(late)][:2], (0, -1), strict=False):
        table.loc[row, "check_lead"] = float(left[row] + days)


def _end(begins_on: pd.Timestamp, term: str) -> pd.Timestamp:
    count = int(term[1:-1])
    return begins_on + (pd.DateOffset(months=count) if term.endswith("M") else pd.DateOffset(years=count))
