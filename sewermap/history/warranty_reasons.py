"""Why each issue may be claimed, in one sentence that a contractor understands."""

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sewermap.history.warranty_terms import days_of

Flags = NDArray[np.bool_]


def reasons(claims: pd.DataFrame, passed_by: "pd.Series[str]", earlier: pd.DataFrame) -> "pd.Series[str]":
    """The sentence of each claim, row by row.

    claims: first_seen, seen_on, since, work, is_returned, accepted_by, accepted_on, formal, notice_by, late (the day for the
    notice is past), mended (by now), spot (``inside``, ``near an end`` or ``partly outside`` the stretch). passed_by and earlier
    as of ``passing_runs``.
    """
    days = (days_of(claims["seen_on"]) - days_of(claims["since"])).astype("timedelta64[D]").astype(np.int64)
    back = claims["is_returned"].to_numpy(bool)
    first = _told(claims["first_seen"])
    head = ("first seen " + first + " within the term").mask(
        back,
        "came back within the term: seen again " + _told(claims["seen_on"]) + ", " + pd.Series(days).astype("str")
        + " days after the work " + claims["work"].fillna("") + "; first seen " + first,
    )  # fmt: skip
    return head + "; " + _acceptance(claims, passed_by) + _before(passed_by, earlier, back) + _remarks(claims)


def _acceptance(claims: pd.DataFrame, passed_by: "pd.Series[str]") -> "pd.Series[str]":
    """What the acceptance run says of the place."""
    on, stands = _told(claims["accepted_on"]), pd.Series(", taken as the acceptance run,", index=claims.index, dtype="str")
    formal = claims["formal"].to_numpy(bool)
    stands = stands.mask(formal, "")
    passed = "run " + passed_by.fillna("") + " of " + on + stands + " passed here and did not see it"
    blind = pd.Series("run ", index=claims.index, dtype="str").mask(formal, "the acceptance run ")
    blind = blind + claims["accepted_by"].fillna("") + " of " + on + stands + " did not look here"
    return passed.where(passed_by.notna(), blind).mask(claims["accepted_by"].isna(), "no acceptance run")


def _before(passed_by: "pd.Series[str]", earlier: pd.DataFrame, back: Flags) -> "pd.Series[str]":
    """Where no acceptance run passed the place: whether it came up, or nobody had looked before."""
    known = earlier["run"].notna().to_numpy()
    run = "run " + earlier["run"].fillna("") + " of " + _told(earlier["ran_on"]) + " passed here and did not see it"
    told = pd.Series(np.where(back, "; ", "; first appeared: "), dtype="str") + run
    told = told.where(known, pd.Series(np.where(back, "", "; first looked at then: no earlier run passed here"), dtype="str"))
    return told.mask(passed_by.notna().to_numpy(), "")


def _remarks(claims: pd.DataFrame) -> "pd.Series[str]":
    """What else the reader of a claim must know."""
    spot = claims["spot"].to_numpy(object)
    parts = (
        (spot == "near an end", "; it may lie outside the warranted stretch"),
        (spot == "partly outside", "; part of it lies outside the warranted stretch"),
        (claims["mended"].to_numpy(bool), "; mended by now"),
    )
    told = pd.Series("", index=claims.index, dtype="str")
    for where, text in parts:
        told = told + np.where(where, text, "")
    late = "; the day for notice, " + _told(claims["notice_by"]) + ", is past"
    return told + late.where(claims["late"].to_numpy(bool), "")


def _told(days: "pd.Series[pd.Timestamp]") -> "pd.Series[str]":
    """Days as YYYY-MM-DD; NaT as an empty text."""
    told = days_of(days).astype("datetime64[D]").astype(str)
    return pd.Series(np.where(told == "NaT", "", told), index=days.index, dtype="str")
