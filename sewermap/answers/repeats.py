"""What came back after work, or was seen on days with a work between that should have mended it."""

import geopandas as gpd
import sqlalchemy as sa

from sewermap.answers.defects import COLUMNS, with_caution
from sewermap.answers.observed import as_layer
from sewermap.store import bulk
from sewermap.store.session import Store
from sewermap.store.tables import issues as table


def repeats(store: Store) -> gpd.GeoDataFrame:
    """Repeat issues, the columns of ``defects``: first what came back soonest after its work, then the others by street."""
    with store.reading() as conn:
        rows = bulk.read(conn, sa.select(*(table.c[name] for name in COLUMNS)).where(table.c.is_repeat.is_(True)))
    order = ["days_after_work", "street", "lateral", "measure_m", "issue"]
    return as_layer(with_caution(rows).sort_values(order, kind="stable", ignore_index=True), store)
