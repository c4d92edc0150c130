"""Lengths as people write them (``44' 6"``, ``13.57 m``, ``4 in``), to metres and back.

Two rules. A text that could mean two lengths is refused, never guessed: ``1,234`` may be a thousand or one and a bit. And a
number without a unit is no length. The foot here is the international foot; the US survey foot differs from it by two parts
in a million, which no counter shows (map *coordinates* are another matter: see ``line.reference.Lines.metres_per_unit``).
"""

import datetime as dt
import math
import re
from decimal import Decimal
from fractions import Fraction

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sewermap.errors import LengthError

METRES_PER_FOOT = 0.3048
"""International foot, exact since 1959 (yard and pound agreement; NIST Special Publication 811, appendix B)."""

_INCHES_PER_FOOT = 12

_METRES = {
    "m": ("m", "metre", "metres", "meter", "meters", "mtr", "mtrs"),
    "ft": ("ft", "feet", "foot", "'"),
    "in": ("in", "inch", "inches", '"'),
    "cm": ("cm", "centimetre", "centimetres", "centimeter", "centimeters"),
    "mm": ("mm", "millimetre", "millimetres", "millimeter", "millimeters"),
}
_UNIT_OF_WORD = {word: unit for unit, words in _METRES.items() for word in words}
_FACTOR = {"m": 1.0, "ft": METRES_PER_FOOT, "in": METRES_PER_FOOT / _INCHES_PER_FOOT, "cm": 0.01, "mm": 0.001}
_SMALLER = {("ft", "in"): _INCHES_PER_FOOT, ("m", "cm"): 100}
"""Pairs of units that may stand together, and how many of the second make one of the first."""

_NOTHING = "no length is given"

_PLAIN = str.maketrans(
    {
        **dict.fromkeys("\u2032\u2019\u2018\u00b4`", "'"),
        **dict.fromkeys("\u2033\u201d\u201c", '"'),
        **dict.fromkeys("\u2212\u2013\u2010\u2011", "-"),
        **dict.fromkeys("\u00a0\u2009\u202f", " "),
        "\u00bd": " 1/2",
        "\u00bc": " 1/4",
        "\u00be": " 3/4",
        "\u215b": " 1/8",
        "\u215c": " 3/8",
        "\u215d": " 5/8",
        "\u215e": " 7/8",
        "\u2044": "/",
    }
)
_NUMBER = r"(?:[0-9]+[ -])?[0-9]+/[0-9]+|[0-9.,]+(?:[eE][+-]?[0-9]+)?"
_WORD = r"[^\W\d_]+\.?|'|\""
_TEXT = re.compile(
    rf"""(?P<sign>[+-])?\s*(?P<first>{_NUMBER})\s*(?P<unit>{_WORD})?
    (?:\s*(?:(?P<hyphen>-)|,|and)?\s*(?P<second>{_NUMBER})\s*(?P<smaller>{_WORD})?)?""",
    re.VERBOSE,
)
_POINTED = re.compile(r"(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?")
_GROUPED = re.compile(r"[1-9][0-9]{0,2}(?P<mark>[.,])[0-9]{3}(?:(?P=mark)[0-9]{3})*(?:(?!(?P=mark))[.,][0-9]+)?")
_COMMA = re.compile(r"[0-9]*,[0-9]+")


def length_m(text: object, unit: str | None) -> float:
    r"""The length in metres that a text, or a number in ``unit``, says.

    ``unit`` (``ft``, ``m``, ``in``, ``cm``, ``mm``, or their names) is that of a bare number; None where there is none. A
    text with a unit of its own keeps it. ``44-6`` is 44 feet 6 inches, but only where ``unit`` is feet. A comma is a
    decimal comma or a thousands mark where it can be only one of the two. Negative lengths are read as such.

    Raises LengthError, which says why, for anything that is no finite length or could be two.

    >>> round(length_m("44' 6\"", None), 4)
    13.5636
    >>> length_m("12,5", "m")
    12.5
    >>> length_m("1,234", "m")
    Traceback (most recent call last):
    sewermap.errors.LengthError: '1,234' could mean 1.234 or 1234; write it without the comma or with a decimal point
    """
    if isinstance(text, str):
        return _of_text(text, unit)
    if text is None or text is pd.NaT or text is pd.NA or text != text:  # noqa: PLR0124 - NaN of any type
        raise LengthError(_NOTHING)
    if isinstance(text, (bool, np.bool_)) or not isinstance(text, (int, float, np.integer, np.floating, Decimal)):
        made = " (a spreadsheet may have made a date of it)" if isinstance(text, (dt.date, dt.time)) else ""
        raise LengthError(f"'{text}' is no length{made}; write a number, or feet and inches")
    return _finite(float(text), text) * _FACTOR[_needed_unit(unit, str(text))]


