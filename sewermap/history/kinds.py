"""The canonical kinds of observations, read from kinds.toml beside this file."""

import difflib
import tomllib
from functools import cache
from importlib import resources

from sewermap.errors import UnknownNameError


@cache
def roles() -> dict[str, str]:
    """Each kind with its role: ``defect``, ``feature`` or ``look``."""
    table = _table()
    return {
        name: role
        for section, role in (("defects", "defect"), ("features", "feature"), ("look", "look"))
        for name in table[section]["names"]
    }


@cache
def referent_kinds() -> frozenset[str]:
    """Kinds that name a point every lateral has, so that seeing one is a fix even when no referent is named."""
    return frozenset(_table()["features"]["referents"])


def kind_of(word: str) -> str:
    """The canonical kind that a word names, whatever its case and spacing.

    Raises UnknownNameError, which names the nearest known kinds.

    >>> kind_of("  Clean-Out ")
    'clean-out'
    """
    plain = " ".join(word.split()).casefold()
    if plain in roles():
        return plain
    raise UnknownNameError(f"'{word}' is no known kind; {nearest_kinds(plain)}")


def nearest_kinds(word: str) -> str:
    """A clause that helps with an unknown word: the nearest known kinds."""
    return "the nearest known are " + ", ".join(difflib.get_close_matches(word, roles(), n=3, cutoff=0.0))


@cache
def _table() -> dict[str, dict[str, list[str]]]:
    text = resources.files("sewermap.history").joinpath("kinds.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)
