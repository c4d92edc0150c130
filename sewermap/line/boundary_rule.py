"""Where private ends in this place, and how sure one must be to say so: the rule file ``boundary``."""

import tomllib
from dataclasses import dataclass, fields
from typing import Any

from sewermap.errors import LengthError, SourceError
from sewermap.units import length_m

PROPERTY_LINE, CLEAN_OUT, TIE_IN, BUILDING = PRIVATE_ENDS = ("property line", "clean-out", "tie-in", "building")

_EVEN = 0.5


@dataclass(frozen=True)
class BoundaryRule:
    """What a place says of its property lines; the defaults are common practice, no source.

    ``material_change_at_property_line``: owners here used one pipe material and the town another, so a change of material that a
    run sees is the property line. ``private_ends``: one of PRIVATE_ENDS. ``clean_out_within`` (metres): how far from the property
    line a clean-out may stand to be the one at the line. ``sure``: from which probability a side is told (over 0.5, under 1).
    ``couplings_at_property_line``: the share of couplings and changes of material that are the very joint at the property line,
    whose side no reading can tell (0 up to, not including, 1).
    """

    material_change_at_property_line: bool = False
    private_ends: str = PROPERTY_LINE
    clean_out_within: float = 3.0
    sure: float = 0.95
    couplings_at_property_line: float = 0.5


def boundary_rule(text: str | None) -> BoundaryRule:
    """The rule of a TOML text; what it leaves out, and no text at all, is common practice.

    Raises SourceError for a text that is no TOML, a name that is not known, or a value that cannot be meant.

    >>> boundary_rule('private_ends = "clean-out"').private_ends
    'clean-out'
    """
    try:
        table = tomllib.loads(text or "")
    except tomllib.TOMLDecodeError as error:
        raise SourceError(f"the rule file 'boundary' is not valid TOML: {error}") from error
    known = [field.name for field in fields(BoundaryRule)]
    unknown = sorted(set(table) - set(known))
    if unknown:
        raise SourceError(f"the rule file 'boundary' names {', '.join(unknown)}; known are {', '.join(known)}")
    said: dict[str, Any] = {name: _READERS[name](name, value) for name, value in table.items()}
    return BoundaryRule(**said)


def _wrong(name: str, value: Any, wanted: str) -> SourceError:
    return SourceError(f"the rule file 'boundary': {name} = {value!r} cannot be meant; it is {wanted}")


def _flag(name: str, value: Any) -> bool:
    if not isinstance(value, bool):
        raise _wrong(name, value, "either true or false")
    return value


def _word(name: str, value: Any) -> str:
    if value not in PRIVATE_ENDS:
        raise _wrong(name, value, "one of " + ", ".join(PRIVATE_ENDS))
    return str(value)


def _length(name: str, value: Any) -> float:
    try:
        metres = length_m(value, "m") if isinstance(value, str) else _number(value)
    except LengthError:
        metres = -1.0
    if not 0.0 <= metres < float("inf"):
        raise _wrong(name, value, 'a length of 0 m or more, in metres or with its unit ("10 ft")')
    return metres


def _sure(name: str, value: Any) -> float:
    if not _EVEN < _number(value) < 1.0:
        raise _wrong(name, value, "a probability over 0.5 and under 1")
    return float(value)


def _share(name: str, value: Any) -> float:
    if not 0.0 <= _number(value) < 1.0:
        raise _wrong(name, value, "a share from 0 up to, not including, 1")
    return float(value)


def _number(value: Any) -> float:
    """The number, −1 for what is none: no figure of this file may be negative."""
    return float(value) if isinstance(value, int | float) and not isinstance(value, bool) else -1.0


_READERS = {
    "material_change_at_property_line": _flag,
    "private_ends": _word,
    "clean_out_within": _length,
    "sure": _sure,
    "couplings_at_property_line": _share,
}
