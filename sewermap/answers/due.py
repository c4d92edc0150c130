"""Which warranties ask for a check: what is due on a day or soon will be, in the order in which a van can drive it."""

from datetime import date, timedelta

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
import sqlalchemy as sa

from sewermap.answers.addresses import in_order_of_houses
from sewermap.answers.as_of import issues_on
from sewermap.answers.cautioned import cautions_where
from sewermap.answers.observed import as_layer
from sewermap.answers.warranties_on import DUE, NOT_YET, Warranties, today, warranties_on
from sewermap.cautions import CROSS_BORE
from sewermap.history.life import MENDED, STATES
from sewermap.line.tour import shortened
from sewermap.store import bulk
from sewermap.store import tables as schema
from sewermap.store.session import Store

COLUMNS = (
    "warranty", "lateral", "property", "street", "begins_on", "ends_on", "check_from", "check_by", "state", "days_left",
    "last_run_on", "open_issues", "address", "answerable", "work", "start_event", "cure", "from_measure_m", "to_measure_m",
    "left_to_look", "checked_on", "checked_by", "note", "caution", "stop", "x", "y", "geometry",
)  # fmt: skip
WITHIN_DAYS = 60


def due(
    store: Store, as_of: date | None = None, *, within: int = WITHIN_DAYS, all_states: bool = False, route: bool = False
) -> gpd.GeoDataFrame:
    """Warranties whose check is due on a day (default today) or whose window opens within so many days; by street and house.

    With ``all_states`` every warranty that had begun by then, also checked and lapsed ones. With ``route`` by a tour that keeps
    near ones together, as the crow flies; ``stop`` counts its laterals. ``days_left`` counts to ``check_by``; ``open_issues`` and
    ``last_run_on`` are the lateral's, as known on the day. The geometry is the middle of the lateral, in the map's CRS.
    """
    day = as_of or today()
    with store.reading() as conn:
        known = warranties_on(conn, day)
        rows = known.table if all_states else known.table[_asked(known.table, day, within)]
        names = rows["lateral"].unique().tolist()
        issues = issues_on(store, conn, day, names, ("lateral", "kind", "state"))
        lines = schema.laterals
        shapes = bulk.read(conn, sa.select(lines.c.lateral, lines.c.geometry).where(bulk.any_of(conn, lines.c.lateral, names)))
    rows = _with_place(_with_lateral(rows, known, issues), shapes)
    rows = in_order_of_houses(rows, "check_by", "warranty")
    rows = _along_a_tour(rows) if route else rows
    return as_layer(rows[[name for name in COLUMNS if name != "stop" or route]], store)


def due_laterals(known: Warranties) -> "pd.Series[str]":
    """The laterals of which a warranty is due, each once."""
    table = known.table
    return table.loc[table["state"] == DUE, "lateral"].drop_duplicates()


def _asked(table: pd.DataFrame, day: date, within: int) -> "pd.Series[bool]":
    soon = pd.Timestamp(day) + timedelta(days=within)
    return (table["state"] == DUE) | ((table["state"] == NOT_YET) & (table["check_from"] <= soon))


def _with_lateral(rows: pd.DataFrame, known: Warranties, issues: pd.DataFrame) -> pd.DataFrame:
    """Rows with whose lateral it is, when it was last looked at, and what is open there."""
    still_open = issues[issues["state"] != STATES[MENDED]]
    looked = known.coverages[known.coverages["from_measure_m"].notna()]
    lateral = pd.Index(rows["lateral"])
    bored = rows["lateral"].isin(still_open.loc[still_open["kind"] == CROSS_BORE, "lateral"])
    return rows.assign(
        **{name: known.laterals[name].reindex(lateral).set_axis(rows.index) for name in ("property", "street", "address")},
        last_run_on=looked.groupby("lateral")["ran_on"].max().reindex(lateral).to_numpy("datetime64[s]"),
        open_issues=still_open.groupby("lateral").size().reindex(lateral).fillna(0.0).to_numpy(float),
        caution=cautions_where(bored),
    )


def _with_place(rows: pd.DataFrame, shapes: pd.DataFrame) -> pd.DataFrame:
    """Rows with the middle of their lateral."""
    at = pd.Index(shapes["lateral"]).get_indexer(rows["lateral"])
    lines = np.append(shapes["geometry"].to_numpy(object), np.array([None], dtype=object))[at]
    middle = shapely.line_interpolate_point(lines, 0.5, normalized=True)
    return rows.assign(x=shapely.get_x(middle), y=shapely.get_y(middle), geometry=middle)


def _along_a_tour(rows: pd.DataFrame) -> pd.DataFrame:
    """Rows in the order of a short way past all laterals; those of one lateral are one stop. What has no place comes last."""
    stops = rows.drop_duplicates("lateral")
    placed = stops[stops["x"].notna()]
    curve = gpd.GeoSeries(placed["geometry"].to_numpy()).hilbert_distance().to_numpy() if len(placed) else np.zeros(0)
    order = np.argsort(curve, kind="stable")
    order = order[shortened(placed[["x", "y"]].to_numpy(float)[order])]
    names = [*placed["lateral"].iloc[order], *stops.loc[stops["x"].isna(), "lateral"]]
    numbers = pd.Series(np.arange(1.0, len(names) + 1.0), index=names)
    stop = numbers.reindex(pd.Index(rows["lateral"])).to_numpy(float)
    return rows.assign(stop=stop).sort_values("stop", kind="stable", ignore_index=True)
