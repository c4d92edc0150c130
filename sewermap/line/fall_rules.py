"""The rules that slopes, bends and clean-outs are held against: fall.toml beside this file, or a place's own.

No rule is hard-wired: codes differ, and local law and the authority decide. What a table does not say of a size stays unsaid.
"""

import math
import tomllib
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources
from typing import Any, NoReturn

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sewermap.errors import LengthError, SourceError
from sewermap.line.slope_texts import slope_of
from sewermap.units import length_m

Floats = NDArray[np.float64]

OF_THIS_PLACE = "of this place"
_LENGTHS = ("invert_sigma", "drawn_sigma", "depth_sigma", "one_place")
_MOST_BENDS = 3600.0


@dataclass(frozen=True, eq=False)
class SizeTable:
    """Limits by size of pipe: entry k holds for diameters ``from_m[k]`` to ``up_to_m[k]``, both included.

    ``limits``: by name, a figure for each entry (NaN: the entry does not say). Slopes have ``least`` and ``with_approval``
    (fall per length), clean-outs ``every`` (metres) and ``bends`` (degrees).
    """

    name: str
    from_m: Floats
    up_to_m: Floats
    limits: dict[str, Floats]


@dataclass(frozen=True, eq=False)
class FallRules:
    """Tables in force, and how well things are known where nobody says. Angles in degrees; see fall.toml for each figure."""

    slopes: SizeTable
    clean_outs: SizeTable
    invert_sigma_m: float
    drawn_sigma_m: float
    depth_sigma_m: float
    one_place_m: float
    doubt_sigmas: float
    size_tolerance: float
    least_bend: float
    snap: float

    def limit(self, table: SizeTable, name: str, diameter_m: ArrayLike) -> Floats:
        """What a table asks of pipes of these diameters (N,), metres; NaN where it says nothing.

        A diameter within ``size_tolerance`` of a size counts as that size. Where the diameter is unknown (NaN), only an entry
        for all sizes holds. Of several entries that fit, the last one holds.

        >>> rules = fall_rules()
        >>> (1 / rules.limit(rules.slopes, "least", [0.0508, 0.1016, 0.1778, 0.2032, float("nan")])).round().tolist()
        [48.0, 96.0, nan, 192.0, nan]
        """
        size = np.asarray(diameter_m, np.float64).reshape(-1, 1)
        near = self.size_tolerance
        fits = (size >= table.from_m * (1 - near)) & (size <= table.up_to_m * (1 + near))
        fits |= np.isnan(size) & (table.from_m == 0) & np.isinf(table.up_to_m)
        last = fits.shape[1] - 1 - np.argmax(fits[:, ::-1], axis=1)
        return np.where(fits.any(axis=1), table.limits[name][last], np.nan)


@lru_cache(maxsize=16)
def fall_rules(text: str | None = None) -> FallRules:
    r"""The rules of a place's TOML text; what it does not say is as in fall.toml, and without a text all is.

    The text may hold ``slopes`` and ``clean_outs`` (the name of a packaged table, or the name of its own), its own entries
    ``[[slope]]`` (from, up_to, least, with_approval) and ``[[clean_out]]`` (from, up_to, every, bends), and ``[settings]``.
    Raises SourceError, saying what is wrong, for a text that is no TOML, a name that is not known, or a figure that cannot be.

    >>> fall_rules('slopes = "UPC 708"').slopes.name
    'UPC 708'
    >>> fall_rules('[[slope]]\nup_to = "6 in"\nleast = "1:96"').slopes.limits["least"].round(4).tolist()
    [0.0104]
    """
    ours = tomllib.loads(resources.files("sewermap.line").joinpath("fall.toml").read_text(encoding="utf-8"))
    said = _toml(text) if text is not None else {}
    settings = _settings(ours["settings"], said.get("settings", {}))
    return FallRules(
        slopes=_table("slopes", "slope", said, ours),
        clean_outs=_table("clean_outs", "clean_out", said, ours),
        **{f"{name}_m" if name in _LENGTHS else name: value for name, value in settings.items()},
    )


def _toml(text: str) -> dict[str, Any]:
    try:
        said = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise SourceError(f"the rule file 'fall' is no valid TOML: {error}") from None
    for key in said:
        if key not in {"slopes", "clean_outs", "slope", "clean_out", "settings"}:
            _wrong(f"it may hold slopes, clean_outs, [[slope]], [[clean_out]] and [settings], but not {key}")
    return said


