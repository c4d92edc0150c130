"""The warranties in force on a day: those recorded, and those that works open by the place's rules, with all their days."""

from datetime import date
from typing import Any

import numpy as np
import pandas as pd

from sewermap.errors import SourceError
from sewermap.history.warranty_rules import COMMON_CURE, COMMON_LEAD, WarrantyRules
from sewermap.history.warranty_terms import COMMON_TERM, day_of, days_of, ends_of, understood

IN_FORCE = (
    "warranty", "lateral", "begins_on", "term", "check_lead", "cure", "answerable", "work", "from_measure_m", "to_measure_m",
    "kinds", "start_event", "notice_by", "ends_on", "check_from", "check_by", "note", "work_on",
)  # fmt: skip
"""Columns of ``in_force``. ``work_on`` is the day of the work that a warranty names, NaT where it names none that is known."""

OWN = "·own"
"""What the name of a warranty that a work opens has after the work's."""

_TEXTS = ("warranty", "lateral", "term", "answerable", "work", "kinds", "start_event", "notice_by")
_NUMBERS = ("check_lead", "cure", "from_measure_m", "to_measure_m")
_LONGEST_DAYS = 1_000_000.0


def in_force(recorded: pd.DataFrame, works: pd.DataFrame, rules: WarrantyRules, as_of: date) -> pd.DataFrame:
    """The warranties begun on or before a day, one row each, also those that are over. The columns are ``IN_FORCE``.

    recorded: the recorded table's columns (those of ``IN_FORCE`` up to notice_by). works: work, lateral, done_on, kind,
    from_measure_m, to_measure_m, by. A work whose kind the rules name opens the warranty ``WORK·own`` on its day, over its
    stretch (a single measure: that place alone), answered for by who did it; not where a recorded warranty, whenever it begins,
    names the work. ends_on is begins_on + term, itself still inside; check_from is check_lead days before.

    Raises SourceError for a recorded term that cannot be read.
    """
    ours = _plain(recorded)
    ours["note"] = pd.Series(np.nan, index=ours.index, dtype="str")
    both = pd.concat([ours, _opened(ours, works, rules)], ignore_index=True)
    both = both[both["begins_on"].to_numpy() <= day_of(as_of)].reset_index(drop=True)
    try:
        ends, calendar = ends_of(both["begins_on"], both["term"])
    except SourceError as error:
        raise SourceError(f"in the table of warranties: {error}") from None
    both["ends_on"] = ends
    both["check_from"] = ends - np.clip(both["check_lead"].to_numpy(float), 0.0, _LONGEST_DAYS).astype("timedelta64[D]")
    both["check_by"] = ends
    unread = pd.Series(np.nan, index=both.index, dtype="str").mask(
        ~understood(both["notice_by"]), "notice_by '" + both["notice_by"] + "' cannot be read: the end of the term is taken"
    )
    both["note"] = _joined(both["note"], calendar, unread)
    named = pd.Index(works["work"]).get_indexer(pd.Index(both["work"]))
    both["work_on"] = np.append(days_of(works["done_on"]), np.datetime64("NaT", "s"))[named]
    return both[list(IN_FORCE)]


def _plain(recorded: pd.DataFrame) -> pd.DataFrame:
    """Recorded warranties with all columns, in their types, and the common terms where a row says nothing."""
    said: dict[str, pd.Series[Any]] = {name: recorded[name].astype("str") for name in _TEXTS}
    said |= {name: recorded[name].astype("float64") for name in _NUMBERS}
    table = pd.DataFrame(said, index=recorded.index).assign(begins_on=days_of(recorded["begins_on"])).reset_index(drop=True)
    return table.fillna({"term": COMMON_TERM, "check_lead": float(COMMON_LEAD), "cure": float(COMMON_CURE)})


def _opened(recorded: pd.DataFrame, works: pd.DataFrame, rules: WarrantyRules) -> pd.DataFrame:
    """The warranties that works open by the rules."""
    mine = works[works["kind"].isin(list(rules.works)).to_numpy(bool)].reset_index(drop=True)
    named = pd.Index(recorded["work"].dropna().unique()).get_indexer(pd.Index(mine["work"])) >= 0
    named |= pd.Index(recorded["warranty"].unique()).get_indexer(pd.Index(mine["work"] + OWN)) >= 0
    mine = mine[~named].reset_index(drop=True)
    terms = pd.DataFrame(
        {
            kind: (one.term, one.check_lead, one.cure, ", ".join(one.kinds) or np.nan, one.start_event, one.notice_by or np.nan)
            for kind, one in rules.works.items()
        },
        index=["term", "check_lead", "cure", "kinds", "start_event", "notice_by"],
    ).T
    near, far = mine["from_measure_m"].astype("float64"), mine["to_measure_m"].astype("float64")
    said = terms.reindex(mine["kind"]).reset_index(drop=True)
    opened = said.assign(
        warranty=mine["work"] + OWN,
        lateral=mine["lateral"],
        begins_on=mine["done_on"],
        answerable=mine["by"],
        work=mine["work"],
        from_measure_m=near.fillna(far),
        to_measure_m=far.fillna(near),
    )
    return _plain(opened).assign(note=("opened by the rule for " + mine["kind"]).astype("str"))


def _joined(*notes: "pd.Series[str]") -> "pd.Series[str]":
    """Notes one after the other, NaN where there is none."""
    whole = notes[0].fillna("")
    for note in notes[1:]:
        more = note.fillna("")
        whole = whole + np.where((whole != "") & (more != ""), "; ", "") + more
    return whole.mask(whole == "").astype("str")
