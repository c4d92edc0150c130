"""Lengths and texts as a sheet tells them."""

import math
import unicodedata

from sewermap.units import METRES_PER_FOOT, feet_and_inches

_INCH_M = METRES_PER_FOOT / 12
_NO_SIGN = ("Cc", "Cf", "Cs", "Co", "Cn")
"""Unicode categories of what is no visible sign: controls, marks that turn the direction of writing, and the like."""

_JOINERS = "\u200c\u200d"
"""Some scripts need these between their letters."""


def length(metres: float, unit: str) -> str:
    """A length in feet and whole inches with metres beside, or in metres alone.

    >>> length(13.5636, "ft"), length(13.5636, "m")
    ('44 ft 6 in (13.56 m)', '13.56 m')
    """
    return f"{feet_and_inches(metres)} ({metres:.2f} m)" if unit == "ft" else f"{metres:.2f} m"


def tape(metres: float, unit: str) -> str:
    """A distance to be taped: in feet to the half inch with metres beside, or in metres to the centimetre.

    >>> tape(3.9, "ft"), tape(3.9, "m")
    ('12 ft 9½ in (3.90 m)', '3.90 m')
    """
    return f"{half_inches(metres)} ({metres:.2f} m)" if unit == "ft" else f"{metres:.2f} m"


def half_inches(metres: float) -> str:
    """A length in feet and inches to the nearest half inch.

    >>> half_inches(3.9), half_inches(0.3048), half_inches(0.0127)
    ('12 ft 9½ in', '1 ft 0 in', '0 ft 0½ in')
    """
    halves = round(metres / (_INCH_M / 2))
    feet, rest = divmod(halves, 24)
    return f"{feet} ft {rest // 2}{'½' if rest % 2 else ''} in"


def stretch(from_m: float, to_m: float, unit: str) -> str:
    """From one measure to another, rounded outwards, so that what is told never lies inside what is meant.

    >>> stretch(17.989, 18.590, "m"), stretch(17.989, 18.590, "ft")
    ('17.98 to 18.59 m', '59 ft 0 in to 61 ft 0 in (17.98 to 18.59 m)')
    """
    metric = f"{math.floor(from_m * 100 + 1e-6) / 100:.2f} to {math.ceil(to_m * 100 - 1e-6) / 100:.2f} m"
    if unit != "ft":
        return metric
    low, high = math.floor(from_m / _INCH_M + 1e-6), math.ceil(to_m / _INCH_M - 1e-6)
    return f"{feet_and_inches(low * _INCH_M)} to {feet_and_inches(high * _INCH_M)} ({metric})"


def share(probability: float) -> str:
    """A probability in percent, never a certainty.

    >>> share(0.981), share(1.0), share(0.001)
    ('98 %', 'over 99 %', 'under 1 %')
    """
    if probability > 0.99:  # noqa: PLR2004 - what is told as a limit
        return "over 99 %"
    return "under 1 %" if probability < 0.01 else f"{probability * 100:.0f} %"  # noqa: PLR2004 - the same


def one_line(text: object, most: int = 60) -> str:
    r"""A text of a user's on one line, cut to ``most`` signs; without controls and without marks that turn the writing round.

    >>> one_line("see\n\u202efilm", 60), one_line("x" * 9, 5), one_line(None)
    ('see film', 'xxxx…', '')
    """
    if text is None or text != text:  # noqa: PLR0124 - NaN of any type
        return ""
    kept = "".join(" " if unicodedata.category(sign) in _NO_SIGN and sign not in _JOINERS else sign for sign in str(text))
    line = " ".join(kept.split())
    return line if len(line) <= most else line[: most - 1] + "…"
