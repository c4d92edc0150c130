"""One typed note, read where that is safe: ``31.5 roots 30% at joint, 4 o'clock``. What is unsure stays a remark.

The words are those of the vocabulary of kinds, the place's own among them.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass

from etl.fields.note_numbers import Figures, figures
from sewermap.history.kinds import roles
from sewermap.history.words import folded

_PLACING = frozenset(
    ("at", "in", "near", "by", "from", "before", "after", "past", "behind", "of", "under", "above", "below", "to", "until", "on")
)  # fmt: skip
_ARTICLES = frozenset(("the", "a", "an", "this", "that", "next", "first", "last"))
_DENIALS = frozenset(
    ("no", "not", "none", "never", "without", "kein", "keine", "keinen", "nicht", "ohne", "pas", "sans", "aucun", "aucune", "sin",
     "ningun", "geen", "niet")
)  # fmt: skip
_DOUBT = _DENIALS | frozenset(
    ("free", "clear", "cleared", "clean", "gone", "removed", "cut", "maybe", "perhaps", "possible", "possibly", "probably",
     "poss", "might", "may", "could", "like", "if", "or", "prior", "previous", "previously", "former", "used", "was", "were",
     "had", "end", "ends", "ended", "start", "starts", "begin", "begins", "expected", "check")
)  # fmt: skip
"""Words that turn a kind into its absence, its past, its end or a guess; also in the commonest other languages."""

_UNITS = frozenset(
    ("ft", "feet", "foot", "'", "m", "metre", "metres", "meter", "meters", "mm", "cm", "in", "inch", "inches", '"', "°", "deg",
     "degree", "degrees")
)  # fmt: skip
_PICTURES = frozenset(("photo", "picture", "pic", "image", "film", "video"))
"""Words behind which a number is a name."""

_ANGLES = frozenset((11.25, 15.0, 22.0, 22.5, 30.0, 45.0, 60.0, 90.0))
"""Bends are made so (common practice, no source): in front of the word for a bend, the number may be its angle."""

_STOPS = frozenset(",;:?!()-")
_WORD = re.compile(r"[^\s,;:?!()-](?:[^\s,;:?!()]*[^\s,;:?!()-])?|[,;:?!()-]")
_NUMBER = re.compile(r"[0-9]+(?:[.,][0-9]+)?")
_WITH_UNIT = re.compile(r"[0-9]+(?:[.,][0-9]+)?(?:ft|m|mm|cm|in|'|\"|°)")


@dataclass(frozen=True)
class Words:
    """The words that name kinds, folded, and those among them that begin with a figure, as patterns."""

    kinds: Mapping[str, str]
    longest: int
    with_figures: tuple[re.Pattern[str], ...]


@dataclass(frozen=True)
class _Named:
    """A kind that a note names by ``text``; ``placing`` is the preposition, where it only tells where something is."""

    kind: str
    text: str
    placing: str


@dataclass(frozen=True)
class Note:
    """What a note says. ``kind`` is empty where it is not sure, and ``doubt`` then tells why; ``words`` named it.

    ``not_denied`` are the kinds whose words stand in it, unless it also holds a word such as "no".
    """

    figures: Figures
    kind: str
    words: str
    doubt: str
    not_denied: frozenset[str]

    @property
    def remark(self) -> str:
        """The note without its figures: what is left to say."""
        return " ".join(self.figures.rest.split()).strip(" ,;:-@.").replace(" ,", ",")


def words_of(kinds: Mapping[str, str]) -> Words:
    """The words that name kinds, from folded words to kinds."""
    named = [word for word in kinds if word[:1].isdigit()]
    pieces = (r"[\s_-]+".join(map(re.escape, word.split())) for word in sorted(named, key=len, reverse=True))
    patterns = tuple(re.compile(rf"(?<![0-9.,])\b{piece}\b", re.IGNORECASE) for piece in pieces)
    return Words(kinds, max((word.count(" ") + 1 for word in kinds), default=1), patterns)


def read_note(note: str, words: Words) -> Note:
    """What a typed note says, as far as it is sure.

    >>> from sewermap.history.kinds import vocabulary
    >>> read = read_note("31.5 roots 30% at joint, 4 o'clock", words_of(vocabulary().synonyms))
    >>> read.figures.reading, read.kind, read.remark
    ('31.5', 'roots', 'roots at joint')
    >>> read_note("31.5 no roots", words_of(vocabulary().synonyms)).doubt
    "'no' makes it unsure whether roots was seen"
    """
    found = figures(note, words.with_figures)
    named, left = _named(_WORD.findall(found.rest), words)
    if found.is_bare and _tells_of(float(found.reading.replace(",", ".")), named, found.rest):
        found.no_reading, found.reading = f"'{found.reading}' may be a reading, or tell of what follows it", ""
    seen = [one for one in named if not one.placing] or [one for one in named if one.placing == "at"]
    kinds = list(dict.fromkeys(one.kind for one in seen))
    doubt = found.doubt or _doubt(kinds, left)
    kind, text = ("", "") if doubt else (kinds[0], seen[0].text)
    is_denied = not _DENIALS.isdisjoint(word.casefold() for word in left)
    return Note(found, kind, text, doubt, frozenset() if is_denied else frozenset(one.kind for one in named))


def _named(tokens: list[str], words: Words) -> tuple[list[_Named], list[str]]:
    """The kinds that are named, in order, and the words that name none (an empty one where a kind stands)."""
    named: list[_Named] = []
    left: list[str] = []
    at = 0
    while at < len(tokens):
        count, kind = _longest(tokens, at, words)
        if count:
            named.append(_Named(kind, " ".join(tokens[at : at + count]), _placing(kind, left)))
        left.append("" if count else tokens[at])
        at += count or 1
    return named, left


def _longest(tokens: list[str], at: int, words: Words) -> tuple[int, str]:
    """How many words from a place on name a kind, the most that do, and the kind; none where they do not."""
    for count in range(min(words.longest, len(tokens) - at), 0, -1):
        piece = tokens[at : at + count]
        kind = None if _STOPS.intersection(piece) else words.kinds.get(folded(" ".join(piece)))
        if kind is not None:
            return count, kind
    return 0, ""


def _placing(kind: str, before: list[str]) -> str:
    """The preposition before a feature that only tells where something is (``roots at joint``), or empty."""
    if roles()[kind] != "feature":
        return ""
    words = [word.casefold() for word in before if word.casefold() not in _ARTICLES]
    return words[-1] if words and words[-1] in _PLACING else ""


def _tells_of(number: float, named: list[_Named], rest: str) -> bool:
    """Whether a bare number may count the kind behind it (``2 cracks``) or be its angle (``45 elbow``)."""
    if not named or not rest.lstrip(" -").startswith(named[0].text):
        return False
    word, kind = folded(named[0].text), named[0].kind
    is_plural = word.endswith("s") and not word.endswith("ss") and word != folded(kind)
    return (is_plural and number.is_integer()) or (kind == "bend" and number in _ANGLES)


def _doubt(kinds: list[str], left: list[str]) -> str:
    """Why it is not sure that one kind was seen, empty where it is."""
    if len(kinds) != 1:
        return f"it may be {' or '.join(kinds)}" if kinds else "no word in it names a kind"
    plain = [word.casefold() for word in left]
    odd = next((word for word in plain if word.strip(".") in _DOUBT or word == "?" or word.endswith("n't")), None)
    if odd is not None:
        return f"'{odd}' makes it unsure whether {kinds[0]} was seen"
    for before, word, after in zip(["", *plain], plain, [*plain[1:], ""], strict=False):
        is_told = _WITH_UNIT.fullmatch(word) or (_NUMBER.fullmatch(word) and (after in _UNITS or before in _PICTURES))
        if re.search("[0-9]", word) and not is_told:
            return f"it is not clear what '{word}' tells"
    return ""
