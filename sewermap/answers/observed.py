"""Placed observations as an answer: rows of the computed table in a fixed order, with the columns scripts rely on first."""

import geopandas as gpd
import pandas as pd
import sqlalchemy as sa

from sewermap.store import bulk
from sewermap.store.session import Store
from sewermap.store.tables import placed_observations

ORDER = ("lateral", "ran_on", "run", "measure_m", "observation")


def placed(store: Store, condition: sa.ColumnElement[bool] | None = None) -> gpd.GeoDataFrame:
    """Placed observations that meet a condition, ordered by lateral, day, run and measure; unplaced ones last of their run."""
    query = sa.select(placed_observations)
    if condition is not None:
        query = query.where(condition)
    with store.reading() as conn:
        rows = bulk.read(conn, query)
    return as_layer(rows.drop(columns="id").sort_values(list(ORDER), ignore_index=True), store)


def as_layer(rows: pd.DataFrame, store: Store) -> gpd.GeoDataFrame:
    """Rows with a ``geometry`` column as a GeoDataFrame in the map's CRS."""
    return gpd.GeoDataFrame(rows, geometry="geometry", crs=store.crs)
