"""What was known on a day: whatever is dated after it is left out, and issues live only as far as that day.

The clusters of sightings are those of today (a later run may have told which sightings are one issue), and so are their
places; but which of them there were, how they were last seen, how bad, and what had been done, is as of the day.
"""

from collections.abc import Collection
from datetime import date

import numpy as np
import pandas as pd
import sqlalchemy as sa

from sewermap.follow.issue_rows import OF_SIGHTING, Story, issue_tables
from sewermap.history.grading import grade_table
from sewermap.history.kinds import vocabulary
from sewermap.history.life_rules import life_rules
from sewermap.line.known_points import laterals_from_computed
from sewermap.line.place_rules import rules_from_texts
from sewermap.store import bulk, recorded
from sewermap.store import tables as schema
from sewermap.store.session import Store

OF_COVERAGE = ("run", "lateral", "ran_on", "from_measure_m", "to_measure_m")
OF_SEEN = ("issue", "run", "ran_on")
ALL = tuple(column.name for column in schema.issues.c)


def last_day(conn: sa.Connection) -> date | None:
    """The last day on which anything happened to a line: of runs and works, those announced for later ones too."""
    ran = conn.execute(sa.select(sa.func.max(schema.run_coverages.c.ran_on))).scalar()
    works = schema.works
    done = conn.execute(sa.select(sa.func.max(works.c.done_on)).where(recorded.is_current(works))).scalar()
    return max((day for day in (ran, done) if day is not None), default=None)


def works_on(conn: sa.Connection, as_of: date, laterals: Collection[str] | None = None) -> pd.DataFrame:
    """Current works done on or before the day, of the named laterals (None: of all)."""
    table = schema.works
    wanted = [recorded.is_current(table), table.c.done_on <= as_of, *_of(conn, table.c.lateral, laterals)]
    return bulk.read(conn, sa.select(table).where(*wanted).order_by(table.c.work))


def coverages_on(conn: sa.Connection, as_of: date, laterals: Collection[str] | None = None) -> pd.DataFrame:
    """What runs on or before the day passed: run, lateral, ran_on, from_measure_m, to_measure_m, reason."""
    table, runs = schema.run_coverages, schema.runs
    query = (
        sa.select(*(table.c[name] for name in OF_COVERAGE), runs.c.reason)
        .join_from(table, runs, table.c.id == runs.c.id)
        .where(table.c.ran_on <= as_of, *_of(conn, table.c.lateral, laterals))
    )
    return bulk.read(conn, query.order_by(table.c.run))


def issues_on(
    store: Store, conn: sa.Connection, as_of: date, laterals: Collection[str] | None = None, columns: Collection[str] = ALL
) -> pd.DataFrame:
    """The issues of the named laterals (None: of all) as they were at the end of a day, by columns of the table ``issues``.

    From the last day in the database on, these are the rows of the table; for an earlier day they are told again.
    """
    table, latest = schema.issues, last_day(conn)
    if latest is None or as_of >= latest:
        query = sa.select(*(table.c[name] for name in columns)).where(*_of(conn, table.c.lateral, laterals))
        return bulk.read(conn, query.order_by(table.c.id))
    return issues_told_again(store, conn, as_of, laterals)[list(columns)]


def issues_told_again(store: Store, conn: sa.Connection, as_of: date, laterals: Collection[str] | None) -> pd.DataFrame:
    """The issues at the end of a day, by columns of their table."""
    return tables_told_again(store, conn, as_of, laterals)["issues"][list(ALL)]


def tables_told_again(
    store: Store, conn: sa.Connection, as_of: date, laterals: Collection[str] | None = None
) -> dict[str, pd.DataFrame]:
    """Issues and lateral_states at the end of a day, told from the sightings, runs and works until then, by the functions that
    loading uses.
    """
    table, lines = schema.placed_observations, schema.laterals
    of_laterals = _of(conn, table.c.lateral, laterals)
    columns = [table.c[name] for name in (*OF_SIGHTING, "role", "issue")]
    wanted = [table.c.ran_on <= as_of, table.c.role.in_(("defect", "look")), *of_laterals]
    seen = bulk.read(conn, sa.select(*columns).where(*wanted).order_by(table.c.id))
    rules = recorded.rules(conn)
    rows = bulk.read(conn, sa.select(lines).where(*_of(conn, lines.c.lateral, laterals)))
    told = issue_tables(
        _story(seen, coverages_on(conn, as_of, laterals), works_on(conn, as_of, laterals)),
        laterals_from_computed(rows, store.metres_per_unit, rules_from_texts(rules)),
        life_rules(vocabulary(rules.get("kinds"))),
        grade_table(rules.get("grades")),
    )
    # Whose a lateral without a line is, its issues alone tell.
    names = [schema.issues.c[name] for name in ("issue", "property", "street", "address")]
    of_issues = _of(conn, schema.issues.c.lateral, laterals)
    owner = bulk.read(conn, sa.select(*names).where(*of_issues)).set_index("issue").reindex(told["issues"]["issue"])
    told["issues"] = told["issues"].assign(**{str(name): owner[name].to_numpy() for name in owner})
    return told


def sightings_on(conn: sa.Connection, as_of: date, laterals: Collection[str] | None = None) -> pd.DataFrame:
    """Which run saw which issue on or before the day: issue, run, ran_on."""
    table = schema.issue_sightings
    wanted = [table.c.ran_on <= as_of, *_of(conn, table.c.lateral, laterals)]
    return bulk.read(conn, sa.select(*(table.c[name] for name in OF_SEEN)).where(*wanted).order_by(table.c.id))


def _story(seen: pd.DataFrame, coverages: pd.DataFrame, works: pd.DataFrame) -> Story:
    defects = seen[seen["issue"].notna().to_numpy()].reset_index(drop=True)
    cluster, names = pd.factorize(defects["issue"], sort=True)
    looks = seen[(seen["role"] == "look").to_numpy()][["run", "kind", "measure_m", "to_measure_m"]]
    return Story(
        sightings=defects[list(OF_SIGHTING)].assign(cluster=cluster.astype(np.int64)),
        coverages=coverages,
        looks=looks.reset_index(drop=True),
        works=works,
        names=pd.Series(names, dtype="str"),
    )


def _of(conn: sa.Connection, column: sa.ColumnElement[str], laterals: Collection[str] | None) -> list[sa.ColumnElement[bool]]:
    return [] if laterals is None else [bulk.any_of(conn, column, laterals)]
