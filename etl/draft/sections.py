"""Which sections a table is: by the columns that it has, by its shapes, and by its name."""

from dataclasses import dataclass, field

import pandas as pd

from etl.catalogue import FIELDS
from etl.draft.columns import Columns, columns_of
from etl.draft.headings import EQUAL, section_named
from etl.draft.tables import Drawn, Table

_BY_SHAPE: dict[Drawn, tuple[str, ...]] = {
    "lines": ("laterals", "mains", "streets"),
    "areas": ("parcels", "buildings"),
    "points": ("observations", "located", "referents"),
}

_NEEDS: dict[str, tuple[tuple[str, ...], ...]] = {
    "referents": (("lateral", "address"), ("name",), ("kind",), ("measure", "x")),
    "observations": (("reading",), ("kind",)),
    "located": (("lateral", "address"), ("reading",), ("x",), ("y",)),
    "legs": (("lateral", "address"), ("reading",), ("angle", "bearing")),
    "works": (("lateral", "address"), ("done_on",), ("kind",)),
    "warranties": (("lateral", "address"), ("begins_on",), ("term", "warranty")),
    "pictures": (("picture",), ("taken_at", "reading")),
    "runs": (("lateral", "address"), ("ran_on",)),
    "laterals": (("lateral",), ("main", "tie_in_distance", "material", "diameter", "installed_on")),
    "properties": (("property",), ("street", "address")),
}
"""What a table must have to be a section: one field of each group. In this order they are tried, the more telling first."""

_COORDINATES = frozenset(("x", "y"))


@dataclass
class Guess:
    """A table with the sections that it is taken for, and why; ``told`` is what else must be said of it."""

    table: Table
    sections: list[Columns] = field(default_factory=list)
    why: str = ""
    told: list[str] = field(default_factory=list)


def guessed(table: Table) -> Guess:
    """The sections that a table is, each with its columns; none, with the reason, where it could be several or is like none."""
    drawn = table.drawn
    if drawn in {"lines", "areas"}:
        return _layer(table, _BY_SHAPE[drawn], drawn)
    possible = list(_NEEDS) if drawn == "nothing" else list(_BY_SHAPE["points"])
    sure, named = section_named(table.what, possible)
    order = [named, *(one for one in possible if one != named)] if sure == EQUAL else possible
    for section in order:
        columns = columns_of(section, table.rows.cells)
        if _fits(columns, points=drawn == "points"):
            why = f"it has columns for {', '.join(name for name in columns.taken)}"
            return _with_runs(Guess(table, [columns], why)) if section == "observations" else Guess(table, [columns], why)
    return Guess(table, told=[f"no section is like it; its columns are {_listed(table.rows.cells)}", *_short_of(table, possible)])


def _layer(table: Table, possible: tuple[str, ...], drawn: str) -> Guess:
    """A layer of lines or areas: by its name, else by the one section that one of its headings names."""
    _, named = section_named(table.what, possible)
    if named:
        return Guess(table, [columns_of(named, table.rows.cells)], f"a layer of {drawn} with a name like {named}")
    found = {one: columns_of(one, table.rows.cells) for one in possible}
    best = max(columns.sure for columns in found.values())
    likely = [one for one, columns in found.items() if columns.sure == best and best >= EQUAL]
    if len(likely) == 1:
        return Guess(table, [found[likely[0]]], f"a layer of {drawn} with a column for {FIELDS[likely[0]][0].name}")
    told = f"undecided: a layer of {drawn} may be {' or '.join(possible)}; its columns are {_listed(table.rows.cells)}"
    return Guess(table, told=[told, "name the file after what it is, or write its section by hand"])


def _fits(columns: Columns, *, points: bool = False) -> bool:
    needs = [group for group in _NEEDS[columns.section] if not (points and _COORDINATES & set(group))]
    return all(columns.has(*group) for group in needs)


def _with_runs(guess: Guess) -> Guess:
    """A flat log: each row tells its run again beside what was seen; columns that change within a run are none of the run's."""
    observations, cells = guess.sections[0], guess.table.rows.cells
    key = observations.column("run")
    seen = {taken.column for name, taken in observations.taken.items() if name != "run"}
    all_of_it = columns_of("runs", cells, without=seen)
    if not _fits(all_of_it):
        return guess
    runs = columns_of("runs", cells, without=seen | _changing(cells, key))
    if not _fits(runs):
        missing = ", ".join(taken.column for name, taken in all_of_it.taken.items() if name not in runs.taken)
        within = f"one {key}" if key else "the file, and no column names the runs"
        guess.told.append(f"{missing}: more than one within {within}, so the rows cannot tell their run; name the runs apart")
        return guess
    guess.sections = [runs, observations]
    guess.why = "a flat log: each row tells its run (equal ones are one run) and what was seen"
    return guess


def _changing(cells: pd.DataFrame, key: str | None) -> set[str]:
    """Columns that say different things within one run; without names of runs, all of the table is one."""
    several = cells.nunique(dropna=False) if key is None else cells.groupby(key, sort=False).nunique(dropna=False).max()
    return {str(name) for name, count in several.items() if count > 1}


def _short_of(table: Table, possible: list[str]) -> list[str]:
    """What the two likeliest sections lack."""
    found = [columns_of(one, table.rows.cells) for one in possible]
    lacking = {one.section: ["/".join(group) for group in _NEEDS[one.section] if not one.has(*group)] for one in found}
    likely = sorted((one for one in found if one.taken), key=lambda one: (len(lacking[one.section]), -one.sure))[:2]
    return [f"for {one.section} no column is like {', '.join(lacking[one.section])}" for one in likely if lacking[one.section]]


def _listed(cells: pd.DataFrame) -> str:
    return ", ".join(cells.columns) if len(cells.columns) else "none"
