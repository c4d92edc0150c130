"""Terms of warranties as days: ISO 8601 durations added on the calendar, and the day by which a claim must be told."""

import re
from datetime import MAXYEAR, date
from typing import Any

import numpy as np
import pandas as pd
from dateutil.relativedelta import relativedelta
from numpy.typing import NDArray

from sewermap.errors import SourceError

Days = NDArray[np.datetime64]

COMMON_TERM = "P1Y"
LAST_DAY = date(MAXYEAR, 12, 31)
"""A term that runs past the calendar is taken to end here, and its note says so."""

_TERM = re.compile(r"P(?:(\d+)Y)?(?:(\d+)M)?(?:(\d+)W)?(?:(\d+)D)?")
_AFTER = re.compile(r"(P\w+)\s+after\s+(end|seen)", re.IGNORECASE)
_MONTHS = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November", "December",
)  # fmt: skip


def day_of(when: Any) -> np.datetime64:
    """A date, Timestamp or text YYYY-MM-DD as datetime64[s]; a time of the day is dropped."""
    return np.datetime64(pd.Timestamp(when).date(), "s")


def days_of(column: "pd.Series[Any]") -> Days:
    """A column of days as datetime64[s]."""
    return pd.to_datetime(column).to_numpy("datetime64[s]")


def duration_of(term: str) -> relativedelta:
    """An ISO 8601 duration in years, months, weeks and days, at least one day long.

    Raises SourceError for any other text.

    >>> duration_of("P1Y6M")
    relativedelta(years=+1, months=+6)
    """
    found = _TERM.fullmatch(term.strip().upper())
    years, months, weeks, days = (int(number or 0) for number in found.groups()) if found else (0, 0, 0, 0)
    if not years + months + weeks + days:
        raise SourceError(f"'{term}' is no term; write one year as P1Y, 18 months as P18M, 90 days as P90D (ISO 8601)")
    return relativedelta(years=years, months=months, weeks=weeks, days=days)


def ends_of(begins_on: "pd.Series[Any]", term: "pd.Series[str]") -> tuple[Days, "pd.Series[str]"]:
    """The day on which each term ends (still inside) and a note where the calendar has its own way (else NaN).

    Years and months are added on the calendar (a day that the month does not have becomes its last), then weeks and days. An
    empty term is P1Y. Each different pair is added once. Raises SourceError for a text that is no term.

    >>> ends, notes = ends_of(pd.Series(["2024-02-29", "2023-03-01"]), pd.Series(["P1Y", "P365D"]))
    >>> ends.astype("datetime64[D]").astype(str).tolist(), notes[0]
    (['2025-02-28', '2024-02-29'], 'P1Y from 29 February 2024 ends on 28 February 2025: that month has no day 29')
    """
    begins = days_of(begins_on).astype("datetime64[D]")
    codes, terms = pd.factorize(term.fillna(COMMON_TERM))
    spans = [duration_of(str(one)) for one in terms]
    day, day_code = np.unique(begins, return_inverse=True)
    pairs, of_row = np.unique(day_code * max(len(spans), 1) + codes, return_inverse=True)
    ends, notes = np.full(len(pairs), "NaT", dtype="datetime64[D]"), np.full(len(pairs), np.nan, dtype=object)
    for at, pair in enumerate(pairs.tolist()):  # a few thousand different pairs at most, whatever the number of rows
        one, span = divmod(pair, len(spans))
        if not np.isnat(day[one]):
            ends[at], notes[at] = _end_of(day[one].item(), spans[span], str(terms[span]))
    return ends[of_row].astype("datetime64[s]"), pd.Series(notes[of_row], index=begins_on.index, dtype="str")


def _end_of(begins: date, span: relativedelta, term: str) -> tuple[date, object]:
    try:
        months = begins + relativedelta(years=span.years, months=span.months)
        ends = begins + span
    except (OverflowError, ValueError):
        return LAST_DAY, f"the term {term} runs past the calendar and is taken to end on {LAST_DAY}"
    if months.day == begins.day:
        return ends, np.nan
    return ends, f"{term} from {_told(begins)} ends on {_told(ends)}: that month has no day {begins.day}"


def _told(day: date) -> str:
    return f"{day.day} {_MONTHS[day.month - 1]} {day.year}"


def notice_rule(text: str) -> str:
    """The rule by which the last day for a notice is told, as it is kept: empty (the end of the term), a day as YYYY-MM-DD,
    ``P30D after end`` or ``P10D after seen`` (after the issue was first seen within the term).

    Raises SourceError for any other text.

    >>> notice_rule(" p30d After end ")
    'P30D after end'
    """
    plain = text.strip()
    if not plain:
        return ""
    after = _AFTER.fullmatch(plain)
    try:
        if after:
            duration_of(after[1])
            return f"{after[1].upper()} after {after[2].lower()}"
        return date.fromisoformat(plain).isoformat()
    except (SourceError, ValueError):
        raise SourceError(
            f"'{text}' does not say by when notice must be given; write a day (2026-05-01), 'P30D after end' or 'P10D after seen'"
        ) from None


def understood(notice_by: "pd.Series[str]") -> NDArray[np.bool_]:
    """Which texts ``notice_rule`` reads; an empty one is read."""
    codes, texts = pd.factorize(notice_by.fillna(""))
    return np.array([_rule_or_none(str(text)) is not None for text in texts], dtype=bool)[codes]


def notice_day(notice_by: "pd.Series[str]", ends_on: "pd.Series[Any]", seen_on: "pd.Series[Any]") -> Days:
    """The last day for the notice of each row, as datetime64[s].

    notice_by: texts of ``notice_rule``; an empty one, or one that cannot be read, is the end of the term. seen_on: when the
    issue was first seen within the term (it came back: seen again); NaT where there is none, and then ``after seen`` is NaT.

    >>> rules, end, seen = pd.Series(["P30D after end", ""]), pd.Series(["2026-01-31"] * 2), pd.Series(["2025-11-03"] * 2)
    >>> notice_day(rules, end, seen).astype("datetime64[D]").astype(str).tolist()
    ['2026-03-02', '2026-01-31']
    """
    ends, seen = days_of(ends_on), days_of(seen_on)
    codes, texts = pd.factorize(notice_by.fillna(""))
    days = ends.copy()
    for code, text in enumerate(texts):
        rule, rows = _rule_or_none(str(text)), codes == code
        if not rule:
            continue
        if " after " not in rule:
            days[rows] = np.datetime64(rule, "s")
            continue
        span, start = rule.split(" after ")
        from_day = pd.Series((ends if start == "end" else seen)[rows])
        days[rows] = ends_of(from_day, pd.Series(span, index=from_day.index, dtype="str"))[0]
    return days


def _rule_or_none(text: str) -> str | None:
    try:
        return notice_rule(text)
    except SourceError:
        return None