def _settings(ours: dict[str, Any], said: Any) -> dict[str, float]:
    if not isinstance(said, dict):
        _wrong('settings must be a table, as [settings] with lines like depth_sigma = "0.2 m"')
    for name in said:
        if name not in ours:
            _wrong(f"[settings] has no {name}; it has {', '.join(ours)}")
    return {name: _setting(name, value) for name, value in (ours | said).items()}


def _setting(name: str, value: Any) -> float:
    if name in _LENGTHS:
        figure = _length(f"[settings] {name}", value)
    elif isinstance(value, bool) or not isinstance(value, int | float):
        _wrong(f"[settings] {name} must be a number, not {value!r}")
    else:
        figure = float(value)
    if not 0 <= figure < math.inf:
        _wrong(f"[settings] {name} must be 0 or more, not {value!r}")
    return figure


def _table(key: str, entry: str, said: dict[str, Any], ours: dict[str, Any]) -> SizeTable:
    """The table in force: the place's own entries, or a packaged table by name."""
    packaged = {name: table[entry] for name, table in ours["tables"].items() if entry in table}
    name = said.get(key, OF_THIS_PLACE if entry in said else ours[key])
    if not isinstance(name, str) or not name.strip():
        _wrong(f"{key} must be the name of a table in quotation marks, not {name!r}")
    if entry not in said:
        if name not in packaged:
            _wrong(f"{key} = {name!r} is no table of ours, which are {', '.join(packaged)}; give your own entries as [[{entry}]]")
        return _of_entries(name, entry, packaged[name])
    if name in packaged:
        _wrong(f"{key} = {name!r} is a table of ours; give your own [[{entry}]] another name, or leave them out")
    return _of_entries(name, entry, said[entry])


def _of_entries(name: str, entry: str, entries: Any) -> SizeTable:
    if not isinstance(entries, list) or not entries or not all(isinstance(one, dict) for one in entries):
        _wrong(f"{entry} must be one entry or more, each under [[{entry}]]")
    limits = ("least", "with_approval") if entry == "slope" else ("every", "bends")
    rows = [_entry(f"[[{entry}]] {at}", one, limits) for at, one in enumerate(entries, 1)]
    columns = {key: np.array([row[key] for row in rows]) for key in ("from", "up_to", *limits)}
    return SizeTable(name, columns["from"], columns["up_to"], {key: columns[key] for key in limits})


def _entry(where: str, said: dict[str, Any], limits: tuple[str, ...]) -> dict[str, float]:
    """One entry's figures; what it does not say is no bound."""
    for key in said:
        if key not in {"from", "up_to", *limits}:
            _wrong(f"{where} has no {key}; it may have from, up_to, {', '.join(limits)}")
    row = {"from": 0.0, "up_to": math.inf, **dict.fromkeys(limits, math.nan)}
    row |= {key: _READ[key](f"{where}, {key}", value) for key, value in said.items()}
    if row["from"] > row["up_to"]:
        _wrong(f"{where} holds for no size: from is more than up_to")
    if limits[0] == "least" and math.isnan(row["least"]):
        _wrong(f'{where} says no least slope; write least = "1:96" or least = "1/8 in per ft"')
    if limits[0] == "every" and math.isnan(row["every"]) and math.isnan(row["bends"]):
        _wrong(f'{where} says nothing; write every = "100 ft" or bends = 135')
    if row.get("with_approval", math.nan) > row.get("least", math.nan):
        _wrong(f"{where}: with_approval is steeper than least; it is the flatter slope that an authority may allow")
    return row


def _length(where: str, value: Any) -> float:
    try:
        metres = length_m(value, None)
    except LengthError as error:
        _wrong(f"{where}: {error}")
    if metres < 0:
        _wrong(f"{where} must be 0 or more, not {value!r}")
    return metres


def _distance(where: str, value: Any) -> float:
    if not (metres := _length(where, value)):
        _wrong(f"{where} must be more than nothing")
    return metres


def _slope(where: str, value: Any) -> float:
    try:
        return slope_of(value)
    except LengthError as error:
        _wrong(f"{where}: {error}")


def _degrees(where: str, value: Any) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not 0 < value <= _MOST_BENDS:
        _wrong(f"{where} must be a number of degrees, not {value!r}")
    return float(value)


def _wrong(sentence: str) -> NoReturn:
    raise SourceError(f"the rule file 'fall': {sentence}")


_READ: dict[str, Callable[[str, Any], float]] = {
    "from": _length,
    "up_to": _distance,
    "least": _slope,
    "with_approval": _slope,
    "every": _distance,
    "bends": _degrees,
}
"""How each key of an entry is read."""
