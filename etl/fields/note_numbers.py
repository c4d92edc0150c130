"""The figures of a typed note: its reading, its percent, its clock position. What could be two things is told as a doubt.

No figure is made: each is a piece of the note, as it stands there.
"""

import re
from dataclasses import dataclass

from etl.fields.numbers import clock, percent
from sewermap.errors import LengthError
from sewermap.units import length_m

_SIGNS = str.maketrans(
    {**dict.fromkeys("\u2032\u2019\u2018\u00b4`", "'"), **dict.fromkeys("\u2033\u201d\u201c", '"'),
     **dict.fromkeys("\u2212\u2013\u2010\u2011", "-"), **dict.fromkeys("\u00a0\u2009\u202f\t", " ")}
)  # fmt: skip
"""One sign for one sign, so that places in the plain text are places in the note."""

_FIGURE = r"[0-9]+(?:[.,][0-9]+)?"
_NO_MORE = r"(?![0-9]|[.,][0-9])"
_OTHER_UNIT = r"(?!\s*(?:%|percent\b|pct\b|o'?\s?clock\b|°|deg|mm\b|cm\b|in\b|inch|\"|/|:[0-9]|x\b|×|x?[0-9]))(?![^\W\d_])"
_UNIT = r"\s*(?:ft\b\.?|feet\b|foot\b|'(?!')|m\b|met(?:re|er)s?\b)(?!\s*[0-9])"
_FEET_INCHES = (
    r"[0-9]+\s*(?:'|ft\b\.?|feet\b|foot\b)\s*[0-9]+(?:\s[1357]/(?:2|4|8|16))?(?:\.[0-9]+)?\s*(?:\"|''|in\b\.?|inch(?:es)?\b)"
)
_LENGTH = rf"(?:{_FEET_INCHES}|{_FIGURE}{_NO_MORE}{_UNIT}|{_FIGURE}{_NO_MORE}{_OTHER_UNIT})"
_TOWARDS = r"\s*(?:-|\bto\b)\s*"
_FIRST = re.compile(
    rf"\s*(?:(?:@|at\b|reading\b|counter\b)\s*:?\s*)?(?P<from>{_LENGTH})(?:{_TOWARDS}(?P<to>{_LENGTH}))?", re.IGNORECASE
)
_WITH_UNIT = rf"(?:{_FEET_INCHES}|{_FIGURE}{_NO_MORE}{_UNIT}|[0-9]+[.,][0-9]+{_NO_MORE}{_OTHER_UNIT})"
_LATER = re.compile(
    rf"(?:(?:@|\breading\b|\bcounter\b)\s*:?\s*(?P<any>{_LENGTH})|\bat\s+(?P<sure>{_WITH_UNIT}))(?:{_TOWARDS}(?P<to>{_LENGTH}))?",
    re.IGNORECASE,
)
_HYPHENED = re.compile(r"[0-9]+-[0-9]+")
_UNIT_AT_END = re.compile(r"\s*(?:[^\W\d_]+\.?|')$")
_HOURS = r"[0-9]{1,2}(?::[0-5][0-9])?"
_O_CLOCK = r"\s*o'?\s?clock\b"
_CLOCK = re.compile(
    rf"(?:\b(?:at|from)\s+)?(?<![0-9.,:])(?P<from>{_HOURS})(?:(?:{_O_CLOCK})?{_TOWARDS}(?P<to>{_HOURS}))?{_O_CLOCK}",
    re.IGNORECASE,
)
_PERCENT = re.compile(rf"(?<![0-9.,])(?P<share>{_FIGURE})\s*(?:%|percent\b|pct\b)", re.IGNORECASE)
_INCHES = 12


@dataclass
class Figures:
    """What a note's figures say, each as it is written; ``rest`` is the note with blanks in their place.

    ``doubt`` tells why a figure cannot be taken, ``no_reading`` why there is no reading; both empty where all is well.
    """

    rest: str
    reading: str = ""
    to_reading: str = ""
    percent: str = ""
    clock_from: str = ""
    clock_to: str = ""
    doubt: str = ""
    no_reading: str = ""
    is_bare: bool = False
    """Whether the reading is a number without a unit at the very start, which may as well tell something of what follows."""


