"""Computed tables: what can be dropped and built again to the same rows.

Rows bear the id of the recorded row they were computed from, so a rebuilt table equals one that grew load by load.
"""

from collections.abc import Collection
from dataclasses import replace

import pandas as pd
import sqlalchemy as sa

from sewermap.line.counter_model import CounterModel
from sewermap.line.place_rules import PlaceRules
from sewermap.store import bulk
from sewermap.store.tables import (
    counter_settings,
    issue_sightings,
    issues,
    lateral_states,
    laterals,
    placed_observations,
    run_coverages,
    sketches,
)

PER_LATERAL = (placed_observations, run_coverages, laterals, issues, issue_sightings, lateral_states)


def replace_laterals(conn: sa.Connection, names: Collection[str] | None, frames: dict[str, pd.DataFrame]) -> None:
    """Put the computed rows of some laterals (None: of all) in the place of what was computed of them before.

    ``frames``: by table name, new rows for exactly these laterals.
    """
    for table in PER_LATERAL:
        if names is None:
            bulk.delete(conn, table, None)
        else:
            bulk.delete_named(conn, table, table.c.lateral, names)
        bulk.insert(conn, table, frames[table.name])


def replace_sketches(conn: sa.Connection, rows: pd.DataFrame) -> None:
    """Put these sketches in the place of all that there were: they are few, and told apart by nothing but what they are."""
    bulk.delete(conn, sketches, None)
    bulk.insert(conn, sketches, rows)


def model_in_force(conn: sa.Connection, rules: PlaceRules) -> CounterModel:
    """The rules' counter model with the figures that were kept when places were last computed."""
    kept = read_counter_settings(conn)
    return replace(rules.counter, **dict(zip(kept["name"], kept["value"].astype(float), strict=True)))


def set_counter_settings(conn: sa.Connection, rows: pd.DataFrame) -> None:
    """Keep the figures of the counter model in force: name, value, origin."""
    bulk.delete(conn, counter_settings, None)
    bulk.insert(conn, counter_settings, rows.assign(id=range(1, len(rows) + 1)))


def read_counter_settings(conn: sa.Connection) -> pd.DataFrame:
    """The figures of the counter model in force: name, value, origin; empty before anything was placed."""
    return bulk.read(conn, sa.select(counter_settings).order_by(counter_settings.c.id))
