"""What may be claimed, from whom, and by when it must be told. Facts, no legal advice: contracts and local law decide."""

from datetime import date

import geopandas as gpd
import numpy as np
import pandas as pd
import sqlalchemy as sa

from sewermap.answers.addresses import in_order_of_houses
from sewermap.answers.as_of import issues_on, sightings_on
from sewermap.answers.cautioned import caution_of
from sewermap.answers.observed import as_layer
from sewermap.answers.warranties_on import Warranties, today, warranties_on
from sewermap.history.warranty import claimable
from sewermap.store.session import Store

COLUMNS = (
    "warranty", "issue", "lateral", "street", "kind", "grade", "first_seen", "ends_on", "notice_by", "reason", "property",
    "address", "answerable", "cure", "measure_m", "sigma_m", "side", "state", "days_left", "acceptance_run", "is_returned",
    "caution", "x", "y", "geometry",
)  # fmt: skip
OF_ISSUE = (
    "issue", "lateral", "property", "street", "address", "kind", "grade", "measure_m", "to_measure_m", "sigma_m", "side", "state",
    "after_work", "days_after_work", "x", "y", "geometry",
)  # fmt: skip
OF_WARRANTY = ("warranty", "answerable", "cure")


def claims(store: Store, as_of: date | None = None, *, returned: bool = False) -> gpd.GeoDataFrame:
    """Issues that a warranty answers for, by what is known on a day (default today): see ``history.warranty.claimable``.

    Those that can still be told in time come first, the most urgent before the others; then those that are past, the latest
    first. ``days_left`` counts to ``notice_by``, and ``cure`` (days) from the notice. With ``returned`` also what came back after
    the very work that a warranty is for (``is_returned``). The geometry is the issue's place, in the map's CRS.
    """
    day = as_of or today()
    with store.reading() as conn:
        return claims_under(store, conn, warranties_on(conn, day), day, returned=returned)


def claims_under(store: Store, conn: sa.Connection, known: Warranties, day: date, *, returned: bool) -> gpd.GeoDataFrame:
    """The claims under the warranties that are known on the day."""
    names = known.table["lateral"].unique().tolist()
    issues = _with_return(issues_on(store, conn, day, names, OF_ISSUE), known.works)
    found = claimable(
        known.table,
        known.laterals["length_m"],
        issues,
        sightings_on(conn, day, names),
        known.coverages,
        day,
        known.rules,
        returned=returned,
    )
    rows = found.merge(issues.drop(columns="lateral"), on="issue", how="left")
    rows = rows.merge(known.table[list(OF_WARRANTY)], on="warranty", how="left")
    rows = in_order_of_houses(rows.assign(caution=caution_of(rows["kind"])), "warranty", "issue")
    days = rows["days_left"].to_numpy(float)
    order = np.lexsort([np.arange(len(rows)), np.abs(days), days < 0.0])
    return as_layer(rows.iloc[order].reset_index(drop=True)[list(COLUMNS)], store)


def _with_return(issues: pd.DataFrame, works: pd.DataFrame) -> pd.DataFrame:
    """Issues with the work they came back after, and the day of that."""
    done_on = works.set_index("work")["done_on"]
    days = pd.to_timedelta(issues["days_after_work"].to_numpy(float), unit="D")
    back = pd.to_datetime(done_on.reindex(pd.Index(issues["after_work"])).to_numpy()) + days
    return issues.assign(returned_after=issues["after_work"], returned_on=back.astype("datetime64[s]"))