def lengths_m(texts: pd.Series, units: pd.Series | str | None) -> tuple[NDArray[np.float64], pd.Series]:
    r"""A column of lengths in metres, and for each row that was refused the reason why.

    ``texts``: texts, numbers, or both. ``units``: the unit of bare numbers, one for all or one a row (same order and length
    as ``texts``; None or missing where there is none). Returns metres (N,), NaN where refused or missing, and the reasons
    (N,) as a text column with the index of ``texts``, missing where all is well. An empty cell is missing, and no fault.

    >>> metres, reasons = lengths_m(pd.Series(["44.5", "44' 6\"", "far", None], dtype="str"), "ft")
    >>> metres.round(4).tolist(), reasons.tolist()[2]
    ([13.5636, 13.5636, nan, nan], "'far' is no length; write a number, or feet and inches like 44 ft 6 in")
    """
    unit_of_row = _unit_column(texts, units)
    plain = _plain_numbers(texts)
    metres = plain * unit_of_row.map(_factors(unit_of_row)).to_numpy(np.float64)
    reasons = np.full(len(texts), np.nan, dtype=object)
    odd = np.flatnonzero(np.isnan(metres))
    odd = odd[~_missing(texts.iloc[odd])]
    if len(odd):
        metres[odd], reasons[odd] = _odd_lengths(texts.iloc[odd], unit_of_row.to_numpy()[odd])
    return metres, pd.Series(reasons, index=texts.index, dtype="str")


def unit_of(word: object) -> str:
    """``ft`` or ``m``: the unit of a counter that a word names.

    Raises LengthError for any other word; inches and millimetres are units of a diameter, not of a counter.

    >>> unit_of("Feet"), unit_of("metres")
    ('ft', 'm')
    """
    unit = _UNIT_OF_WORD.get(_plain_word(word)) if isinstance(word, str) else None
    if unit not in ("ft", "m"):
        raise LengthError(f"'{word}' is no unit of a counter; write ft or m")
    return unit


def feet_and_inches(metres: float) -> str:
    """A length in feet and whole inches, the nearest; raises LengthError where it is not finite.

    >>> feet_and_inches(13.5636), feet_and_inches(-0.3048)
    ('44 ft 6 in', '-1 ft 0 in')
    """
    inches = round(_finite(float(metres), metres) / _FACTOR["in"])
    feet, rest = divmod(abs(inches), _INCHES_PER_FOOT)
    return f"{'-' if inches < 0 else ''}{feet} ft {rest} in"


def in_unit(metres: float, unit: str) -> float:
    """A length of so many metres, in ``unit``; raises LengthError for an unknown unit.

    >>> round(in_unit(13.5636, "ft"), 6)
    44.5
    """
    return metres / _FACTOR[_needed_unit(unit, str(metres))]


def _of_text(text: str, unit: str | None) -> float:
    plain = text.translate(_PLAIN).replace("''", '"').strip()
    if not plain:
        raise LengthError(_NOTHING)
    found = _TEXT.fullmatch(plain)
    if found is None:
        raise LengthError(f"'{text}' is no length; write a number, or feet and inches like 44 ft 6 in")
    sign = -1.0 if found["sign"] == "-" else 1.0
    metres = _alone(text, found, unit) if found["second"] is None else _pair(text, found, unit)
    return _finite(sign * metres, text)


def _alone(text: str, found: re.Match[str], unit: str | None) -> float:
    """One number, with a unit of its own or in that of its column."""
    word = found["unit"]
    own = _needed_unit(word, text) if word else _needed_unit(unit, text)
    return _number(found["first"], text) * _FACTOR[own]


def _pair(text: str, found: re.Match[str], unit: str | None) -> float:
    """Two numbers, of which the second counts a smaller unit: feet and inches, metres and centimetres."""
    large, small = _pair_units(text, found, unit)
    whole, rest = _number(found["first"], text), _number(found["second"], text)
    if whole != int(whole) or "/" in found["first"]:
        raise LengthError(f"'{text}' has a fraction before its second number; write one number with its unit")
    most = _SMALLER[large, small]
    if found["smaller"] is None and re.match("[0-9]{3}", found["second"]):
        raise LengthError(f"'{text}' could mean two lengths; write one number with its unit")
    if rest >= most:
        raise LengthError(f"'{text}' has {rest:g} {small}, but {most} {small} make one {large}")
    return whole * _FACTOR[large] + rest * _FACTOR[small]


def _pair_units(text: str, found: re.Match[str], unit: str | None) -> tuple[str, str]:
    first, second = found["unit"], found["smaller"]
    if first is None:
        known = _UNIT_OF_WORD.get(_plain_word(unit)) if unit else None
        if found["hyphen"] and second is None and known == "ft":
            return "ft", "in"
        why = "is feet and inches only where the unit is feet" if found["hyphen"] else "holds two numbers"
        raise LengthError(f"'{text}' {why}; write one number, or feet and inches like 44 ft 6 in")
    large = _needed_unit(first, text)
    follower = {"ft": "in", "m": "cm"}.get(large)
    small = _needed_unit(second, text) if second else follower
    if small is None or (large, small) not in _SMALLER or (second is None and large == "m"):
        raise LengthError(f"'{text}' holds two lengths of different units; write one")
    return large, small


