"""The exchange form of EN 13508-2 (XML: DATA, ZA, ZB, ZC), read as far as its public description goes; see docs/exchange.md.

A file's ``ZB`` elements are runs, their ``ZC`` elements observations. Each letter is a column under its own name, and the letters
whose meaning is public also stand under our name of the field. Elements in our own namespace hold what no letter does. No
conformity with the standard is claimed.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from xml.parsers import expat

import numpy as np
import pandas as pd

from etl.problems import empty_broken
from etl.sources.rows import Rows
from sewermap.errors import SourceError
from sewermap.history.kinds import vocabulary
from sewermap.units import lengths_m

SUFFIXES = (".xml",)
OURS = "urn:sewermap:exchange:1"
"""The namespace of elements that are ours."""

RUN_LETTERS = {"AAA": "lateral", "ABF": "ran_on", "ABH": "crew", "ABI": "run", "ABS": "film", "ADE": "remark"}
OBSERVATION_LETTERS = {
    "A": "kind", "F": "remark", "G": "clock_from", "H": "clock_to", "I": "reading", "M": "picture", "N": "film_time",
}  # fmt: skip
"""The letters that are read, and the field each is."""

_AGREE_M = 0.0006
"""I is written to a millimetre, so it and the reading as typed agree within half of one."""
_SECTIONS = {"runs": ("ZB", RUN_LETTERS), "observations": ("ZC", OBSERVATION_LETTERS)}
_LEVELS = {"DATA": 1, "ZA": 2, "ZB": 2, "ZC": 3}


@dataclass
class _Element:
    """One ZB or ZC: the line it begins in, what its children say, and (of a ZC) which ZB it is in."""

    line: int
    inside: int
    said: dict[str, str] = field(default_factory=dict)
    twice: list[str] = field(default_factory=list)


def read_exchange(path: Path, layer: str | None = None) -> Rows:
    """The runs or observations (``layer``) of a file in the exchange form, in metres unless an element of ours says else.

    A row's number is the ordinal of its element, from 1. A row is broken where an element stands twice in it, or where the
    reading as typed and ``I`` differ. Raises SourceError for a file that is no well-formed XML or has another root, for one
    with a document type (it may hide entities), and for a layer other than runs and observations.
    """
    if layer not in _SECTIONS:
        raise SourceError(f"{path.name} holds runs and observations; {layer!r} is neither (layer = says which)")
    runs, observations = _parsed(path)
    run_cells = _with_run(_named(_table(runs), RUN_LETTERS))
    if layer == "runs":
        return _rows(runs, run_cells, "ZB", empty_broken())
    cells = _named(_table(observations), OBSERVATION_LETTERS)
    inside = np.array([one.inside for one in observations], dtype=np.int64)
    cells = cells.assign(run=run_cells["run"].take(inside).to_numpy(), unit=run_cells["unit"].take(inside).to_numpy())
    cells, differing = _readings(cells.astype("str"))
    return _rows(observations, _kinds(cells).drop(columns="unit"), "ZC", differing)


def unread_letters(rows: Rows, section: str, taken: set[str]) -> pd.DataFrame:
    """What a file says in elements that are no field, one line for each: row (the first), field, value, reason."""
    name, letters = _SECTIONS[section]
    left = [
        column for column in map(str, rows.cells.columns) if column.isupper() and column not in letters and column not in taken
    ]
    parts = [rows.cells[column].dropna() for column in left]
    table = {
        "row": np.array([rows.row[part.index[0]] for part in parts], dtype=np.int64),
        "field": pd.Series(left, dtype="str"),
        "value": pd.Series([part.iloc[0] for part in parts], dtype="str"),
        "reason": pd.Series(
            [
                f"{len(part)} of {len(rows.cells)} {name} say {letter}, which is no field here and is not loaded"
                for letter, part in zip(left, parts, strict=True)
            ],
            dtype="str",
        ),
    }
    return pd.DataFrame(table)


class _Reader:
    """Takes the events of the parser."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.parser = expat.ParserCreate(namespace_separator=" ")
        self.parser.buffer_text = True
        self.parser.StartDoctypeDeclHandler = self._doctype
        self.parser.StartElementHandler = self._start
        self.parser.EndElementHandler = self._end
        self.parser.CharacterDataHandler = self._text
        self.open: list[str] = []
        self.text: list[str] = []
        self.runs: list[_Element] = []
        self.observations: list[_Element] = []

    def wrong(self, sentence: str) -> SourceError:
        return SourceError(f"{self.path.name}, line {self.parser.CurrentLineNumber}: {sentence}")

    def _doctype(self, *_: object) -> None:
        raise self.wrong("a document type (<!DOCTYPE …>) is not read, since it may hide entities; take it out of the file")

    def _start(self, name: str, _attributes: Mapping[str, str]) -> None:
        self.open.append(name)
        self.text = []
        level = len(self.open)
        if level == 1 and name != "DATA":
            raise self.wrong(f"the root is {name.rsplit(maxsplit=1)[-1]}, not DATA: this is no exchange form of EN 13508-2")
        if _LEVELS.get(name, level) != level:
            raise self.wrong(f"{name} stands where none can stand (DATA holds ZA and ZB, a ZB holds ZC)")
        element = _Element(self.parser.CurrentLineNumber, len(self.runs) - 1)
        if name == "ZB":
            self.runs.append(element)
        elif name == "ZC":
            if self.open[1] != "ZB":
                raise self.wrong("ZC stands outside a ZB")
            self.observations.append(element)
        elif level == _LEVELS["ZB"] and name != "ZA":
            raise self.wrong(f"{name.rsplit(maxsplit=1)[-1]} is unknown beside ZA and ZB")
        elif level > _LEVELS["ZB"] + (2 if "ZC" in self.open else 1):
            raise self.wrong(f"{name.rsplit(maxsplit=1)[-1]} stands inside another field; a field holds text alone")

    def _end(self, name: str) -> None:
        value = "".join(self.text).strip()
        self.open.pop()
        self.text = []
        parent = self.open[-1] if self.open else ""
        if name == "ZC" or parent not in {"ZB", "ZC"}:
            return
        element = (self.runs if parent == "ZB" else self.observations)[-1]
        known = name.removeprefix(f"{OURS} ").split()[-1]
        if value and known in element.said:
            element.twice.append(known)
        elif value:
            element.said[known] = value

    def _text(self, text: str) -> None:
        self.text.append(text)


