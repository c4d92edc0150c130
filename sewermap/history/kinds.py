"""The kinds of observations: what each word means, what it may turn into, what mends it, how well it is seen.

All of it is read from kinds.toml beside this file; a place's own file (``[rules] kinds`` of a SOURCES.toml) adds words.
Tables by kind are arrays in the fixed order of the kinds' names, so that a kind's code is its index.
"""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cache, lru_cache
from importlib import resources
from types import MappingProxyType
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sewermap.errors import SourceError, UnknownNameError
from sewermap.history.words import folded, likeness, pairs_of_letters, with_plural

Flags = NDArray[np.bool_]
Floats = NDArray[np.float64]

NEAREST = 3
"""How many known kinds an unknown word is told."""


@dataclass(frozen=True, eq=False)
class Vocabulary:
    """The K kinds in fixed order, and what is known of each.

    names: the kinds; ``roles``: by kind, ``defect``, ``feature`` or ``look``; ``what``: what each means, in a clause.
    is_defect, spreads (it may run along the line), code_from_memory: flags, shape (K,).
    size: the measure of size that applies: ``percent`` (of the bore), ``degrees``, ``mm`` or empty.
    turns_into: shape (K, K), the probability that what was noted as kind i is noted as kind j a while later or by another
    crew; rows sum to 1, the diagonal is above a half, kinds of different roles never meet.
    mended_by: by kind of work, flags of shape (K,). seen_under_water: shape (K,), the probability that it is seen though the
    camera is under water.
    en13508: main code of EN 13508-2 as an outward reference, or empty. caution: what must be told with it, or empty.
    synonyms: by folded word (``sewermap.history.words``), the kind it means.
    """

    names: tuple[str, ...]
    roles: Mapping[str, str]
    what: tuple[str, ...]
    is_defect: Flags
    spreads: Flags
    size: tuple[str, ...]
    turns_into: Floats
    mended_by: Mapping[str, Flags]
    seen_under_water: Floats
    en13508: tuple[str, ...]
    code_from_memory: Flags
    caution: tuple[str, ...]
    referents: frozenset[str]
    synonyms: Mapping[str, str]

    def code(self, word: str) -> int:
        """The index of the kind that a word names. Raises UnknownNameError for a word that names none."""
        return self.names.index(kind_of(word, self))

    def codes(self, kinds: "pd.Series[str]") -> NDArray[np.intp]:
        """The index of each kind of a column (canonical names). Raises UnknownNameError for any that is not one of them.

        >>> vocabulary().codes(pd.Series(["crack", "open crack"])).tolist()
        [0, 1]
        """
        codes = pd.Index(self.names).get_indexer(pd.Index(kinds))
        if (codes < 0).any():
            strange = kinds.iloc[int(np.argmin(codes))]
            raise UnknownNameError(f"'{strange}' is no known kind; {nearest_kinds(str(strange), self)}")
        return codes

    def words_of(self, kind: str) -> tuple[str, ...]:
        """Every folded word that means a kind, its name among them.

        >>> "root ball" in vocabulary().words_of("roots")
        True
        """
        return tuple(word for word, means in self.synonyms.items() if means == kind)


@lru_cache(maxsize=16)
def vocabulary(extra: str | None = None) -> Vocabulary:
    r"""The vocabulary; ``extra`` is the text of a place's own file, which adds words, also of other languages, to known kinds.

    Raises SourceError for a text that is no TOML or holds anything but ``[words]``, for a word that already means another
    kind, and for a kind that is not known.

    >>> kind_of("WURZELN", vocabulary('[words]\n"Wurzeln" = "roots"'))
    'roots'
    """
    ours = _ours()
    return ours if extra is None else replace(ours, synonyms=MappingProxyType(_with_words(ours, extra)))


@cache
def roles() -> dict[str, str]:
    """Each kind with its role: ``defect``, ``feature`` or ``look``."""
    return dict(_ours().roles)


@cache
def referent_kinds() -> frozenset[str]:
    """Kinds that name a point every lateral has, so that seeing one is a fix even when no referent is named."""
    return _ours().referents


def kind_of(word: str, vocabulary: Vocabulary | None = None) -> str:
    """The canonical kind that a word names, whatever its case, hyphens and spacing.

    Raises UnknownNameError, which names the nearest known kinds.

    >>> kind_of("  Clean-Out "), kind_of("root ball"), kind_of("belly")
    ('clean-out', 'roots', 'sag')
    """
    known = vocabulary or _ours()
    kind = known.synonyms.get(folded(word))
    if kind is None:
        raise UnknownNameError(f"'{word}' is no known kind; {nearest_kinds(word, known)}")
    return kind


def nearest_kinds(word: str, vocabulary: Vocabulary | None = None) -> str:
    """A clause that helps with an unknown word: the nearest known kinds, with the word of theirs that is like it.

    >>> nearest_kinds("rot ball")
    "the nearest known are roots (as 'root ball'), ..."
    """
    known = vocabulary or _ours()
    letters = pairs_of_letters(folded(word))
    likest: dict[str, tuple[float, str]] = {}  # of each kind the word most like the given one: less is liker
    for one, kind in known.synonyms.items():
        rank = (-likeness(letters, pairs_of_letters(one)), one)
        likest[kind] = min(rank, likest.get(kind, rank))
    kinds = sorted(likest, key=likest.__getitem__)[:NEAREST]
    return "the nearest known are " + ", ".join(_told(kind, likest[kind][1]) for kind in kinds)


