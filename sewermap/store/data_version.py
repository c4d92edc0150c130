"""Whether a database has changed since it was last looked at: a short text that is another one after each commit."""

import hashlib
from pathlib import Path

import sqlalchemy as sa

from sewermap.store.session import Store
from sewermap.store.tables import metadata

_CHANGE_COUNTER = slice(24, 28)
"""Where a SQLite file counts its transactions: <https://www.sqlite.org/fileformat2.html>, section 1.3.7."""

_DIGITS = 16


def data_version(store: Store) -> str:
    """The version of all that the database holds, as a short text.

    A GeoPackage is not opened for it: its size, its time and the count of transactions in its first bytes are looked at. A
    PostgreSQL database tells how many rows each table has and which transactions wrote them. Raises StoreError.
    """
    told = _of_server(store) if store.dialect == "postgresql" else _of_file(Path(store.where))
    return hashlib.sha256(repr(told).encode()).hexdigest()[:_DIGITS]


def _of_file(path: Path) -> list[object]:
    with path.open("rb") as file:
        counter = file.read(_CHANGE_COUNTER.stop)[_CHANGE_COUNTER]
    # Another program may have switched the file to a write-ahead log: then commits go there first.
    log = path.with_name(path.name + "-wal")
    return [counter, *_size_and_time(path), *(_size_and_time(log) if log.exists() else ())]


def _size_and_time(path: Path) -> tuple[int, int]:
    told = path.stat()
    return told.st_size, told.st_mtime_ns


def _of_server(store: Store) -> list[object]:
    """Rows of each table, with the sum and the highest of the transactions that wrote them (xmin stays when rows are frozen)."""
    with store.reading() as conn:
        return [tuple(conn.execute(_fingerprint(table)).one()) for table in metadata.sorted_tables]


def _fingerprint(table: sa.Table) -> sa.Select[int, int, int]:
    wrote = sa.cast(sa.cast(sa.literal_column("xmin"), sa.Text), sa.BigInteger)
    return sa.select(sa.func.count(), sa.func.sum(wrote), sa.func.max(wrote)).select_from(table)
