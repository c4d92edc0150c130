"""What stands in a column: which share of it can be read as a field asks, and the words of it that are none of ours."""

import re
from collections.abc import Callable

import numpy as np
import pandas as pd

from etl.catalogue import LENGTHS, Field
from etl.fields.dates import days
from etl.fields.numbers import numbers
from etl.fields.words import by_unique, reader_of
from etl.vocabulary import VOCABULARY
from sewermap.history.kinds import Vocabulary, vocabulary
from sewermap.history.words import folded, likeness, pairs_of_letters
from sewermap.units import lengths_m

_LOOKED_AT = 2_000
"""So many different texts of a column are looked at."""

_NUMBERS = frozenset(("clock", "percent", "grade", "number", "whole"))
_WORDS = frozenset(("kind", "kinds", "unit", "crs", "term", *VOCABULARY))
_NEAR = 0.4
"""Words that are less alike than this are not proposed for each other."""

_DAY_LIKE = re.compile(r"\d{4}[-/.]\d{1,2}[-/.]\d{1,2}.*|\d{1,2}[-/.]\d{1,2}[-/.]\d{2,4}.*|.*[^\W\d_]{3,}.*\d{4}.*")


def texts_in(column: "pd.Series[str]") -> "pd.Series[int]":
    """The different texts of a column with their counts, the most frequent first, at most the first 2,000."""
    return column.dropna().value_counts().head(_LOOKED_AT)


def share_read(column: "pd.Series[str]", field: Field) -> float:
    """Which share of the filled cells can be read as the field asks, 0 to 1; NaN for an empty column, 1 for fields of text.

    >>> from etl.catalogue import Field
    >>> share_read(pd.Series(["roots", "crack", "xyz", None], dtype="str"), Field("kind", "kind")).__round__(2)
    0.67
    """
    counts = texts_in(column)
    if counts.empty:
        return float("nan")
    reasons = _reasons(pd.Series(counts.index, dtype="str"), field.reader)
    return float(counts.to_numpy()[reasons.isna().to_numpy()].sum() / counts.sum())


def looks_like_days(column: "pd.Series[str]") -> bool:
    """Whether all of a column is written as days are, whatever their order; a bare number is no day."""
    counts = texts_in(column)
    return len(counts) > 0 and all(_DAY_LIKE.fullmatch(text) for text in counts.index)


def unknown_words(column: "pd.Series[str]", field: Field) -> dict[str, tuple[int, str]]:
    """The words of a column that its closed list lacks: how often each stands there, and the likest word of ours, or empty."""
    if field.reader not in {"kind", "unit", *VOCABULARY}:
        return {}
    counts = texts_in(column)
    reasons = _reasons(pd.Series(counts.index, dtype="str"), field.reader).to_numpy(object)
    lost = [(str(word), int(count)) for word, count, why in zip(counts.index, counts, reasons, strict=True) if why == why]  # noqa: PLR0124 (NaN)
    return {word: (count, likest(word, field.reader)) for word, count in lost}


def likest(word: str, reader: str, words: Vocabulary | None = None) -> str:
    """Our word most like theirs, by pairs of letters or because theirs holds it; empty where none is near.

    >>> likest("rot ball", "kind"), likest("heavy root mass", "kind"), likest("QQ7", "kind")
    ('roots', 'roots', '')
    """
    known = (words or vocabulary()).synonyms if reader == "kind" else _synonyms(reader)
    theirs, letters = folded(word), pairs_of_letters(folded(word))
    inside = [one for one in known if len(one) > len("abc") and re.search(rf"\b{re.escape(one)}s?\b", theirs)]
    if inside:
        return known[max(inside, key=len)]
    best = max(known, key=lambda one: likeness(letters, pairs_of_letters(one)), default="")
    return known[best] if best and likeness(letters, pairs_of_letters(best)) >= _NEAR else ""


def _synonyms(reader: str) -> dict[str, str]:
    return {folded(one): ours for ours, theirs in VOCABULARY.get(reader, {}).items() for one in theirs}


def _reasons(texts: "pd.Series[str]", reader: str) -> "pd.Series[str]":
    """Why each text cannot be read; missing where it can. A day that could be two can be read, once its order is said."""
    if reader == "day":
        return _either_order(texts)
    if reader in LENGTHS:
        return lengths_m(texts, "ft")[1]
    if reader in _NUMBERS:
        return numbers(texts, reader)[1]
    if reader in _WORDS:
        read: Callable[[str], str] = reader_of(reader, vocabulary())
        return by_unique(texts, read)[1]
    return pd.Series(np.full(len(texts), np.nan, dtype=object), dtype="str")


def _either_order(texts: "pd.Series[str]") -> "pd.Series[str]":
    month_first, day_first = (days(texts, order)[1] for order in ("mdy", "dmy"))
    return month_first.where(day_first.notna())
