"""The planner's question: which defects, by street, kind, grade, day, side, state or area. A defect is an issue."""

from dataclasses import dataclass, replace
from datetime import date

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
import sqlalchemy as sa

from sewermap.answers.cautioned import caution_of
from sewermap.answers.names import street_names
from sewermap.answers.observed import as_layer
from sewermap.errors import UnknownNameError
from sewermap.history.kinds import Vocabulary, kind_of, vocabulary
from sewermap.history.life import MENDED, STATES
from sewermap.store import bulk, recorded
from sewermap.store.session import Store
from sewermap.store.tables import issues as table

COLUMNS = (
    "issue", "lateral", "property", "street", "address", "kind", "grade", "crew_grade", "own_grade", "grade_why", "percent",
    "measure_m", "to_measure_m", "sigma_m", "within_m", "side", "side_probability", "state", "first_seen", "last_seen",
    "times_seen", "is_repeat", "after_work", "after_work_kind", "days_after_work", "growth_low", "growth_high", "x", "y",
    "accuracy_assumed", "geometry",
)  # fmt: skip
"""Columns of the table; ``with_caution`` adds the last one."""

SIDES = ("private", "public", "undetermined", "unknown")
ALL = "all"
ORDER = ("street", "lateral", "measure_m", "issue")


@dataclass(frozen=True)
class Filters:
    """What to ask for; an empty field asks for nothing in particular.

    ``grade`` means that grade or worse (5 is worst), ``since`` and ``until`` look at the last day seen, both included, ``area``
    is a layer whose shapes must hold the place. Without a ``state``, all but mended ones.
    """

    street: str | None = None
    kind: str | None = None
    grade: int | None = None
    since: date | None = None
    until: date | None = None
    side: str | None = None
    state: str | None = None
    area: gpd.GeoDataFrame | None = None


def defects(store: Store, filters: Filters = Filters()) -> gpd.GeoDataFrame:
    """Issues that pass the filters, ordered by street, lateral and measure.

    Raises UnknownNameError for a street, kind, side or state that is not known.
    """
    wanted = conditions(store, filters)
    shape = None if filters.area is None else filters.area.to_crs(store.crs).geometry.union_all()
    with store.reading() as conn:
        if shape is not None:
            wanted.append(bulk.in_box(conn, table, shape.bounds))
        rows = bulk.read(conn, sa.select(*(table.c[name] for name in COLUMNS)).where(*wanted))
    found = as_layer(with_caution(rows), store)
    if shape is not None:
        # The edge of the area is part of it.
        found = found[np.asarray(shapely.intersects(found.geometry.to_numpy(), shape), dtype=bool)]
    return found.sort_values(list(ORDER), kind="stable", ignore_index=True)


def with_caution(rows: pd.DataFrame) -> pd.DataFrame:
    """Issues with ``caution`` as their last column but the geometry: what must be said of a suspected cross-bore."""
    return rows.assign(caution=caution_of(rows["kind"]), geometry=rows.pop("geometry"))


def ungraded(store: Store, filters: Filters) -> int:
    """How many issues a grade filter leaves out because they have no grade; unknown is not good news, so it is told."""
    if filters.grade is None:
        return 0
    wanted = [*conditions(store, replace(filters, grade=None)), table.c.grade.is_(None)]
    with store.reading() as conn:
        return int(conn.execute(sa.select(sa.func.count()).select_from(table).where(*wanted)).scalar_one())


def conditions(store: Store, filters: Filters) -> list[sa.ColumnElement[bool]]:
    """The filters as SQL; each column asked for has an index."""
    asked: list[sa.ColumnElement[bool]] = []
    if filters.street is not None:
        # As it is written in the database, whatever the case it was asked in.
        asked.append(table.c.street.in_(street_names(store, filters.street)))
    if filters.kind is not None:
        asked.append(table.c.kind == _defect(filters.kind, store))
    if filters.grade is not None:
        asked.append(table.c.grade >= filters.grade)
    if filters.since is not None:
        asked.append(table.c.last_seen >= filters.since)
    if filters.until is not None:
        asked.append(table.c.last_seen <= filters.until)
    if filters.side is not None:
        side = _one_of("side", filters.side, SIDES)
        asked.append(table.c.side.is_(None) if side == "unknown" else table.c.side == side)
    if filters.state is None:
        asked.append(table.c.state != STATES[MENDED])
    elif _one_of("state", filters.state, (*STATES, ALL)) != ALL:
        asked.append(table.c.state == filters.state)
    return asked


def _defect(typed: str, store: Store) -> str:
    """The defect that a word means, in the place's own language too."""
    words = vocabulary_of(store)
    kind = kind_of(typed, words)
    if words.roles[kind] != "defect":
        raise UnknownNameError(f"'{typed}' is a {words.roles[kind]}, not a defect")
    return kind


def vocabulary_of(store: Store) -> Vocabulary:
    """The vocabulary with the place's own words."""
    with store.reading() as conn:
        return vocabulary(recorded.rules(conn).get("kinds"))


def _one_of(what: str, value: str, known: tuple[str, ...]) -> str:
    if value not in known:
        raise UnknownNameError(f"'{value}' is no {what}; known are {', '.join(known)}")
    return value