def figures(note: str, named: tuple[re.Pattern[str], ...] = ()) -> Figures:
    """The figures of a note. ``named``: patterns of names that hold figures of their own (``45 bend``).

    >>> found = figures("31.5 roots 30% at joint, 4 o'clock")
    >>> found.reading, found.percent, found.clock_from, " ".join(found.rest.split())
    ('31.5', '30%', '4', 'roots at joint,')
    """
    plain = note.translate(_SIGNS)
    kept = plain
    for pattern in named:
        kept = pattern.sub(lambda found: "#" * len(found.group()), kept)
    out = Figures(plain)
    for take in (_take_clock, _take_percent, _take_reading):
        kept = take(kept, note, out)
    out.rest = "".join(sign if left != "\0" else " " for sign, left in zip(plain, kept, strict=True))
    return out


def _cut(text: str, found: re.Match[str]) -> str:
    return text[: found.start()] + "\0" * (found.end() - found.start()) + text[found.end() :]


def _take_clock(text: str, note: str, out: Figures) -> str:
    found = list(_CLOCK.finditer(text))
    if not found:
        return text
    if len(found) > 1:
        out.doubt = "it holds more than one clock position"
        return text
    hours = [note[slice(*found[0].span(name))] for name in ("from", "to") if found[0][name]]
    try:
        for one in hours:
            clock(one)
    except ValueError as error:
        out.doubt = str(error)
        return text
    out.clock_from, out.clock_to = hours[0], hours[1] if len(hours) > 1 else ""
    return _cut(text, found[0])


def _take_percent(text: str, note: str, out: Figures) -> str:
    found = list(_PERCENT.finditer(text))
    if not found:
        return text
    if len(found) > 1:
        out.doubt = "it holds more than one percent"
        return text
    try:
        percent(found[0]["share"])
    except ValueError as error:
        out.doubt = str(error)
        return text
    out.percent = note[slice(*found[0].span("share"))] + "%"
    return _cut(text, found[0])


def _take_reading(text: str, note: str, out: Figures) -> str:
    text_at_start = text.replace("\0", " ")
    first = _FIRST.match(text_at_start)
    later = [one for one in _LATER.finditer(text_at_start) if first is None or one.start() >= first.end()]
    candidates = ([first] if first else []) + later
    if len(candidates) != 1:
        out.no_reading = "it holds more than one length that may be the reading" if candidates else "it names no reading"
        return text
    found = candidates[0]
    name = next(one for one in ("from", "any", "sure") if found.groupdict().get(one))
    pieces = [note[slice(*found.span(one))].strip() for one in (name, "to") if found[one]]
    out.no_reading = _why_no_lengths(pieces, note[slice(found.start(name), found.end())])
    if out.no_reading:
        return text
    out.reading, out.to_reading = _same_unit(pieces)
    alone = found is first and not out.to_reading and not text_at_start[: found.start(name)].strip()
    out.is_bare = alone and out.reading[-1].isdigit()
    return _cut(text, found)


def _why_no_lengths(pieces: list[str], whole: str) -> str:
    """Why texts are no lengths, or could be two; empty where they can be taken."""
    if _HYPHENED.fullmatch(whole.translate(_SIGNS)):
        first, second = pieces
        if int(second) <= max(int(first), _INCHES - 1):
            return f"'{whole}' may be feet and inches, or a stretch"
    try:
        for piece in pieces:
            length_m(piece, "ft")
    except LengthError as error:
        return str(error)
    return ""


def _same_unit(pieces: list[str]) -> tuple[str, str]:
    """The ends of a stretch: where one of them alone has a unit, it is the other's too."""
    if len(pieces) == 1:
        return pieces[0], ""
    units = [found.group() if (found := _UNIT_AT_END.search(piece)) else "" for piece in pieces]
    both = units[0] or units[1]
    first, second = (piece if unit or piece.endswith('"') else piece + both for piece, unit in zip(pieces, units, strict=True))
    return first, second