def _parsed(path: Path) -> tuple[list[_Element], list[_Element]]:
    reader = _Reader(path)
    try:
        reader.parser.Parse(path.read_bytes(), True)  # noqa: FBT003 (no keyword there: this is the end)
    except OSError as error:
        raise SourceError(f"{path.name} cannot be read: {error.strerror or error}") from None
    except (expat.ExpatError, LookupError, ValueError) as error:
        raise SourceError(f"{path.name} is no well-formed XML: {error}") from None
    return reader.runs, reader.observations


def _table(elements: list[_Element]) -> pd.DataFrame:
    return pd.DataFrame([one.said for one in elements], index=range(len(elements)), dtype="str")


def _named(cells: pd.DataFrame, letters: Mapping[str, str]) -> pd.DataFrame:
    """The letters also under our names; what an element of ours says goes first."""
    ours = {name: cells.get(name, pd.Series(np.nan, cells.index, dtype="str")) for name in letters.values()}
    ours |= {name: ours[name].fillna(cells[letter]) for letter, name in letters.items() if letter in cells}
    return cells.assign(**ours).astype("str")


def _with_run(cells: pd.DataFrame) -> pd.DataFrame:
    """A run without a name of its own is named by its line and day; its counter shows metres unless it says else."""
    made = cells["lateral"] + " " + cells["ran_on"]
    unit = cells.get("unit", pd.Series(np.nan, cells.index, dtype="str")).fillna("m")
    return cells.assign(run=cells["run"].fillna(made), unit=unit).astype("str")


def _readings(cells: pd.DataFrame) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Readings as typed where they agree with I; I, said to be metres, where nobody typed one; the rest is broken."""
    if "I" not in cells:
        return cells, empty_broken()
    in_metres, _ = lengths_m(cells["I"], "m")
    typed, _ = lengths_m(cells["reading"], cells["unit"])
    as_typed = cells["reading"].ne(cells["I"])
    foreign = ~as_typed & cells["unit"].ne("m") & np.isfinite(in_metres)
    wrong = np.asarray(as_typed & cells["I"].notna() & ~(np.abs(typed - in_metres) <= _AGREE_M))
    reading = cells["reading"].mask(foreign, cells["I"] + " m")
    reason = "I says " + cells["I"] + " m and the reading as typed " + cells["reading"] + " " + cells["unit"] + ": correct one"
    broken = pd.DataFrame(
        {"row": np.flatnonzero(wrong) + 1, "field": "reading", "value": cells["I"][wrong], "reason": reason[wrong]}
    )
    return cells.assign(reading=reading), broken.astype({"field": "str", "value": "str", "reason": "str"})


def _kinds(cells: pd.DataFrame) -> pd.DataFrame:
    """Our word for what the code says, where the file has it and it bears that code; else the code."""
    if "A" not in cells:
        return cells
    ours = vocabulary()
    code = cells["kind"].map(dict(zip(ours.names, ours.en13508, strict=True)))
    return cells.assign(kind=cells["kind"].where(cells["A"].isna() | code.eq(cells["A"]), cells["A"]).astype("str"))


def _rows(elements: list[_Element], cells: pd.DataFrame, name: str, broken: pd.DataFrame) -> Rows:
    row = np.arange(1, len(elements) + 1, dtype=np.int64)
    twice = [(at, ", ".join(one.twice)) for at, one in enumerate(elements, start=1) if one.twice]
    for at, letters in twice:
        told = {"row": [at], "field": [""], "value": [letters], "reason": [f"{letters} stands twice in one {name}"]}
        broken = pd.concat([broken, pd.DataFrame(told).astype({"field": "str", "value": "str", "reason": "str"})])
    broken = broken.sort_values("row", kind="stable", ignore_index=True)
    good = ~np.isin(row, broken["row"])
    lines = {at: f"{name} {at}, line {one.line}: " for at, one in enumerate(elements, start=1)}
    return Rows(cells[good].reset_index(drop=True), row[good], broken, lines=lines)