def _number(text: str, whole_text: str) -> float:
    """A number with a point, a comma, thousands marks or a fraction, where that can mean one thing only."""
    if "/" in text:
        return _with_fraction(text, whole_text)
    if _POINTED.fullmatch(text):
        return float(text)
    grouped = _GROUPED.fullmatch(text)
    if grouped and text.count(",") == 1 and "." not in text:
        without, pointed = text.replace(",", ""), text.replace(",", ".")
        raise LengthError(f"'{whole_text}' could mean {pointed} or {without}; write it without the comma or with a decimal point")
    if grouped:
        return float(text.replace(grouped["mark"], "").replace(",", "."))
    if _COMMA.fullmatch(text):
        return float(text.replace(",", "."))
    raise LengthError(f"'{whole_text}' is no length; write a number, or feet and inches like 44 ft 6 in")


def _with_fraction(text: str, whole_text: str) -> float:
    *whole, part = re.split("[ -]", text)
    above, below = part.split("/")
    if int(below) == 0 or (whole and int(above) >= int(below)):
        raise LengthError(f"'{whole_text}' holds a fraction that cannot be read; write a decimal number")
    return float(sum(map(int, whole)) + Fraction(int(above), int(below)))


def _plain_word(word: str) -> str:
    return word.translate(_PLAIN).replace("''", '"').strip().rstrip(".").casefold()


def _needed_unit(word: object, text: str) -> str:
    if not isinstance(word, str) or not word.strip():
        raise LengthError(f"'{text}' has no unit; write ft, m or in behind it, or name the unit of its column")
    unit = _UNIT_OF_WORD.get(_plain_word(word))
    if unit is None:
        raise LengthError(f"'{word}' (of '{text}') is no known unit; known are ft, in, m, cm and mm")
    return unit


def _finite(metres: float, text: object) -> float:
    if not math.isfinite(metres):
        raise LengthError(f"'{text}' is no finite length")
    return metres


def _unit_column(texts: pd.Series, units: pd.Series | str | None) -> pd.Series:
    words = units.to_numpy(object) if isinstance(units, pd.Series) else units
    return pd.Series(words, index=pd.RangeIndex(len(texts)), dtype=object)


def _factors(units: pd.Series) -> dict[object, float]:
    """Metres in each unit word of the column; NaN for what is no unit, so that its rows are looked at one by one."""
    words = [word for word in units.unique() if isinstance(word, str)]
    return {word: _FACTOR.get(_UNIT_OF_WORD.get(_plain_word(word), ""), math.nan) for word in words}


def _plain_numbers(texts: pd.Series) -> NDArray[np.float64]:
    """Numbers of the column and texts that are nothing but a number; NaN for all else, infinity included."""
    if pd.api.types.is_bool_dtype(texts) or pd.api.types.is_datetime64_any_dtype(texts):
        return np.full(len(texts), np.nan)
    values = pd.to_numeric(texts, errors="coerce").to_numpy(np.float64, copy=True, na_value=np.nan)
    values[~np.isfinite(values)] = np.nan
    if texts.dtype == object:
        values[texts.map(lambda value: isinstance(value, (bool, np.bool_))).to_numpy(bool)] = np.nan
    return values


def _missing(texts: pd.Series) -> NDArray[np.bool_]:
    missing = texts.isna().to_numpy(bool)
    if pd.api.types.is_string_dtype(texts):
        missing = missing | (texts.astype("str").str.strip() == "").to_numpy(bool, na_value=False)
    elif texts.dtype == object:
        missing = missing | texts.map(lambda value: isinstance(value, str) and not value.strip()).to_numpy(bool)
    return missing


def _odd_lengths(texts: pd.Series, units: NDArray[np.object_]) -> tuple[NDArray[np.float64], NDArray[np.object_]]:
    """Texts that are no plain number, each different one read once."""
    kinds = texts.map(type).to_numpy() if texts.dtype == object else np.full(len(texts), str)
    table = pd.DataFrame({"text": texts.to_numpy(object), "unit": units, "kind": [kind.__name__ for kind in kinds]})
    number = table.groupby(["text", "unit", "kind"], dropna=False, sort=False).ngroup().to_numpy()
    _, first = np.unique(number, return_index=True)
    once = table.iloc[first]
    read = [_length_or_reason(text, unit) for text, unit in zip(once["text"], once["unit"], strict=True)]
    metres = np.array([metre for metre, _ in read], dtype=np.float64)
    reasons = np.array([reason for _, reason in read], dtype=object)
    return metres[number], reasons[number]


def _length_or_reason(text: object, unit: object) -> tuple[float, object]:
    try:
        return length_m(text, unit if isinstance(unit, str) else None), np.nan
    except LengthError as error:
        return math.nan, str(error)
