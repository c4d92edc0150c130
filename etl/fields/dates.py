"""Days as people write them. A day that could be two is refused, unless the rest of its column says which order is meant."""

import calendar
import datetime as dt
import re
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

Days = NDArray[np.datetime64]
"""datetime64[s], NaT where there is none."""

_TIME = r"(?:[T ]\s*\d{1,2}:\d{2}(?::\d{2}(?:[.,]\d+)?)?\s*(?:[AaPp]\.?[Mm]\.?)?\s*(?:Z|[+-]\d{2}:?\d{2})?)$"
_YEAR_FIRST = re.compile(r"(?P<year>\d{4})([-/.])(?P<month>\d{1,2})\2(?P<day>\d{1,2})")
_COMPACT = re.compile(r"(?P<year>\d{4})(?P<month>\d{2})(?P<day>\d{2})")
_YEAR_LAST = re.compile(r"(\d{1,2})([-/.])(\d{1,2})\2(\d{4}|\d{2})")
_DAY_FIRST_BY_NAME = re.compile(r"(\d{1,2})(?:st|nd|rd|th)?[ .-]+([^\W\d_]{3,9})\.?[ ,-]+(\d{4})")
_MONTH_FIRST_BY_NAME = re.compile(r"([^\W\d_]{3,9})\.?[ -]+(\d{1,2})(?:st|nd|rd|th)?[ ,-]+(\d{4})")
_MONTHS = {name.casefold(): number for number, name in enumerate(calendar.month_name) if name}
_MONTHS |= {name[:3]: number for name, number in _MONTHS.items()} | {"sept": 9}
_PIVOT = 69
"""Years of two digits: 69–99 are 1969–1999, 00–68 are 2000–2068 (POSIX, strptime %y)."""

_TWO_DAYS = 'could mean two days; say dates = "mdy" or "dmy" in its section'


@dataclass(frozen=True)
class _Day:
    """One text read: as it stands, or in both orders where the text leaves it open."""

    day: dt.date | None = None
    month_first: dt.date | None = None
    day_first: dt.date | None = None
    reason: str = ""

    @property
    def open(self) -> bool:
        return self.month_first is not None or self.day_first is not None

    @property
    def order(self) -> str | None:
        """The order that this text alone proves."""
        if self.open and self.month_first is None:
            return "dmy"
        return "mdy" if self.open and self.day_first is None else None


def days(texts: "pd.Series[str]", order: str | None = None) -> tuple[Days, "pd.Series[str]"]:
    """The days that one column of one file holds, and why a text is none (NaN where fine).

    Read are 2024-05-31 (also with a time, which is dropped), 20240531, 31.05.2024, 5/31/2024, 31/05/2024 and 31 May 2024.
    ``order`` is ``mdy``, ``dmy`` or ``ymd`` (the year stands first, always), or None: dotted days are day first, and a
    column of slashed days is in the order that one of its values proves.

    >>> days(pd.Series(["5/31/2024", "6/2/2024"]))[0].astype("datetime64[D]").tolist()
    [datetime.date(2024, 5, 31), datetime.date(2024, 6, 2)]
    >>> days(pd.Series(["5/6/2024"]))[1].tolist()
    ['5/6/2024 could mean two days; say dates = "mdy" or "dmy" in its section']
    """
    bare = texts.str.replace(_TIME, "", regex=True)
    codes, unique = pd.factorize(bare)
    read = [_read(str(text), order) for text in unique]
    proved = {one.order for one in read} - {None}
    decided = order if order in {"mdy", "dmy"} else proved.pop() if len(proved) == 1 else None
    chosen = [_chosen(one, decided, str(text)) for one, text in zip(read, unique, strict=True)]
    values = np.array([day for day, _ in chosen] + [None], dtype="datetime64[s]")
    reasons = np.array([reason for _, reason in chosen] + [np.nan], dtype=object)
    return values[codes], pd.Series(reasons[codes], index=texts.index, dtype="str")


def _chosen(one: _Day, decided: str | None, text: str) -> tuple[dt.date | None, Any]:
    if not one.open:
        return one.day, one.reason or np.nan
    if one.month_first == one.day_first or one.order is not None:
        return one.month_first or one.day_first, np.nan
    if decided is None:
        return None, f"{text} {_TWO_DAYS}"
    return (one.month_first if decided == "mdy" else one.day_first), np.nan


def _read(text: str, order: str | None) -> _Day:
    if found := _YEAR_FIRST.fullmatch(text) or _COMPACT.fullmatch(text):
        return _fixed(text, int(found["year"]), int(found["month"]), int(found["day"]))
    if found := _DAY_FIRST_BY_NAME.fullmatch(text):
        return _fixed(text, int(found[3]), _MONTHS.get(found[2].casefold(), 0), int(found[1]))
    if found := _MONTH_FIRST_BY_NAME.fullmatch(text):
        return _fixed(text, int(found[3]), _MONTHS.get(found[1].casefold(), 0), int(found[2]))
    if found := _YEAR_LAST.fullmatch(text):
        return _year_last(text, found, order)
    return _Day(reason=f"'{text}' is no day; write it as 2024-05-31")


def _year_last(text: str, found: re.Match[str], order: str | None) -> _Day:
    first, second, year = int(found[1]), int(found[3]), _whole_year(found[4])
    order = order or ("dmy" if found[2] == "." else None)
    if order == "ymd":
        return _Day(reason=f"'{text}' does not start with the year, as dates = \"ymd\" of its section says")
    if order == "dmy":
        return _fixed(text, year, second, first)
    if order == "mdy":
        return _fixed(text, year, first, second)
    month_first, day_first = _day(year, first, second), _day(year, second, first)
    if month_first is None and day_first is None:
        return _impossible(text)
    return _Day(month_first=month_first, day_first=day_first)


def _whole_year(text: str) -> int:
    year = int(text)
    if len(text) > len("24"):
        return year
    return year + (1900 if year >= _PIVOT else 2000)


def _fixed(text: str, year: int, month: int, day: int) -> _Day:
    date = _day(year, month, day)
    return _impossible(text) if date is None else _Day(day=date)


def _impossible(text: str) -> _Day:
    return _Day(reason=f"there is no day '{text}'")


def _day(year: int, month: int, day: int) -> dt.date | None:
    try:
        return dt.date(year, month, day)
    except ValueError:
        return None
