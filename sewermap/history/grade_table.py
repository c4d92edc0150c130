"""The table that grades are read from: grades.toml beside this file, or a place's own, which replaces it wholly.

Whatever table is given, the laws of grading hold, because a table that could break them is refused: grades only rise with
size, a longer stretch and the bottom of the pipe only make them worse.
"""

import tomllib
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources
from typing import Any, NoReturn

import numpy as np
from numpy.typing import NDArray

from sewermap.errors import SourceError, UnknownNameError
from sewermap.history.kinds import kind_of, roles

Floats = NDArray[np.float64]

BEST, WORST = 1.0, 5.0
NO_SIZE, PERCENT, CLOCK = 0, 1, 2
_MEASURES = {"percent": PERCENT, "clock": CLOCK}
_SAYS = {NO_SIZE: "{kind}", PERCENT: "{kind}, {{size}} of the bore", CLOCK: "{kind} {{size}}"}
_KEYS = ("size", "from", "grade", "longer_m", "low", "says")
_BOTTOM = (4.0, 8.0)
_LARGEST = {PERCENT: 100.0, CLOCK: 12.0}


@dataclass(frozen=True, eq=False)
class GradeTable:
    """By kind (K rows, the vocabulary's order; what is no defect is graded by nothing).

    measure: 0 none, 1 percent of the bore, 2 hours of the clock. starts: shape (K, S), from this size on (rising, infinite
    where a kind has fewer steps); grade: shape (K, S), this grade. middle: the grade of an unknown size. longer_m: shape
    (K, M), each length from which a stretch is one grade worse. low: worse at the bottom. says: how the reason begins.
    bottom: the hours of the clock, clockwise from the first to the second, that are the bottom of the pipe.
    """

    measure: NDArray[np.intp]
    starts: Floats
    grade: Floats
    middle: Floats
    longer_m: Floats
    low: NDArray[np.bool_]
    says: tuple[str, ...]
    bottom: tuple[float, float]


@dataclass(frozen=True)
class _Row:
    """What a table says of one kind."""

    measure: int
    starts: tuple[float, ...]
    grade: tuple[float, ...]
    longer_m: tuple[float, ...]
    low: bool
    says: str


@lru_cache(maxsize=16)
def grade_table(text: str | None = None) -> GradeTable:
    r"""The table of a TOML text; without a text, ours.

    Raises SourceError, naming the kind, for a text that is no TOML, an unknown kind or key, a list that falls, a grade
    that is no whole number from 1 to 5, and for a defect that has no table where there is no ``[any_other]``.

    >>> grade_table('[any_other]\ngrade = 3').middle[0]
    np.float64(3.0)
    """
    if text is None:
        text = resources.files("sewermap.history").joinpath("grades.toml").read_text(encoding="utf-8")
    said = _toml(text)
    given = _by_kind(said)
    rows = [_row_of(kind, given) if role == "defect" else _NOTHING for kind, role in roles().items()]
    return GradeTable(
        measure=np.array([row.measure for row in rows], dtype=np.intp),
        starts=_padded([row.starts for row in rows], np.inf),
        grade=_padded([row.grade for row in rows], np.nan),
        middle=np.array([np.ceil(np.median(row.grade)) for row in rows]),
        longer_m=_padded([row.longer_m for row in rows], np.inf),
        low=np.array([row.low for row in rows]),
        says=tuple(row.says for row in rows),
        bottom=_bottom(said.get("bottom", list(_BOTTOM))),
    )


_NOTHING = _Row(NO_SIZE, (0.0,), (np.nan,), (), low=False, says="")


def _padded(lists: list[tuple[float, ...]], fill: float) -> Floats:
    table = np.full((len(lists), max(1, *map(len, lists))), fill)
    for at, figures in enumerate(lists):
        table[at, : len(figures)] = figures
    return table


def _toml(text: str) -> dict[str, Any]:
    try:
        said = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise SourceError(f"the table of grades is no valid TOML: {error}") from None
    for key in said:
        if key not in {"bottom", "kinds", "any_other"}:
            raise SourceError(f"a table of grades holds bottom, [kinds.…] and [any_other], but not {key}")
    return said