def _told(kind: str, word: str) -> str:
    return kind if word == folded(kind) else f"{kind} (as '{word}')"


def _with_words(ours: Vocabulary, text: str) -> dict[str, str]:
    """The words of a place's own file beside ours."""
    synonyms = dict(ours.synonyms)
    for word, meant in _words_given(text).items():
        if not isinstance(meant, str):
            raise SourceError(f'the word \'{word}\' must be given one kind, as in "{word}" = "roots", not {meant!r}')
        try:
            kind = kind_of(meant, ours)
        except UnknownNameError as error:
            raise SourceError(f"the word '{word}' cannot mean '{meant}': {error}") from None
        plain = folded(word)
        if not plain:
            raise SourceError(f"{word!r}, which should mean {kind}, is no word")
        if synonyms.setdefault(plain, kind) != kind:
            raise SourceError(
                f"the word '{word}' cannot mean {kind}: it already means {synonyms[plain]}; "
                "where some files use it otherwise, say so in their section's [observations.values.kind]"
            )
    return synonyms


def _words_given(text: str) -> dict[str, Any]:
    try:
        said = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise SourceError(f"the words for kinds are no valid TOML: {error}") from None
    words = said.pop("words", {})
    if said or not isinstance(words, dict):
        raise SourceError(
            'a file of words for kinds holds one table, [words], with lines as "root wad" = "roots", and nothing else'
        )
    return words


@cache
def _ours() -> Vocabulary:
    """The packaged vocabulary."""
    table = tomllib.loads(resources.files("sewermap.history").joinpath("kinds.toml").read_text(encoding="utf-8"))
    kinds: dict[str, dict[str, Any]] = table["kinds"]
    names = tuple(kinds)
    kind_roles = {name: str(kind["role"]) for name, kind in kinds.items()}
    return Vocabulary(
        names=names,
        roles=MappingProxyType(kind_roles),
        what=_column(kinds, "what", ""),
        is_defect=_fixed(np.array([role == "defect" for role in kind_roles.values()])),
        spreads=_fixed(np.array(_column(kinds, "spreads", default=False))),
        size=_column(kinds, "size", ""),
        turns_into=_fixed(_turns_into(kinds, table["anything_else"])),
        mended_by=MappingProxyType(_mended_by(kinds, table["works"])),
        seen_under_water=_fixed(np.array(_column(kinds, "seen_under_water", 1.0), dtype=float)),
        en13508=_column(kinds, "en13508", ""),
        code_from_memory=_fixed(np.array(_column(kinds, "code_from_memory", default=False))),
        caution=_column(kinds, "caution", ""),
        referents=frozenset(name for name, kind in kinds.items() if kind.get("referent", False)),
        synonyms=MappingProxyType(_synonyms(kinds)),
    )


def _column(kinds: dict[str, dict[str, Any]], key: str, default: Any) -> tuple[Any, ...]:
    return tuple(kind.get(key, default) for kind in kinds.values())


def _fixed(array: Any) -> Any:
    """An array that nobody can change: all callers share it."""
    array.setflags(write=False)
    return array


def _turns_into(kinds: dict[str, dict[str, Any]], anything_else: float) -> Floats:
    """Shares by pairs of kinds: what is listed, a little for any other kind of the same role, and the rest stays what it is."""
    names, role = list(kinds), np.array(_column(kinds, "role", ""))
    same_role = (role[:, None] == role[None, :]) & ~np.eye(len(names), dtype=bool)
    shares = same_role * (anything_else / same_role.sum(axis=1, keepdims=True))
    for at, kind in enumerate(kinds.values()):
        for other, share in kind.get("turns_into", {}).items():
            shares[at, names.index(other)] += share
    return np.asarray(shares + np.diag(1.0 - shares.sum(axis=1)))


def _mended_by(kinds: dict[str, dict[str, Any]], works: dict[str, list[str]]) -> dict[str, Flags]:
    """By kind of work, which kinds it mends."""
    every = set(works["mend_every_defect"])
    mending = [
        (every if kind["role"] == "defect" else set()) - set(kind.get("mended_not", ())) | set(kind.get("mended_by", ()))
        for kind in kinds.values()
    ]
    return {work: _fixed(np.array([work in of_kind for of_kind in mending])) for work in works["kinds"]}


def _synonyms(kinds: dict[str, dict[str, Any]]) -> dict[str, str]:
    """By folded word the kind it means; the kinds' own names go first, so that a plural of another never takes them."""
    synonyms = {folded(name): name for name in kinds}
    for name, kind in kinds.items():
        for word in with_plural([name, *kind["words"]]):
            synonyms.setdefault(folded(word), name)
    return synonyms
