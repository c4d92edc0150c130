"""Checks as a calendar must show them: those ahead and open, and those that an older calendar may still show in vain."""

from datetime import date

import geopandas as gpd
import pandas as pd
import sqlalchemy as sa

from sewermap.answers.as_of import works_on
from sewermap.answers.due import due
from sewermap.answers.observed import as_layer
from sewermap.answers.warranties_on import NOT_YET, today
from sewermap.history.warranty import in_force, warranty_rules
from sewermap.history.warranty_terms import day_of
from sewermap.store import bulk, recorded
from sewermap.store import tables as schema
from sewermap.store.session import Store

WITHDRAWN = "withdrawn"
"""The state of a warranty that was recorded once, and that nobody says any more."""

OF_VERSION = ("warranty", "lateral", "begins_on", "ends_on", "check_from", "check_by", "answerable", "start_event")


def checks_ahead(store: Store, as_of: date | None = None) -> gpd.GeoDataFrame:
    """Warranty checks that stand in a calendar on a day (default today) or later: columns of ``due``, by the day they begin.

    Beside the states of ``due``, ``withdrawn``: a warranty that no file says any more, or a work's that is no longer opened.
    A check that is over is left out, unless an earlier version of its warranty said a later day, which an older calendar shows;
    for the same reason a warranty stays that was moved and has not begun yet.
    """
    day = as_of or today()
    rows = due(store, day, all_states=True)
    with store.reading() as conn:
        versions, to_come = _versions(conn, day), _to_come(conn, day)
    last = versions.groupby("warranty")["check_by"].max()
    shown = rows[last.reindex(pd.Index(rows["warranty"])).to_numpy("datetime64[s]") >= day_of(day)]
    gone = versions[~versions["warranty"].isin(rows["warranty"]) & (versions["check_by"].to_numpy() >= day_of(day))]
    gone = gone.drop_duplicates("warranty", keep="last")
    moved = to_come[to_come["warranty"].isin(gone["warranty"])].assign(state=NOT_YET)
    gone = gone[~gone["warranty"].isin(moved["warranty"])].assign(state=WITHDRAWN)
    more = pd.concat([moved, gone])[[*OF_VERSION, "state"]]
    more["days_left"] = (more["check_by"] - pd.Timestamp(day)).dt.days
    told = pd.concat([shown, more.reindex(columns=shown.columns).astype(shown.dtypes)]) if len(more) else shown
    told = told.sort_values(["check_from", "warranty"], kind="stable", ignore_index=True)
    return as_layer(told, store)


def _versions(conn: sa.Connection, day: date) -> pd.DataFrame:
    """All that was ever recorded of warranties begun by the day, and all that works ever opened; the newest version last."""
    rules = warranty_rules(recorded.rules(conn).get("warranties"))
    said = bulk.read(conn, sa.select(schema.warranties).order_by(schema.warranties.c.id))
    works = bulk.read(conn, sa.select(schema.works).where(schema.works.c.done_on <= day).order_by(schema.works.c.id))
    spoken, opened = in_force(said, works.iloc[:0], rules, day), in_force(said.iloc[:0], works, rules, day)
    return pd.concat([spoken, opened], ignore_index=True)


def _to_come(conn: sa.Connection, day: date) -> pd.DataFrame:
    """The warranties that begin after the day."""
    rules = warranty_rules(recorded.rules(conn).get("warranties"))
    table = in_force(recorded.current(conn, schema.warranties), works_on(conn, day), rules, date.max)
    return table[table["begins_on"].to_numpy() > day_of(day)]
