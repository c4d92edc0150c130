"""The closed lists of words that a field may hold, and the other ways in which people write them.

Words of the trade (common practice, no source). The kinds of observations are not here: see ``sewermap.history.kinds``.
"""

import difflib
from collections.abc import Iterable

_TO_MAIN = ("to main", "to the main", "towards main", "towards the main", "main", "downstream", "down", "with the flow")
_TO_HOUSE = ("to house", "to the house", "house", "upstream", "up", "against the flow")
_TO_BUILDING = ("to building", "to the building", "towards building", "towards the building", "building", *_TO_HOUSE)

VOCABULARY: dict[str, dict[str, tuple[str, ...]]] = {
    "direction": {"to main": _TO_MAIN, "to building": _TO_BUILDING},
    "reason": {word: (word,) for word in ("acceptance", "check", "complaint", "sale", "work", "other")},
    "work": {
        "cleaning": ("cleaning", "cleaned", "jetting"),
        "root cutting": ("root cutting", "roots cut"),
        "spot repair": ("spot repair", "point repair"),
        "relining": ("relining", "relined", "lining"),
        "replacement": ("replacement", "replaced"),
        "other": ("other",),
    },
    "referent": {
        "tie-in": ("tie-in", "tie in"),
        "property line": ("property line", "boundary"),
        "clean-out": ("clean-out", "clean out", "cleanout"),
        "bend": ("bend",),
        "building": ("building", "house"),
    },
    "hand": {"left": ("left", "l"), "right": ("right", "r")},
    "main end": {"start": ("start", "its start", "beginning"), "end": ("end", "its end")},
}
"""Each list: our word, and all ways to write it (ours among them)."""

EVERY_LINE_HAS = ("building", "tie-in", "property line")
"""Names of referents that need no row of their own."""


def fold(text: str) -> str:
    """A name or word without regard to case and to runs of blanks.

    >>> fold("  14  Alder STREET ")
    '14 alder street'
    """
    return " ".join(text.split()).casefold()


def plain(text: str) -> str:
    """As fold, and a low line or hyphen is a blank: how names of columns and sections are compared.

    >>> plain("Launch_Reading") == plain("launch reading") == plain("launch-reading")
    True
    """
    return fold(text.replace("_", " ").replace("-", " "))


def our_word(vocabulary: str, word: str) -> str | None:
    """Our word for theirs, or None when the list has none.

    >>> our_word("direction", "Upstream")
    'to building'
    >>> our_word("direction", "sideways") is None
    True
    """
    wanted = plain(word)
    for ours, theirs in VOCABULARY[vocabulary].items():
        if wanted in {plain(one) for one in theirs}:
            return ours
    return None


def near(word: str, known: Iterable[str]) -> str:
    """A clause that helps with a misspelt word: the nearest known ones, else all of them.

    >>> near("lateral_", ["lateral", "street"])
    'did you mean lateral?'
    >>> near("zzz", ["lateral", "street"])
    'known are lateral, street'
    """
    names = {plain(name): name for name in known}
    close = difflib.get_close_matches(plain(word), names, n=3, cutoff=0.6)
    if close:
        return f"did you mean {' or '.join(names[name] for name in close)}?"
    return "known are " + ", ".join(names.values()) if names else "there is none"
