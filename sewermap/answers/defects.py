"""The planner's question: which defects, by street, kind, grade, day, side, state or area.

Until sightings are matched into issues, each observed defect stands for itself: it was first and last seen by its one run.
"""

from dataclasses import dataclass, replace
from datetime import date

import geopandas as gpd
import numpy as np
import shapely
import sqlalchemy as sa

from sewermap.answers.names import street_names
from sewermap.answers.observed import placed
from sewermap.errors import UnknownNameError
from sewermap.history.kinds import kind_of, roles
from sewermap.store.session import Store
from sewermap.store.tables import placed_observations as table

COLUMNS = (
    "issue", "lateral", "property", "street", "address", "kind", "grade", "measure_m", "sigma_m", "within_m", "side",
    "side_probability", "state", "first_seen", "last_seen", "times_seen", "x", "y", "run", "reading", "unit", "reason",
    "accuracy_assumed", "geometry",
)  # fmt: skip
SIDES = ("private", "public", "undetermined", "unknown")
STATES = ("new", "same", "worse", "better", "not seen", "not looked", "mended", "returned", "all")


@dataclass(frozen=True)
class Filters:
    """What to ask for; an empty field asks for nothing in particular.

    ``grade`` means that grade or worse (5 is worst), ``since`` and ``until`` look at the last day seen, both included, ``area``
    is a layer whose shapes must hold the place.
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
    """Observed defects that pass the filters, ordered by street, lateral, day and measure.

    Raises UnknownNameError for a street, kind, side or state that is not known.
    """
    _check(filters)
    rows = placed(store, sa.and_(*_conditions(filters, _streets(store, filters))))
    rows["state"] = "new"
    rows["first_seen"] = rows["last_seen"] = rows["ran_on"]
    rows["times_seen"] = 1
    if filters.state not in (None, "all", "new"):
        rows = rows.iloc[:0]
    if filters.area is not None:
        rows = _inside(rows, filters.area)
    rows = rows.sort_values(["street", "lateral", "last_seen", "measure_m", "issue"], kind="stable", ignore_index=True)
    return rows[list(COLUMNS)]


def ungraded(store: Store, filters: Filters) -> int:
    """How many defects a grade filter leaves out because nobody graded them; unknown is not good news, so it is told."""
    if filters.grade is None:
        return 0
    conditions = [*_conditions(replace(filters, grade=None), _streets(store, filters)), table.c.grade.is_(None)]
    with store.reading() as conn:
        return int(conn.execute(sa.select(sa.func.count()).select_from(table).where(*conditions)).scalar_one())


def _streets(store: Store, filters: Filters) -> list[str] | None:
    """The street's name as it is written in the database, whatever the case it was asked in."""
    return None if filters.street is None else street_names(store, filters.street)


def _conditions(filters: Filters, streets: list[str] | None) -> list[sa.ColumnElement[bool]]:
    conditions: list[sa.ColumnElement[bool]] = [table.c.role == "defect"]
    if streets is not None:
        conditions.append(table.c.street.in_(streets))
    if filters.kind is not None:
        conditions.append(table.c.kind == kind_of(filters.kind))
    if filters.grade is not None:
        conditions.append(table.c.grade >= filters.grade)
    if filters.since is not None:
        conditions.append(table.c.ran_on >= filters.since)
    if filters.until is not None:
        conditions.append(table.c.ran_on <= filters.until)
    if filters.side is not None:
        conditions.append(table.c.side.is_(None) if filters.side == "unknown" else table.c.side == filters.side)
    return conditions


def _check(filters: Filters) -> None:
    if filters.kind is not None and roles()[kind_of(filters.kind)] != "defect":
        raise UnknownNameError(f"'{filters.kind}' is a {roles()[kind_of(filters.kind)]}, not a defect")
    for name, value, known in (("side", filters.side, SIDES), ("state", filters.state, STATES)):
        if value is not None and value not in known:
            raise UnknownNameError(f"'{value}' is no {name}; known are {', '.join(known)}")


def _inside(rows: gpd.GeoDataFrame, area: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Rows whose place lies in one of the area's shapes, its edge included."""
    if rows.crs is None:
        return rows
    shape = area.to_crs(rows.crs).geometry.union_all()
    return rows[np.asarray(shapely.intersects(rows.geometry.to_numpy(), shape), dtype=bool)]
