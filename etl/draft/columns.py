"""Which column of a table is which field of a section: by its heading first, by what stands in it where the heading is silent."""

import math
from collections.abc import Collection
from dataclasses import dataclass, field

import pandas as pd

from etl.catalogue import FIELDS, Field
from etl.draft.content import looks_like_days, share_read, texts_in
from etl.draft.headings import EQUAL, TYPO, likeness_of
from etl.vocabulary import VOCABULARY, plain

_READABLE = 0.5
"""A column of which less than this share can be read is not taken, whatever its heading; kinds are: codes are words of nobody."""

_BY_CONTENT = 0.7
"""A column whose heading says nothing is taken for a closed list where so much of it is known."""

_WORDS = frozenset(("kind", "unit", "hand", "direction", "referent", "work"))


@dataclass(frozen=True)
class Taken:
    """A field, the column that is taken for it, why, and how sure the heading or the content makes us, 0 to 1."""

    field: str
    column: str
    why: str
    sure: float


@dataclass
class Columns:
    """The columns that a section takes of a table, and those whose heading fits while their content does not."""

    section: str
    taken: dict[str, Taken] = field(default_factory=dict)
    refused: dict[str, str] = field(default_factory=dict)

    def has(self, *names: str) -> bool:
        """Whether any of these fields has a column."""
        return any(name in self.taken for name in names)

    def column(self, name: str) -> str | None:
        """The column of a field."""
        return self.taken[name].column if name in self.taken else None

    @property
    def sure(self) -> float:
        """How sure the needed fields make us, summed."""
        return sum(self.taken[one.name].sure for one in FIELDS[self.section] if one.needed and one.name in self.taken)


def columns_of(section: str, cells: pd.DataFrame, without: Collection[str] = ()) -> Columns:
    """The columns of a table (all text) that a section would take, each for one field; ``without``: those it must not take."""
    free = [name for name in cells.columns if name not in without]
    columns = Columns(section)
    for sure, one, name in _named(section, free):
        if one.name in columns.taken or name in {taken.column for taken in columns.taken.values()}:
            continue
        share = share_read(cells[name], one)
        if not math.isnan(share) and share < _READABLE and one.reader != "kind":
            columns.refused[name] = f"its heading is like {one.name}, but only {share:.0%} of it can be read so"
            continue
        columns.taken[one.name] = Taken(one.name, name, _why(name, one, sure, share, section), sure)
    _add_by_content(columns, cells[free])
    return columns


def bearing_our_names(columns: Columns, cells: pd.DataFrame) -> list[str]:
    """Fields whose very name a column bears that is not taken for it: loading would take that column by itself."""
    names = {plain(name): name for name in cells.columns}
    found = {one.name: names.get(plain(one.name)) for one in FIELDS[columns.section]}
    return [name for name, column in found.items() if column is not None and columns.column(name) is None]


def _named(section: str, names: Collection[str]) -> list[tuple[float, Field, str]]:
    """Pairs of a field and a column whose heading is like it, the surest first; needed fields before others."""
    pairs = [(likeness_of(name, section, one.name)[0], one, name) for one in FIELDS[section] for name in names]
    return sorted((pair for pair in pairs if pair[0]), key=lambda pair: (-pair[0], not pair[1].needed))


def _why(name: str, one: Field, sure: float, share: float, section: str) -> str:
    word = likeness_of(name, section, one.name)[1]
    told = f"is our name {one.name}" if plain(name) == plain(one.name) else f"a word for it: {word}"
    if sure < EQUAL:
        told = f"misspelt {word}?" if sure == TYPO else f"is like {word}"
    if one.reader == "text" or math.isnan(share):
        return told
    return f"{told}; {share:.0%} of it can be read as {_CALLED.get(one.reader, one.reader)}"


_CALLED = {
    "counter": "a reading",
    "length": "a length",
    "level": "an elevation",
    "day": "a day",
    "clock": "a clock position",
    "percent": "percent",
    "grade": "a grade",
    "number": "a number",
    "whole": "a whole number",
    "unit": "a unit",
    "kind": "a known kind",
    "work": "a kind of work",
    "referent": "a kind of point",
}


def _add_by_content(columns: Columns, cells: pd.DataFrame) -> None:
    """Columns that no heading gave away: words of a closed list, and the only column of days."""
    for one in FIELDS[columns.section]:
        free = [name for name in cells.columns if name not in {taken.column for taken in columns.taken.values()}]
        if one.name in columns.taken or (one.reader in VOCABULARY and one.reader not in _WORDS):
            continue
        if one.reader in _WORDS:
            shares = {name: share_read(cells[name], one) for name in free if _is_words(cells[name])}
            best = max(shares, key=lambda name: shares[name], default=None)
            if best is not None and shares[best] >= _BY_CONTENT:
                told = f"{shares[best]:.0%} of what stands in it is {_CALLED.get(one.reader, one.reader)}"
                columns.taken[one.name] = Taken(one.name, best, told, shares[best] * TYPO)
        elif one.reader == "day" and one.needed:
            likely = [name for name in free if looks_like_days(cells[name])]
            if len(likely) == 1:
                columns.taken[one.name] = Taken(one.name, likely[0], "the only column of days", TYPO)


def _is_words(column: "pd.Series[str]") -> bool:
    counts = texts_in(column)
    return len(counts) > 0 and not any(text.replace(".", "").isdigit() for text in counts.index)
