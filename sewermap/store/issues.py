"""What was said of issues and is kept through every recompute: their names, and people's joins and splits."""

import numpy as np
import pandas as pd
import sqlalchemy as sa

from sewermap.store import bulk
from sewermap.store.tables import issue_names, joins, observations, splits


def names(conn: sa.Connection) -> pd.DataFrame:
    """All names ever given, in that order: issue, lateral, founder_id (of the row that stands for the founder now)."""
    rows = bulk.read(conn, sa.select(issue_names).order_by(issue_names.c.id))
    return _with_heirs(conn, rows, "founder_id")[["issue", "lateral", "founder_id"]]


def record_names(conn: sa.Connection, fresh: pd.DataFrame) -> None:
    """Record names newly given (issue, lateral, founder_id)."""
    _append(conn, issue_names, fresh)


def words_of_people(conn: sa.Connection) -> tuple[pd.DataFrame, pd.DataFrame]:
    """The joins and the splits that people said, in that order, their rows brought up to date."""
    joined = bulk.read(conn, sa.select(joins).order_by(joins.c.id))
    split = bulk.read(conn, sa.select(splits).order_by(splits.c.id))
    for column in ("founder_id", "other_founder_id"):
        joined = _with_heirs(conn, joined, column)
    for column in ("founder_id", "observation_id"):
        split = _with_heirs(conn, split, column)
    return joined, split


def record_join(conn: sa.Connection, word: dict[str, object]) -> None:
    """Record that two issues are one: issue, other_issue, founder_id, other_founder_id, who, why."""
    _append(conn, joins, pd.DataFrame([word]))


def record_split(conn: sa.Connection, word: dict[str, object]) -> None:
    """Record that an observation is none of an issue's: issue, observation, founder_id, observation_id, who, why."""
    _append(conn, splits, pd.DataFrame([word]))


def _append(conn: sa.Connection, table: sa.Table, rows: pd.DataFrame) -> None:
    if len(rows):
        first = bulk.next_id(conn, table)
        bulk.insert(conn, table, rows.assign(id=np.arange(first, first + len(rows))))


def _with_heirs(conn: sa.Connection, rows: pd.DataFrame, column: str) -> pd.DataFrame:
    """Rows of observations that were replaced by newer versions stand for those."""
    table = observations
    replaced = bulk.read(conn, sa.select(table.c.id, table.c.replaced_by).where(table.c.replaced_by.is_not(None)))
    heir = replaced.set_index("id")["replaced_by"]
    ids = rows[column].astype("int64")
    while len(heir) and ids.isin(heir.index).any():
        ids = ids.map(heir).fillna(ids).astype("int64")
    return rows.assign(**{column: ids})
