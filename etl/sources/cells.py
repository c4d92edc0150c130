"""Typed cells of workbooks (of either format) to the text that a person meant: the one place where types become words."""

import datetime as dt
import re
from decimal import Decimal

ERRORS = frozenset(
    ("#N/A", "#REF!", "#VALUE!", "#NAME?", "#DIV/0!", "#NUM!", "#NULL!", "#SPILL!", "#CALC!", "#GETTING_DATA", "#FIELD!")
)  # fmt: skip
"""What a spreadsheet writes where a formula has no result (ECMA-376 part 1, 18.18.11, and later ones, from memory)."""

_NUMBERED_ERROR = re.compile(r"#?Err:\d+", re.IGNORECASE)
_QUOTED = re.compile(r'"[^"]*"|\\.')
_TOO_EXACT = 12
"""Digits behind the point that a spreadsheet's own arithmetic can vouch for."""


def text_of(value: object, number_format: str = "") -> str:
    """The text of one cell, without blanks around it; empty for a cell without a value.

    Whole numbers have no point and other numbers their shortest form; a number that is shown as a percentage is one, with its
    sign. Days are YYYY-MM-DD (a time of midnight is none), times HH:MM, booleans yes and no. ``number_format`` is the cell's,
    as the workbook has it.

    >>> [text_of(one) for one in (14.0, 31.5, True, dt.datetime(2024, 5, 31), dt.time(3, 30), "  R 1 ", None)]
    ['14', '31.5', 'yes', '2024-05-31', '03:30', 'R 1', '']
    >>> text_of(0.3, "0%"), text_of(dt.datetime(2024, 5, 31, 8, 15))
    ('30%', '2024-05-31 08:15')
    """
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, (int, float)):
        return _number(value, number_format)
    if isinstance(value, (dt.date, dt.time, dt.timedelta)):
        return _moment(value)
    return str(value).strip()


def is_error(text: str) -> bool:
    """Whether a cell's text is what a spreadsheet shows in place of a result.

    >>> is_error("#N/A"), is_error("#ref!"), is_error("Err:502"), is_error("# 4")
    (True, True, True, False)
    """
    return text.upper() in ERRORS or _NUMBERED_ERROR.fullmatch(text) is not None


def letters(column: int) -> str:
    """The letters of a column, counted from 1.

    >>> [letters(one) for one in (1, 26, 27, 703)]
    ['A', 'Z', 'AA', 'AAA']
    """
    name = ""
    while column:
        column, rest = divmod(column - 1, 26)
        name = chr(ord("A") + rest) + name
    return name


def _number(value: float, number_format: str) -> str:
    if "%" in number_format and "%" in _QUOTED.sub("", number_format):
        share = round(Decimal(repr(value)) * 100, _TOO_EXACT)
        return f"{share.normalize():f}%"
    return str(int(value)) if float(value).is_integer() else repr(value)


def _moment(value: dt.date | dt.time | dt.timedelta) -> str:
    if isinstance(value, dt.timedelta):
        return _duration(value)
    if isinstance(value, dt.time):
        return _time(value)
    if isinstance(value, dt.datetime) and value.time() != dt.time():
        return f"{value.date()} {_time(value.time())}"
    return value.isoformat()[: len("2024-05-31")]


def _time(value: dt.time) -> str:
    return value.strftime("%H:%M:%S" if value.second or value.microsecond else "%H:%M")


def _duration(value: dt.timedelta) -> str:
    minutes, seconds = divmod(round(value.total_seconds()), 60)
    return f"{minutes // 60:02d}:{minutes % 60:02d}" + (f":{seconds:02d}" if seconds else "")