def _by_kind(said: dict[str, Any]) -> dict[str, Any]:
    """What is said of each kind by its canonical name, and of ``any_other``."""
    tables = said.get("kinds", {})
    if not isinstance(tables, dict):
        raise SourceError("kinds in a table of grades must be tables, as [kinds.roots]")
    given: dict[str, Any] = {"any_other": said["any_other"]} if "any_other" in said else {}
    for word, table in tables.items():
        try:
            kind = kind_of(word)
        except UnknownNameError as error:
            raise SourceError(f"the table of grades: {error}") from None
        if roles()[kind] != "defect":
            raise SourceError(f"the table of grades: '{word}' is a {roles()[kind]}, and only defects are graded")
        if kind in given:
            raise SourceError(f"the table of grades has two tables for {kind}")
        given[kind] = table
    missing = [kind for kind, role in roles().items() if role == "defect" and kind not in given]
    if missing and "any_other" not in given:
        raise SourceError(
            f"the table of grades lacks {', '.join(missing)}; give each its table, or one [any_other] for all of them"
        )
    return given


def _row_of(kind: str, given: dict[str, Any]) -> _Row:
    """What holds for a kind; what is wrong with it is told of the table that it stands in."""
    name = kind if kind in given else "any_other"
    table = given[name]
    if not isinstance(table, dict):
        _wrong(name, "must be a table, with lines as grade = 3")
    for key in table:
        if key not in _KEYS:
            _wrong(name, f"{key} is no key; it may have {', '.join(_KEYS)}")
    measure = _measure(name, table)
    starts, grade = _steps(name, table, measure)
    longer_m = _figures(name, "longer_m", table.get("longer_m", []))
    if longer_m and longer_m[0] <= 0:
        _wrong(name, "longer_m must be lengths above 0")
    low = table.get("low", False)
    if not isinstance(low, bool):
        _wrong(name, f"low must be true or false, not {low!r}")
    return _Row(measure, starts, grade, longer_m, low, _says(name, kind, table, measure))


def _measure(kind: str, table: dict[str, Any]) -> int:
    size = table.get("size")
    if size is not None and size not in _MEASURES:
        _wrong(kind, f'size must be "percent" or "clock", or left out, not {size!r}')
    return NO_SIZE if size is None else _MEASURES[size]


def _steps(kind: str, table: dict[str, Any], measure: int) -> tuple[tuple[float, ...], tuple[float, ...]]:
    said = table.get("grade")
    grade = _figures(kind, "grade", said if isinstance(said, list) else [said])
    if not grade or any(one not in {1.0, 2.0, 3.0, 4.0, 5.0} for one in grade):
        _wrong(kind, f"grade must be whole numbers from 1 to 5, not {said!r}")
    if measure == NO_SIZE:
        if "from" in table or len(grade) > 1:
            _wrong(kind, 'without a size it has one grade for all; say size = "percent" or "clock" beside from')
        return (0.0,), grade
    starts = _figures(kind, "from", table.get("from", []))
    if len(starts) != len(grade) or starts[0] != 0 or starts[-1] > _LARGEST[measure] or len(set(starts)) != len(starts):
        _wrong(kind, f"from must rise from 0 to {_LARGEST[measure]:g} at most, one figure for each grade")
    return starts, grade


def _figures(kind: str, key: str, said: Any) -> tuple[float, ...]:
    """A list of finite numbers that never falls."""
    good = isinstance(said, list) and all(isinstance(one, int | float) and not isinstance(one, bool) for one in said)
    if not good or not np.isfinite(said).all() or (np.diff(said) < 0).any():
        _wrong(kind, f"{key} must be numbers that do not fall, not {said!r}")
    return tuple(float(one) for one in said)


def _says(name: str, kind: str, table: dict[str, Any], measure: int) -> str:
    says = table.get("says", _SAYS[measure].format(kind=kind))
    if not isinstance(says, str) or not says.strip() or says.count("{size}") != (measure != NO_SIZE):
        _wrong(name, "says must be a text, with {size} in it once where there is a size and not at all where there is none")
    return says


def _bottom(said: Any) -> tuple[float, float]:
    hours = _figures("bottom", "bottom", said)
    if len(hours) != len(_BOTTOM) or not 0 <= hours[0] < hours[1] <= _LARGEST[CLOCK]:
        raise SourceError(f"bottom in a table of grades must be two hours of the clock, as [4, 8], not {said!r}")
    return hours[0], hours[1]


def _wrong(kind: str, sentence: str) -> NoReturn:
    raise SourceError(f"the table of grades, {kind}: {sentence}")
