"""The roll-up by street: how much was looked at, what is open, what came back, and where it is worse than chance explains."""

import pandas as pd
import sqlalchemy as sa

from sewermap.history.streets import streets as rolled_up
from sewermap.store import bulk
from sewermap.store import tables as schema
from sewermap.store.session import Store

COLUMNS = (
    "street", "laterals", "scoped", "issues", "worst_grade", "repeats", "due", "per_100_m", "never_scoped", "scoped_m",
    "ungraded", "roots", "repeat_rate", "chance", "hotspot",
)  # fmt: skip


def streets(store: Store) -> pd.DataFrame:
    """One row a street, in order of names; laterals without a street last. ``due`` is empty until warranties are told."""
    issue, coverage = schema.issues, schema.run_coverages
    with store.reading() as conn:
        laterals = bulk.read(conn, sa.select(schema.laterals.c.lateral, schema.laterals.c.street))
        covered = bulk.read(conn, sa.select(coverage.c.lateral, coverage.c.from_measure_m, coverage.c.to_measure_m))
        issues = bulk.read(
            conn,
            sa.select(
                issue.c.lateral,
                issue.c.kind,
                issue.c.grade,
                issue.c.state,
                issue.c.is_repeat.label("repeat"),
                issue.c.mending_work.label("work"),
            ),
        )
    rolled = rolled_up(laterals, covered, issues.assign(repeat=issues["repeat"].astype(bool)))
    return rolled.assign(due=pd.Series([None] * len(rolled), dtype="float64"))[list(COLUMNS)]
