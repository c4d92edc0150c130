"""Cells that hold a number of another sort than a length: clock positions, percents, grades, coordinates, whole days."""

import re
from collections.abc import Callable

import numpy as np
import pandas as pd
from numpy.typing import NDArray

Numbers = NDArray[np.float64]
_CLOCK = re.compile(r"(\d{1,2})(?:[:h.]([0-5]\d))?(?:\s*o['’´`]?\s*clock)?", re.IGNORECASE)
_NUMBER = re.compile(r"[+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE][+-]?\d+)?")
_HOURS = 12
_GRADES = 5


class _UnreadableError(ValueError):
    """A cell that is no such number; its text says why."""


def numbers(texts: "pd.Series[str]", reader: str) -> tuple[Numbers, "pd.Series[str]"]:
    """A column of ``clock``, ``percent``, ``grade``, ``whole`` or ``number`` cells; and why a cell is none (NaN where fine).

    Each different text is read once.
    """
    read = _READERS[reader]
    codes, unique = pd.factorize(texts)
    values = np.full(len(unique) + 1, np.nan)
    reasons = np.full(len(unique) + 1, np.nan, dtype=object)
    for at, text in enumerate(unique):
        try:
            values[at] = read(str(text))
        except _UnreadableError as error:
            reasons[at] = str(error)
    return values[codes], pd.Series(reasons[codes], index=texts.index, dtype="str")


def clock(text: str) -> float:
    """Hours of a clock position, 12 the crown.

    >>> [clock(text) for text in ("3", "03:30", "12 o'clock")]
    [3.0, 3.5, 12.0]
    """
    found = _CLOCK.fullmatch(text)
    if found is None:
        raise _UnreadableError(f"'{text}' is no clock position; write 1 to 12, or 3:30")
    hours = int(found[1]) + int(found[2] or 0) / 60
    if not 1 <= int(found[1]) <= _HOURS:
        raise _UnreadableError(f"'{text}' is no clock position: a clock has 1 to 12")
    return hours if hours <= _HOURS else hours - _HOURS


def percent(text: str) -> float:
    """A share in percent, with or without its sign.

    >>> percent("30 %")
    30.0
    """
    value = number(text.removesuffix("%").rstrip())
    if not 0 <= value <= 100:  # noqa: PLR2004 (percent)
        raise _UnreadableError(f"'{text}' is outside 0 to 100 percent")
    return value


def grade(text: str) -> float:
    """A grade from 1 (slight) to 5 (failed), whole.

    >>> grade("3")
    3.0
    """
    value = number(text)
    if value not in range(1, _GRADES + 1):
        raise _UnreadableError(f"'{text}' is no grade; grades are 1, 2, 3, 4 and 5")
    return value


def whole(text: str) -> float:
    """A whole number of days, not negative.

    >>> whole("60 days")
    60.0
    """
    bare = re.sub(r"\s*days?$", "", text, flags=re.IGNORECASE)
    value = number(bare)
    if value < 0 or value != int(value):
        raise _UnreadableError(f"'{text}' is no whole number of days")
    return value


def number(text: str) -> float:
    """A plain finite number; a decimal comma is taken where it can mean one thing only.

    >>> number("12,5")
    12.5
    """
    if _NUMBER.fullmatch(text) is None or not np.isfinite(float(text.replace(",", "."))):
        raise _UnreadableError(f"'{text}' is no number")
    if re.fullmatch(r"[+-]?[1-9]\d{0,2},\d{3}", text):
        raise _UnreadableError(f"'{text}' could mean two numbers; write it without the comma")
    return float(text.replace(",", "."))


_READERS: dict[str, Callable[[str], float]] = {
    "clock": clock,
    "percent": percent,
    "grade": grade,
    "whole": whole,
    "number": number,
}
