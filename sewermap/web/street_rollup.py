"""The roll-up by street as ``sewermap streets`` answers it, with the number of each street's file."""

import pandas as pd

from sewermap.history.streets import streets
from sewermap.web.site_index import SiteIndex
from sewermap.web.site_tables import SiteTables

COLUMNS = (
    "street", "laterals", "scoped", "issues", "worst_grade", "repeats", "due", "per_100_m", "never_scoped", "scoped_m",
    "ungraded", "roots", "repeat_rate", "chance", "hotspot",
)  # fmt: skip
"""The columns of ``sewermap streets``."""


def rollup(tables: SiteTables, index: SiteIndex) -> pd.DataFrame:
    """One row a street in order of names, laterals without a street last, under no name; ``number`` is that of its file."""
    # In a fixed order: sums of the same lengths in another order may differ in their last digit.
    laterals = tables.laterals[["lateral", "street"]].sort_values("lateral", kind="stable")
    covered = tables.run_coverages[["lateral", "from_measure_m", "to_measure_m"]]
    issues = tables.issues[["lateral", "kind", "grade", "state"]].assign(
        repeat=tables.issues["is_repeat"].eq(True).fillna(False).astype(bool),  # noqa: FBT003 - a value, no argument
        work=tables.issues["mending_work"],
    )
    rolled = streets(laterals, covered.sort_values(list(covered.columns), kind="stable"), issues)
    asked = tables.due.loc[tables.due["state"] == "due", "lateral"].drop_duplicates()
    street = laterals.set_index("lateral")["street"].reindex(asked)
    counts = street.groupby(street, dropna=False).size()
    due = counts.reindex(rolled["street"]).fillna(0.0).to_numpy()
    return rolled.assign(due=due)[list(COLUMNS)].assign(number=index.street_rows(rolled["street"]))
