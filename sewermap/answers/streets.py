"""The roll-up by street: how much was looked at, what is open, what came back, and where it is worse than chance explains."""

from datetime import date

import pandas as pd
import sqlalchemy as sa

from sewermap.answers.due import due_laterals
from sewermap.answers.warranties_on import today, warranties_on
from sewermap.history.streets import streets as rolled_up
from sewermap.store import bulk
from sewermap.store import tables as schema
from sewermap.store.session import Store

COLUMNS = (
    "street", "laterals", "scoped", "issues", "worst_grade", "repeats", "due", "per_100_m", "never_scoped", "scoped_m",
    "ungraded", "roots", "repeat_rate", "chance", "hotspot",
)  # fmt: skip


def streets(store: Store, as_of: date | None = None) -> pd.DataFrame:
    """One row a street, in order of names; laterals without a street last.

    ``due`` counts laterals with a warranty whose check is due on a day (default today); the rest is as known now.
    """
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
        asked = due_laterals(warranties_on(conn, as_of or today()))
    rolled = rolled_up(laterals, covered, issues.assign(repeat=issues["repeat"].astype(bool)))
    street = laterals.set_index("lateral")["street"].reindex(asked)
    counts = street.groupby(street, dropna=False).size()
    return rolled.assign(due=counts.reindex(rolled["street"]).fillna(0.0).to_numpy())[list(COLUMNS)]
