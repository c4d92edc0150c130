"""Slopes as people write them (``1:48``, ``1/4 in per ft``, ``2 %``), to fall per length and back.

A slope is how far the pipe falls for each length in plan, as a number without a unit: 1/4 inch per foot is 1 : 48 is 0.0208.
"""

import math
import re

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sewermap.errors import LengthError
from sewermap.units import length_m

INCHES_PER_FOOT = 12.0
_SIXTEENTHS = 16
_NEAR = 0.01
"""A slope this near (in sixteenths of an inch) to a whole sixteenth per foot is told as a fraction."""

_LEVEL = 1e-5
"""A millimetre in 100 m: nobody measures that."""

_NUMBER = r"[0-9]+(?:\.[0-9]+)?|\.[0-9]+"
_RATIO = re.compile(rf"({_NUMBER})\s*(?::|\bin\b)\s*({_NUMBER})")
_PERCENT = re.compile(rf"({_NUMBER})\s*(?:%|percent|per cent)")
_PER = re.compile(r"(.+?)\s*(?:\bper\b|/)\s*([^\W\d_]+\.?|'|\")")
_LETTERS = str.maketrans({"\u2236": ":", "\u2215": "/", "\u2044": "/"})


def slope_of(text: object) -> float:
    """Fall per length that a text says: a ratio, inches per foot, millimetres per metre, or percent.

    Raises LengthError for anything else: a bare number (it could be percent, or a ratio), a negative slope, or one steeper
    than 1 : 1.

    >>> [round(slope_of(text), 6) for text in ("1:48", "1/4 in per ft", '¼"/ft', "1 in 48")]
    [0.020833, 0.020833, 0.020833, 0.020833]
    >>> slope_of("2 %"), slope_of("20 mm/m")
    (0.02, 0.02)
    >>> slope_of("48")
    Traceback (most recent call last):
    sewermap.errors.LengthError: '48' is no slope; write it as 1:48, 1/4 in per ft, 20 mm/m or 2 %
    """
    plain = text.translate(_LETTERS).strip().casefold() if isinstance(text, str) else ""
    slope = math.nan
    if found := _RATIO.fullmatch(plain):
        slope = float(found[1]) / float(found[2]) if float(found[2]) else math.nan
    elif found := _PERCENT.fullmatch(plain):
        slope = float(found[1]) / 100
    elif found := _PER.fullmatch(plain):
        slope = _quotient(found[1], found[2], text)
    if math.isnan(slope):
        raise LengthError(f"'{text}' is no slope; write it as 1:48, 1/4 in per ft, 20 mm/m or 2 %")
    if not 0 <= slope <= 1:
        raise LengthError(f"'{text}' is a slope outside of 0 to 1:1; it is the fall for each length of pipe")
    return slope


def ratio_text(slope: float) -> str:
    """A slope as ``1:48``; one that runs backwards as ``-1:48``, one without fall as ``level``, an unknown one as nothing.

    The second figure is rounded to three digits.

    >>> ratio_text(1 / 48), ratio_text(-0.01), ratio_text(0.0), ratio_text(1 / 1234)
    ('1:48', '-1:100', 'level', '1:1230')
    """
    if math.isnan(slope):
        return ""
    if abs(slope) < _LEVEL:
        return "level"
    return f"{'-' if slope < 0 else ''}1:{float(f'{1 / abs(slope):.3g}'):g}"


def inches_per_foot(slope: float) -> str:
    """A slope as ``1/4 in per ft``: sixteenths as fractions, anything between them in hundredths.

    >>> [inches_per_foot(1 / 48), inches_per_foot(1 / 192), inches_per_foot(0.02), inches_per_foot(-1 / 8)]
    ['1/4 in per ft', '1/16 in per ft', '0.24 in per ft', '-1 1/2 in per ft']
    """
    if math.isnan(slope):
        return ""
    inches = abs(slope) * INCHES_PER_FOOT
    sign = "-" if slope < 0 else ""
    parts = round(inches * _SIXTEENTHS)
    if abs(inches * _SIXTEENTHS - parts) > _NEAR:
        return f"{sign}{inches:.2f} in per ft"
    whole, rest = divmod(parts, _SIXTEENTHS)
    shared = math.gcd(rest, _SIXTEENTHS)
    fraction = f"{rest // shared}/{_SIXTEENTHS // shared}" if rest else ""
    return f"{sign}{' '.join(word for word in (str(whole) if whole or not rest else '', fraction) if word)} in per ft"


def ratio_texts(slopes: NDArray[np.float64]) -> NDArray[np.object_]:
    """``ratio_text`` of a column, each different value told once."""
    codes, unique = pd.factorize(slopes, use_na_sentinel=False)
    texts = np.array([ratio_text(float(slope)) for slope in unique], dtype=object)
    told: NDArray[np.object_] = texts[codes] if len(unique) else np.zeros(0, dtype=object)
    return told


def _quotient(above: str, below: str, text: object) -> float:
    try:
        return length_m(above, None) / length_m(f"1 {below}", None)
    except LengthError as error:
        raise LengthError(f"'{text}' is no slope: {error}") from None
