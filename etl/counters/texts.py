"""A text that was seen in a picture: is it what a cable counter shows, and which reading is it?

Counters are burnt into pictures in many ways: ``31.5 ft``, ``0031.5``, ``31.5'``, ``9.60 m``, ``+031.5FT``, ``31' 6"``. Beside
them stand dates, times, names, and other figures with a unit (a slope, a voltage, the head's frequency). Common practice, no
source. Signs that recognition mixes up with one another (a prime and a degree sign, a comma and a point) are taken for each
other here; digits never are.
"""

import re
import unicodedata
from dataclasses import dataclass, field

_SAME = str.maketrans(
    {
        **dict.fromkeys("\u2032\u2019\u2018\u00b4`\u00b0\u00ba\u02da", "'"),
        **dict.fromkeys("\u2033\u201d\u201c\u3003", '"'),
        **dict.fromkeys("\u2212\u2013\u2014\u2010\u2011", "-"),
        **dict.fromkeys(",\u00b7\u2022\u3002\u30fb\u02d9", "."),
        **dict.fromkeys("\u00a0\u2009\u202f\u3000", " "),
    }
)
_STAMPS = (
    r"[0-9]{4} ?[-/.:] ?[0-9]{1,2} ?[-/.:] ?[0-9]{1,2}",  # 2026-11-25
    r"[0-9]{1,2} ?[-/.] ?[0-9]{1,2} ?[-/.] ?[0-9]{2,4}",  # 25.11.2026, 11/25/26
    r"[0-9]{1,2} ?: ?[0-9]{2}(?: ?[:.] ?[0-9]{2}(?:\.[0-9]+)?)?(?: ?[AP]\.?M\b\.?)?",  # 14:05, 02:05:31 PM
)
_STAMP = re.compile("|".join(_STAMPS), re.IGNORECASE)
_FEET_AND_INCHES = re.compile(
    r"""(?<![0-9.])(?P<sign>[+-]?)\ ?(?P<feet>[0-9]{1,5})\ ?(?:'|ft\b\.?)\ ?-?
    \ ?(?P<inches>[0-9]{1,2}(?:\.[0-9])?)\ ?(?:"|''|'|in\b\.?)?(?![0-9.%A-Z])""",
    re.IGNORECASE | re.VERBOSE,
)
_WITH_UNIT = re.compile(
    r"""(?<![0-9.:/-])(?P<sign>[+-]?)\ ?(?P<number>[0-9]{1,6}(?:\.[0-9]{1,3})?)
    \ ?(?P<unit>feet|foot|ft|met(?:er|re)s?|mtrs?|m|')(?![A-Z0-9'"/])""",
    re.IGNORECASE | re.VERBOSE,
)
_BARE = re.compile(
    r"""\ *(?:(?:dist(?:ance)?|length|len|count(?:er)?|ctr|cable|footage|reading|d|l)\b\ *\.?\ *[:=]?)?
    \ *(?P<sign>[+-]?)\ ?(?P<number>[0-9]{1,6}(?:\.[0-9]{1,3})?)\ *""",
    re.IGNORECASE | re.VERBOSE,
)
_UNIT = {"m": "m", "f": "ft", "'": "ft"}
_MOST_INCHES = 12


@dataclass(frozen=True)
class Length:
    """What a text says: the reading in its unit (``ft``, ``m``, or None where it names none) and how fine the display is.

    ``step``: the smallest change that the display can show, in the unit. ``form``: how the text is made (see ``forms``),
    which is the same in all pictures of one camera. ``counter``: the text itself; ``start``, ``end``: where it stands in the text
    that it was taken from.
    """

    reading: float
    unit: str | None
    step: float
    form: str
    counter: str
    start: int = field(default=0, compare=False, repr=False)
    end: int = field(default=0, compare=False, repr=False)


def length_in(text: str) -> Length | None:
    """The counter's reading in a text that was seen, or None where nothing in it looks like one.

    Dates and times are passed over; a number with a unit of length is preferred to a bare one, and a bare one counts only
    where it is all the text, but for a word such as ``DIST``.

    >>> length_in("2026-05-11 14:05:31  +031.5FT")
    Length(reading=31.5, unit='ft', step=0.1, form='.1', counter='+031.5FT')
    >>> length_in("31' 6").reading, length_in("DIST 0031.5").unit
    (31.5, None)
    >>> length_in("14:05:31") or length_in("512 Hz") or length_in("MAPLE 12") or length_in("2.5 %")
    """
    plain = _STAMP.sub(lambda stamp: ";" * len(stamp[0]), "".join(map(_plain, text)))
    return _feet_and_inches(plain) or _with_unit(plain) or _bare(plain)


def _feet_and_inches(plain: str) -> Length | None:
    found = _FEET_AND_INCHES.search(plain)
    if found is None or float(found["inches"]) >= _MOST_INCHES:
        return None
    step = (0.1 if "." in found["inches"] else 1.0) / _MOST_INCHES
    reading = int(found["feet"]) + float(found["inches"]) / _MOST_INCHES
    return Length(_signed(reading, found["sign"]), "ft", step, "feet and inches", found[0].strip(), found.start(), found.end())


def _with_unit(plain: str) -> Length | None:
    found = _WITH_UNIT.search(plain)
    if found is None:
        return None
    unit = _UNIT[found["unit"][0].lower()]
    decimals = _decimals(found["number"])
    return Length(
        _signed(float(found["number"]), found["sign"]),
        unit,
        10.0**-decimals,
        f".{decimals}",
        found[0].strip(),
        found.start(),
        found.end(),
    )


def _bare(plain: str) -> Length | None:
    found = _BARE.fullmatch(plain.replace(";", " "))
    if found is None or (";" in plain and "." not in found["number"]):
        return None
    decimals = _decimals(found["number"])
    return Length(
        _signed(float(found["number"]), found["sign"]),
        None,
        10.0**-decimals,
        f".{decimals}",
        found[0].strip(),
        found.start(),
        found.end(),
    )


def _plain(sign: str) -> str:
    """One sign for one sign, so that places in the text stay what they are."""
    same = unicodedata.normalize("NFKC", sign.translate(_SAME)).translate(_SAME)
    return same if len(same) == 1 else sign


def _decimals(number: str) -> int:
    return len(number.partition(".")[2])


def _signed(value: float, sign: str) -> float:
    return -value if sign == "-" else value
