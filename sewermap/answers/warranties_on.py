"""The warranties in force on a day with their states, and what these were told from: what due, claims and streets start with."""

from dataclasses import dataclass
from datetime import date

import pandas as pd
import sqlalchemy as sa

from sewermap.answers.as_of import coverages_on, works_on
from sewermap.history.warranty import checked, in_force
from sewermap.history.warranty_rules import WarrantyRules, warranty_rules
from sewermap.store import bulk, recorded
from sewermap.store import tables as schema

OF_LATERAL = ("lateral", "property", "street", "address", "length_m")
DUE, NOT_YET = "due", "not yet"


@dataclass(frozen=True)
class Warranties:
    """``table``: the columns of ``in_force`` and of ``checked``, one row a warranty. ``laterals``: theirs, by name: property,
    street, address, length_m. ``coverages`` and ``works``: of these laterals, until the day.
    """

    table: pd.DataFrame
    laterals: pd.DataFrame
    coverages: pd.DataFrame
    works: pd.DataFrame
    rules: WarrantyRules


def today() -> date:
    """The day where the user is."""
    return date.today()  # noqa: DTZ011 (the user's own day is meant)


def warranties_on(conn: sa.Connection, as_of: date) -> Warranties:
    """The warranties begun on or before a day, also those that are over, as they stood at its end.

    Works count that were done until then. Raises SourceError for a recorded term that cannot be read.
    """
    rules = warranty_rules(recorded.rules(conn).get("warranties"))
    every = works_on(conn, as_of)
    table = in_force(recorded.current(conn, schema.warranties), every, rules, as_of)
    names = table["lateral"].unique().tolist()
    lines = schema.laterals
    query = sa.select(*(lines.c[name] for name in OF_LATERAL)).where(bulk.any_of(conn, lines.c.lateral, names))
    laterals = bulk.read(conn, query).set_index("lateral")
    coverages = coverages_on(conn, as_of, names)
    states = checked(table, laterals["length_m"], coverages, as_of, rules)
    return Warranties(
        table=pd.concat([table, states.drop(columns="warranty").set_axis(table.index)], axis="columns"),
        laterals=laterals,
        coverages=coverages,
        works=every[every["lateral"].isin(names)],
        rules=rules,
    )
