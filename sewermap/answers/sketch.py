"""Which lines a lateral might have that no map drew, with their sigma, before one is taken; and what is missing for one."""

import geopandas as gpd
import sqlalchemy as sa

from sewermap.answers.names import known_lateral
from sewermap.answers.observed import as_layer
from sewermap.store import bulk
from sewermap.store import tables as schema
from sewermap.store.session import Store

COLUMNS = (
    "lateral", "method", "taken", "length_m", "sigma_m", "starts_at", "first_bearing", "first_bearing_from", "closed_on",
    "misclosure_m", "misclosure_share", "reason", "geometry",
)  # fmt: skip


def sketch(store: Store, lateral: str) -> gpd.GeoDataFrame:
    """The candidates of one lateral (or the address that only one has), those with the least sigma first, refused ones last.

    ``sigma_m`` is the greatest along the line, ``taken`` whether the lateral's readings are placed on it: none is where a map
    draws the line. Raises UnknownNameError.
    """
    table = schema.sketches
    name = known_lateral(store, lateral)
    with store.reading() as conn:
        rows = bulk.read(conn, sa.select(*(table.c[name] for name in COLUMNS)).where(table.c.lateral == name))
    return as_layer(rows.sort_values(["sigma_m", "method"], kind="stable", ignore_index=True), store)


def has_drawn_line(store: Store, lateral: str) -> bool:
    """Whether a map draws the line of a lateral. Raises UnknownNameError."""
    name = known_lateral(store, lateral)
    query = sa.select(schema.laterals.c.method).where(schema.laterals.c.lateral == name)
    with store.reading() as conn:
        return conn.execute(query).scalar() == "drawn"
