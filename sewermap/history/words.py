"""How words are compared: without regard to case, hyphens and blanks; and which known word a strange one is most like."""

from collections.abc import Iterable
from functools import lru_cache

_BLANKS = str.maketrans({"_": " ", "-": " ", "‐": " ", "‑": " ", "–": " ", "’": "'"})
_AROUND = " .,:;!?\"'()"


def folded(word: str) -> str:
    """A word as it is compared: case, hyphens, low lines, runs of blanks and signs around it do not matter.

    >>> folded(' Root_Ball. ') == folded("root-ball") == folded("ROOT  BALL")
    True
    """
    return " ".join(word.translate(_BLANKS).split()).strip(_AROUND).casefold()


def with_plural(words: Iterable[str]) -> list[str]:
    """English words, each followed by its plural in s where it does not end so already.

    >>> with_plural(["root ball", "roots"])
    ['root ball', 'root balls', 'roots']
    """
    return [one for word in words for one in ((word,) if word.endswith("s") else (word, word + "s"))]


@lru_cache(maxsize=4096)
def pairs_of_letters(word: str) -> frozenset[str]:
    """The pairs of neighbouring letters of a folded word, its two ends included.

    >>> sorted(pairs_of_letters("sag"))
    [' s', 'ag', 'g ', 'sa']
    """
    framed = f" {word} "
    return frozenset(framed[at : at + 2] for at in range(len(framed) - 1))


def likeness(one: frozenset[str], other: frozenset[str]) -> float:
    """How like two words are by their pairs of letters, 0 to 1 (coefficient of Dice, 1945): twice the shared over the sum.

    >>> round(likeness(pairs_of_letters("rots"), pairs_of_letters("roots")), 3)
    0.909
    """
    return 2.0 * len(one & other) / (len(one) + len(other))
