"""Cells that hold a word of a closed list: kinds, units, directions, reasons, kinds of works, hands, lists of kinds."""

import re
from collections.abc import Callable
from functools import partial

import numpy as np
import pandas as pd
import pyproj

from etl.vocabulary import VOCABULARY, near, our_word
from sewermap.errors import LengthError, SourceError, UnknownNameError
from sewermap.history.kinds import Vocabulary, kind_of
from sewermap.history.warranty_terms import notice_rule
from sewermap.units import unit_of


class UnreadableError(ValueError):
    """A cell that cannot be read; its text says why. Never leaves the stage."""


def by_unique(texts: "pd.Series[str]", read: Callable[[str], str]) -> tuple["pd.Series[str]", "pd.Series[str]"]:
    """A column read word by word, each different word once; and why a cell cannot be read (NaN where fine)."""
    codes, unique = pd.factorize(texts)
    words: list[object] = []
    reasons: list[object] = []
    for text in unique:
        try:
            words.append(read(str(text)))
            reasons.append(np.nan)
        except (UnreadableError, UnknownNameError, LengthError) as error:
            words.append(np.nan)
            reasons.append(str(error))
    return _taken(words, codes, texts), _taken(reasons, codes, texts)


def reader_of(reader: str, vocabulary: Vocabulary) -> Callable[[str], str]:
    """The function that reads a word of a closed list; kinds by the place's own words too."""
    if reader in {"kind", "kinds"}:
        return partial(READERS[reader], vocabulary=vocabulary)
    return READERS[reader]


def kinds(text: str, vocabulary: Vocabulary | None = None) -> str:
    """A list of kinds, separated by commas or semicolons, in our words.

    >>> kinds("Roots; crack")
    'roots, crack'
    """
    return ", ".join(kind_of(word, vocabulary) for word in re.split("[,;]", text) if word.strip())


def term(text: str) -> str:
    """A duration of ISO 8601 in years, months, weeks and days, such as P1Y.

    >>> term("p2y")
    'P2Y'
    """
    found = re.fullmatch(r"P(?:(\d+)Y)?(?:(\d+)M)?(?:(\d+)W)?(?:(\d+)D)?", text.upper())
    if found is None or not any(int(number or 0) for number in found.groups()):
        raise UnreadableError(f"'{text}' is no term; write one year as P1Y, 18 months as P18M, 90 days as P90D (ISO 8601)")
    return text.upper()


def notice(text: str) -> str:
    """The rule by when notice must be given.

    >>> notice("p30d After END")
    'P30D after end'
    """
    try:
        return notice_rule(text)
    except SourceError as error:
        raise UnreadableError(str(error)) from None


def crs(text: str) -> str:
    """A text that names a coordinate reference system."""
    try:
        pyproj.CRS.from_user_input(text)
    except pyproj.exceptions.CRSError:
        raise UnreadableError(f"'{text}' is no coordinate reference system; write it as EPSG:26910") from None
    return text


def _word(vocabulary: str, text: str) -> str:
    word = our_word(vocabulary, text)
    if word is None:
        raise UnreadableError(f"'{text}' is not known here; {near(text, VOCABULARY[vocabulary])}")
    return word


def _unit(text: str) -> str:
    return unit_of(text)


def _taken(words: list[object], codes: "np.ndarray[tuple[int], np.dtype[np.intp]]", texts: "pd.Series[str]") -> "pd.Series[str]":
    return pd.Series(np.array([*words, np.nan], dtype=object)[codes], index=texts.index, dtype="str")


READERS: dict[str, Callable[..., str]] = {
    "unit": _unit,
    "kind": kind_of,
    "kinds": kinds,
    "term": term,
    "notice": notice,
    "crs": crs,
    **{name: partial(_word, name) for name in VOCABULARY},
}
"""How each closed list is read."""
