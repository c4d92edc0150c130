"""Recorded tables: what files said, row by row, and which file says it now.

The words: a row is *current* while nobody withdrew or replaced it. A file (a path in one section) *says* the rows that its
newest content holds. All functions work inside the caller's transaction.
"""

from collections.abc import Iterable, Mapping

import numpy as np
import pandas as pd
import sqlalchemy as sa
from numpy.typing import NDArray

from sewermap.store import bulk
from sewermap.store.tables import file_says, place_rules, source_files


def is_current(table: sa.Table) -> sa.ColumnElement[bool]:
    """The condition that holds for rows that are neither withdrawn nor replaced."""
    return sa.and_(table.c.withdrawn_in.is_(None), table.c.replaced_by.is_(None))


def current(conn: sa.Connection, table: sa.Table, columns: Iterable[str] | None = None) -> pd.DataFrame:
    """The current rows of a recorded table in order of id, all columns or the named ones."""
    names = [column.name for column in table.c] if columns is None else list(columns)
    return bulk.read(conn, sa.select(*(table.c[name] for name in names)).where(is_current(table)).order_by(table.c.id))


def with_source(conn: sa.Connection, table: sa.Table) -> pd.DataFrame:
    """The current rows with ``source_file``, the path of the file that each was loaded from."""
    query = (
        sa.select(*table.c, source_files.c.path.label("source_file"))
        .join_from(table, source_files, table.c.loaded_in == source_files.c.id)
        .where(is_current(table))
        .order_by(table.c.id)
    )
    return bulk.read(conn, query)


def file_versions(conn: sa.Connection, files: pd.DataFrame) -> NDArray[np.int64]:
    """The id of each file version (columns path, section, sha256); versions not seen before are recorded."""
    identity = ["path", "section", "sha256"]
    known = bulk.read(conn, sa.select(source_files).order_by(source_files.c.id))
    merged = files[identity].merge(known, on=identity, how="left")
    unseen = merged["id"].isna()
    if unseen.any():
        fresh = merged.loc[unseen, identity].drop_duplicates()
        first = bulk.next_id(conn, source_files)
        fresh.insert(0, "id", np.arange(first, first + len(fresh)))
        bulk.insert(conn, source_files, fresh)
        merged = files[identity].merge(pd.concat([known, fresh]), on=identity, how="left")
    return merged["id"].to_numpy(np.int64)


def said(conn: sa.Connection, table: sa.Table, section: str, columns: Iterable[str]) -> pd.DataFrame:
    """What each file says in a section: ``say_id``, ``path``, ``row_id`` and the named columns of the row."""
    query = (
        sa.select(file_says.c.id.label("say_id"), source_files.c.path, file_says.c.row_id, *(table.c[name] for name in columns))
        .join_from(file_says, source_files, file_says.c.file_id == source_files.c.id)
        .join(table, table.c.id == file_says.c.row_id)
        .where(source_files.c.section == section)
        .order_by(file_says.c.id)
    )
    return bulk.read(conn, query)


def say(conn: sa.Connection, file_ids: NDArray[np.int64], row_ids: NDArray[np.int64]) -> None:
    """Note that file versions say rows (pairs)."""
    if len(row_ids):
        first = bulk.next_id(conn, file_says)
        ids = np.arange(first, first + len(row_ids))
        bulk.insert(conn, file_says, pd.DataFrame({"id": ids, "file_id": file_ids, "row_id": row_ids}))


def unsay(conn: sa.Connection, say_ids: NDArray[np.int64]) -> None:
    """Forget that files say rows: their newest content does not."""
    bulk.delete_ids(conn, file_says, say_ids)


def append(conn: sa.Connection, table: sa.Table, rows: pd.DataFrame) -> NDArray[np.int64]:
    """Add rows to a recorded table and return the ids they got, in their order."""
    first = bulk.next_id(conn, table)
    ids = np.arange(first, first + len(rows), dtype=np.int64)
    if len(rows):
        bulk.insert(conn, table, rows.assign(id=ids))
    return ids


def replace(conn: sa.Connection, table: sa.Table, old_ids: NDArray[np.int64], new_ids: NDArray[np.int64]) -> None:
    """Mark rows as replaced by newer ones (pairs)."""
    if len(old_ids):
        bulk.set_columns(conn, table, old_ids, replaced_by=new_ids)


def withdraw(conn: sa.Connection, table: sa.Table, ids: NDArray[np.int64], file_ids: NDArray[np.int64]) -> None:
    """Mark rows as withdrawn by the file versions that no longer say them (pairs)."""
    if len(ids):
        bulk.set_columns(conn, table, ids, withdrawn_in=file_ids)


def rules(conn: sa.Connection) -> dict[str, str]:
    """The place's own rule files in force, as text by name: the last recorded of each name."""
    rows = conn.execute(sa.select(place_rules.c.name, place_rules.c.content).order_by(place_rules.c.id))
    return {row.name: row.content for row in rows}


def record_rules(conn: sa.Connection, given: Mapping[str, str]) -> bool:
    """Record rule files whose text is new; tells whether any was."""
    before = rules(conn)
    changed = {name: text for name, text in given.items() if before.get(name) != text}
    if changed:
        first = bulk.next_id(conn, place_rules)
        ids = np.arange(first, first + len(changed))
        bulk.insert(conn, place_rules, pd.DataFrame({"id": ids, "name": list(changed), "content": list(changed.values())}))
    return bool(changed)
