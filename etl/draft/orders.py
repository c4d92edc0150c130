"""Units and days of a strange table: what its headings and values prove, and what they leave open."""

import re
from dataclasses import dataclass

import pandas as pd

from etl.catalogue import FIELDS
from etl.draft.columns import Columns
from etl.draft.content import texts_in
from etl.draft.headings import unit_said
from etl.fields.dates import days
from sewermap.errors import LengthError
from sewermap.units import length_m

_FEET = re.compile(r"\d\s*(?:ft|feet|foot|['’′])", re.IGNORECASE)
_METRES = re.compile(r"\d\s*(?:m|metres?|meters?)\b", re.IGNORECASE)
_YEAR_LAST = re.compile(r"\d{1,2}[-/]\d{1,2}[-/]\d{2,4}(?:\D.*)?")
_BARE = re.compile(r"[\d.,]+")


@dataclass(frozen=True)
class Said:
    """What was found, or "" where it is undecided; and the reason of either."""

    value: str
    why: str


def counter_unit(columns: list[Columns], cells: pd.DataFrame) -> Said:
    """The unit in which counters were read: by the headings of readings, else by signs in their cells."""
    names = [taken.column for one in columns for taken in one.taken.values() if _reader(one.section, taken.field) == "counter"]
    said = {name: unit_said(name) for name in names}
    units = {unit for unit in said.values() if unit in ("ft", "m")}
    if len(units) == 1:
        unit = units.pop()
        return Said(str(unit), f"the heading {next(name for name in names if said[name] == unit)!r} says so")
    if units:
        return Said("", "undecided: one heading says feet, another metres")
    if not names:
        return Said("", "undecided: no column of readings")
    texts = pd.Series([text for name in names for text in texts_in(cells[name]).index], dtype="str")
    signs = {"ft": texts.str.contains(_FEET), "m": texts.str.contains(_METRES)}
    for unit, found in signs.items():
        if len(texts) and found.all():
            return Said(unit, f"all readings carry it, as {texts.iloc[0]!r}")
    return Said("", f"undecided: neither the heading {names[0]!r} nor the readings say whether they are feet or metres")


def length_unit(columns: Columns) -> Said:
    """The unit of the other lengths of a section, by their headings; metres need no word."""
    names = [taken.column for taken in columns.taken.values() if _reader(columns.section, taken.field) in ("length", "level")]
    units = {unit_said(name) for name in names}
    feet = [name for name in names if unit_said(name) == "ft"]
    if units == {"ft"}:
        return Said("ft", f"the heading {feet[0]!r} says so")
    if feet:
        return Said("", f"{', '.join(feet)} say feet, other lengths do not: bare numbers are metres unless unit says otherwise")
    return Said("", "")


def bare_diameters(column: "pd.Series[str]", heading: str) -> tuple[dict[str, str], str]:
    """Diameters without a unit, with the one that the heading says; and what is to be told where it says none."""
    bare = [text for text in texts_in(column).index if _BARE.fullmatch(text)]
    unit = unit_said(heading)
    if not bare or unit is None:
        return {}, f"undecided: {heading} has bare numbers; a diameter needs its unit, as 100 mm or 4 in" if bare else ""
    return {text: f"{text} {unit}" for text in bare if _is_length(text, unit)}, f"the heading {heading!r} says {unit}"


def day_order(columns: list[Columns], cells: pd.DataFrame) -> Said:
    """Whether the month or the day comes first, where days are written with slashes and their values decide it."""
    names = [taken.column for one in columns for taken in one.taken.values() if _reader(one.section, taken.field) == "day"]
    texts = pd.Series([text for name in names for text in texts_in(cells[name]).index], dtype="str")
    texts = texts[texts.str.fullmatch(_YEAR_LAST)]
    if texts.empty:
        return Said("", "")
    not_month_first, not_day_first = (days(texts, order)[1].notna() for order in ("mdy", "dmy"))
    only_month_first = texts[not_day_first & ~not_month_first]
    only_day_first = texts[not_month_first & ~not_day_first]
    if len(only_month_first) and len(only_day_first):
        proofs = f"{only_month_first.iloc[0]} has the month first, {only_day_first.iloc[0]} the day"
        return Said("", f"undecided: {proofs}; two programs wrote this file: write its days as 2024-05-31")
    if len(only_month_first):
        return Said("mdy", f"{only_month_first.iloc[0]} can only have the month first")
    if len(only_day_first):
        return Said("dmy", f"{only_day_first.iloc[0]} can only have the day first")
    month_first, day_first = (days(texts, order)[0] for order in ("mdy", "dmy"))
    two = texts[month_first != day_first]
    return Said("", f"undecided: {two.iloc[0]} could be two days" if len(two) else "")


def _reader(section: str, name: str) -> str:
    return next(one.reader for one in FIELDS[section] if one.name == name)


def _is_length(text: str, unit: str) -> bool:
    try:
        return length_m(text, unit) > 0
    except LengthError:
        return False
