"""What was known on which day, loaded when somebody first asks: the state of each issue after each day of its lateral."""

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sewermap.web.city_columns import grades
from sewermap.web.packing import call, packed
from sewermap.web.site_index import SiteIndex, Whole, days_since_epoch, plain_texts
from sewermap.web.site_tables import SiteTables

RUN = 1
GRADE_SHIFT = 4
UNKNOWN = 0
"""A state is told as its code + 1, 0 while nobody knew of the issue, with the grade × 16 added."""

STEPWISE = frozenset({"day"})


def times_file(tables: SiteTables, index: SiteIndex) -> str:
    """``data/times.js``.

    Columns: days (by lateral, on how many days something was told of it), day, looked (1: by a run), state (by issue, a byte for
    each day of its lateral).
    """
    issue = index.issue_rows(tables.issue_events["issue"])
    lateral, day, looked = _days(tables, index, issue)
    counts = np.bincount(lateral, minlength=len(index.laterals))
    columns: dict[str, NDArray[np.uint8] | NDArray[np.uint16]] = {
        "days": counts.astype(np.uint16),
        "day": day.astype(np.uint16),
        "looked": looked,
        "state": _states(tables.issue_events, index, issue, (lateral, day, counts)),
    }
    return call("sewermap.timesData", packed(columns, STEPWISE))


def _days(tables: SiteTables, index: SiteIndex, issue: Whole) -> tuple[Whole, Whole, NDArray[np.uint8]]:
    """Each day on which something was told of a lateral, in order, and whether a run looked into it that day."""
    events, runs = tables.issue_events, tables.run_coverages
    looked = runs[runs["from_measure_m"].notna()]
    lateral = np.concatenate(
        [index.lateral_rows(looked["lateral"]), np.where(issue >= 0, np.append(index.issue_lateral, 0)[issue], -1)]
    )
    day = np.concatenate([days_since_epoch(looked["ran_on"]), days_since_epoch(events["day"])]).astype(np.int64)
    is_run = np.arange(len(day)) < len(looked)
    known = (lateral >= 0) & (day > 0)
    keys, at = np.unique(_key(lateral[known], day[known]), return_inverse=True)
    flags = np.zeros(len(keys), dtype=np.uint8)
    flags[at[is_run[known]]] = RUN
    return keys >> 16, keys & 0xFFFF, flags


def _states(events: pd.DataFrame, index: SiteIndex, issue: Whole, days: tuple[Whole, Whole, Whole]) -> NDArray[np.uint8]:
    """By issue and day of its lateral the last word said until then."""
    lateral, day, counts = days
    on = days_since_epoch(events["day"]).astype(np.int64)
    state = pd.Index(index.states).get_indexer(pd.Index(plain_texts(events["state"])))
    said = (issue >= 0) & (on > 0) & (state >= 0)
    issue, on = issue[said], on[said]
    word = (state[said] + 1) | (grades(events["grade"])[said].astype(np.int64) << GRADE_SHIFT)
    per_issue = counts[index.issue_lateral]
    first = np.cumsum(per_issue) - per_issue
    of = index.issue_lateral[issue]
    within = np.searchsorted(_key(lateral, day), _key(of, on)) - (np.cumsum(counts) - counts)[of]
    told = np.full(int(per_issue.sum()), UNKNOWN, dtype=np.int64)
    # Of two events of a day the later row has the last word: numpy assigns in order.
    told[first[issue] + within] = word
    at = np.maximum.accumulate(np.where(told > 0, np.arange(len(told)), 0)) if len(told) else told
    start = np.repeat(first, per_issue)
    return np.where(at >= start, told[at], UNKNOWN).astype(np.uint8)


def _key(lateral: Whole, day: Whole) -> Whole:
    return (lateral << 16) | day
