"""How checks and claims are judged, and which works open a warranty of their own: warranty.toml and a place's own file."""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources
from types import MappingProxyType
from typing import Any

from sewermap.errors import SourceError, UnknownNameError
from sewermap.history.kinds import kind_of, vocabulary
from sewermap.history.warranty_terms import duration_of, notice_rule

COMMON_LEAD = 60
COMMON_CURE = 10
WORK_DAY = "work done"
"""The start event of a warranty that a work opens, where its rule names none."""

_KEYS = ("check_share", "acceptance_days", "works")
_WORK_KEYS = ("term", "check_lead", "cure", "kinds", "start_event", "notice_by")


@dataclass(frozen=True)
class OpenedByWork:
    """The terms of a warranty that a kind of work opens: ``term`` (ISO 8601), ``check_lead`` and ``cure`` in days, ``kinds``
    (none: all defects), ``start_event``, ``notice_by`` (see ``notice_rule``).
    """

    term: str
    check_lead: int = COMMON_LEAD
    cure: int = COMMON_CURE
    kinds: tuple[str, ...] = ()
    start_event: str = WORK_DAY
    notice_by: str = ""


@dataclass(frozen=True)
class WarrantyRules:
    """``check_share``: of the warranted stretch, over 0 to 1, that a day's runs must have passed to be a check.
    ``acceptance_days``: how long after the start a run may still stand for the acceptance run. ``works``: by kind of work.
    """

    check_share: float
    acceptance_days: int
    works: Mapping[str, OpenedByWork]


@lru_cache(maxsize=16)
def warranty_rules(text: str | None = None) -> WarrantyRules:
    r"""The rules in force; ``text`` is a place's own file, and what it does not say is as packaged.

    Raises SourceError, which says what is wrong, for a text that is no TOML, a name that is not known, or a value that cannot be.

    >>> warranty_rules('[works."spot repair"]\nterm = "P2Y"').works["spot repair"].check_lead
    60
    """
    said = tomllib.loads(resources.files("sewermap.history").joinpath("warranty.toml").read_text(encoding="utf-8"))
    if text is not None:
        said |= _given(text)
    share, days, works = said["check_share"], said["acceptance_days"], said["works"]
    if isinstance(share, bool) or not isinstance(share, (int, float)) or not 0.0 < share <= 1.0:
        raise SourceError(f"check_share = {share!r} must be a share over 0 and up to 1, such as 0.9")
    if not isinstance(works, dict):
        raise SourceError('works must be tables, as [works."spot repair"]')
    opened = {kind: _opened(str(kind), terms) for kind, terms in works.items()}
    return WarrantyRules(float(share), _days("acceptance_days", days), MappingProxyType(opened))


def _given(text: str) -> dict[str, Any]:
    try:
        said = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise SourceError(f"the rules of warranties are no valid TOML: {error}") from None
    _known("the rules of warranties", said, _KEYS)
    return said


def _opened(kind: str, said: object) -> OpenedByWork:
    where = f'[works."{kind}"]'
    known = tuple(vocabulary().mended_by)
    if kind not in known:
        raise SourceError(f"{where}: '{kind}' is no kind of work; known are {', '.join(known)}")
    if not isinstance(said, dict) or "term" not in said:
        raise SourceError(f'{where} needs a term, such as term = "P1Y"')
    _known(where, said, _WORK_KEYS)
    try:
        duration_of(_text("term", said["term"]))
        return OpenedByWork(
            term=said["term"].strip().upper(),
            check_lead=_days("check_lead", said.get("check_lead", COMMON_LEAD)),
            cure=_days("cure", said.get("cure", COMMON_CURE)),
            kinds=_kinds(said.get("kinds", [])),
            start_event=_text("start_event", said.get("start_event", WORK_DAY)),
            notice_by=notice_rule(_text("notice_by", said.get("notice_by", ""))),
        )
    except (SourceError, UnknownNameError) as error:
        raise SourceError(f"{where}: {error}") from None


def _known(where: str, said: Mapping[str, Any], names: tuple[str, ...]) -> None:
    for name in said:
        if name not in names:
            raise SourceError(f"{where}: {name} is not known here; known are {', '.join(names)}")


def _days(name: str, value: object) -> int:
    if isinstance(value, bool) or not isinstance(value, int) or value < 0:
        raise SourceError(f"{name} = {value!r} must be a whole number of days, 0 or more")
    return value


def _text(name: str, value: object) -> str:
    if not isinstance(value, str):
        raise SourceError(f"{name} = {value!r} must be a text in quotation marks")
    return value


def _kinds(value: object) -> tuple[str, ...]:
    if not isinstance(value, list) or not all(isinstance(word, str) for word in value):
        raise SourceError(
            f'kinds = {value!r} must be a list of kinds, as ["roots", "open joint"]; an empty list means all defects'
        )
    return tuple(kind_of(word) for word in value)
