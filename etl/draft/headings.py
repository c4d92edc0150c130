"""How a column's heading is compared with what people call our fields, and which unit it says."""

import difflib
import re
import tomllib
from collections.abc import Iterable
from functools import cache
from importlib import resources

from etl.vocabulary import plain

EQUAL, PART, TYPO = 1.0, 0.75, 0.7
"""How sure a name makes us: it is the field's or a word for it; it holds one; it is nearly one."""

_LAST_WORD = 0.05
"""More, where the last word is shared: run remarks are remarks."""

_SAY_LITTLE = frozenset(("id", "no", "name", "to", "from", "at", "by", "in", "type", "what", "size", "point", "side", "way"))
"""Words that name a field where they stand alone, and nothing within a longer heading."""

_TYPO_LIKE = 0.84
_LEAST = 5
"""Shorter names are not taken for misspelt ones."""

_IN_SIGNS = re.compile(r"[(\[{][^)\]}]*[)\]}]")
_CAMEL = re.compile(r"(?<=[a-z])(?=[A-Z])")
_UNITS = {
    "ft": ("ft", "feet", "foot", "footage", "fts"),
    "m": ("m", "metre", "metres", "meter", "meters", "mtr", "mtrs", "meterage", "metreage"),
    "in": ("in", "inch", "inches"),
    "mm": ("mm", "millimetre", "millimetres", "millimeter", "millimeters"),
    "cm": ("cm",),
}
_UNIT_OF = {word: unit for unit, words in _UNITS.items() for word in words}


def words_of(heading: str) -> str:
    """A heading as it is compared: words without signs, units in brackets and case; a number sign is "no".

    >>> words_of("JobNo."), words_of("Dist. (ft)"), words_of("CLOCK_POS"), words_of("Job #")
    ('job no', 'dist', 'clock pos', 'job no')
    """
    bare = _CAMEL.sub(" ", _IN_SIGNS.sub(" ", heading)).replace("#", " no ").replace("%", " percent ")
    words = re.sub(r"[^\w]+", " ", plain(bare)).split()
    rest = [word for word in words if word not in _UNIT_OF]
    return " ".join(rest or words)


def unit_said(heading: str) -> str | None:
    """The unit that a heading says: ft, m, in, mm or cm.

    >>> unit_said("Dist. (ft)"), unit_said("depth_m"), unit_said("Footage"), unit_said("Distance")
    ('ft', 'm', 'ft', None)
    """
    words = re.sub(r"[^\w]+", " ", plain(_CAMEL.sub(" ", heading))).split()
    said = {_UNIT_OF[word] for word in words if word in _UNIT_OF}
    return said.pop() if len(said) == 1 else None


def likeness_of(heading: str, section: str, field: str) -> tuple[float, str]:
    """How sure a heading names a field, 0 to 1, and the word that it is taken for.

    >>> likeness_of("Job No.", "runs", "run"), likeness_of("Observation", "observations", "kind")
    ((1.0, 'job no'), (1.0, 'observation'))
    >>> likeness_of("Weather", "runs", "run")
    (0.0, '')
    """
    return likest_name(words_of(heading), _names_of(section, field))


def section_named(name: str, sections: Iterable[str]) -> tuple[float, str]:
    """Which of these sections a sheet's, layer's or file's name means, and how sure: (0, "") where it means none.

    >>> section_named("Sewer Laterals 2023", ["mains", "laterals"])
    (0.75, 'laterals')
    """
    found = [(likest_name(words_of(name), (plain(one), *_table()["sections"].get(one, ())))[0], one) for one in sections]
    best = max((sure for sure, _ in found), default=0.0)
    names = [one for sure, one in found if sure == best]
    return (best, names[0]) if best and len(names) == 1 else (0.0, "")


def likest_name(words: str, names: Iterable[str]) -> tuple[float, str]:
    """The likest of some names, and how sure it is."""
    return max((_likeness(words, name), name) if _likeness(words, name) else (0.0, "") for name in names)


def _likeness(words: str, name: str) -> float:
    if words == name:
        return EQUAL
    inside, given = set(name.split()), set(words.split())
    if (inside < given and name not in _SAY_LITTLE) or (len(given) > 1 and given < inside):
        return PART + (_LAST_WORD if words.rsplit(maxsplit=1)[-1] == name.rsplit(maxsplit=1)[-1] else 0.0)
    close = min(len(words), len(name)) >= _LEAST and difflib.SequenceMatcher(None, words, name).ratio() >= _TYPO_LIKE
    return TYPO if close else 0.0


@cache
def _names_of(section: str, field: str) -> tuple[str, ...]:
    table = _table()
    return (words_of(field), *table["shared"].get(field, ()), *table.get(section, {}).get(field, ()))


@cache
def _table() -> dict[str, dict[str, list[str]]]:
    """The packaged synonyms: by section (or ``shared``, ``sections``) and field."""
    return tomllib.loads(resources.files("etl.draft").joinpath("synonyms.toml").read_text(encoding="utf-8"))
