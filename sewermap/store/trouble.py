"""From an engine's error to a sentence: what a user sees when the database will not open, read or write."""

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager

import psycopg
import sqlalchemy as sa

from sewermap.errors import BusyError, StoreError

_PRIMARY_CODE = 0xFF
_SQLITE = {
    sqlite3.SQLITE_BUSY: "busy",
    sqlite3.SQLITE_LOCKED: "busy",
    sqlite3.SQLITE_READONLY: "read-only",
    sqlite3.SQLITE_PERM: "read-only",
    sqlite3.SQLITE_CANTOPEN: "read-only",
    sqlite3.SQLITE_FULL: "full",
    sqlite3.SQLITE_IOERR: "disk",
    sqlite3.SQLITE_CORRUPT: "damaged",
    sqlite3.SQLITE_NOTADB: "damaged",
}
_POSTGRES: tuple[tuple[type[psycopg.Error], str], ...] = (
    (psycopg.errors.LockNotAvailable, "busy"),
    (psycopg.errors.DeadlockDetected, "busy"),
    (psycopg.errors.ReadOnlySqlTransaction, "read-only"),
    (psycopg.errors.InsufficientPrivilege, "not allowed"),
    (psycopg.errors.DiskFull, "full"),
)
_SENTENCES = {
    "busy": "{where} is being written by another program: try again in a moment.",
    "read-only": "{where} cannot be written, because the file or its folder is read-only: work on a copy.",
    "not allowed": "{where} refused this login the right to do that: {detail}; ask the database's owner.",
    "full": "{where} could not be written, because its disk is full; nothing was changed.",
    "disk": "{where} could not be read or written, because the disk or the network to it failed: {detail}.",
    "damaged": "{where} is damaged or cut short: {detail}; take the newest backup (sewermap backup makes them).",
    "unreachable": "{where} cannot be reached: {detail}; see that the server runs, and that host, database and login are right.",
}


@contextmanager
def told(where: str) -> Iterator[None]:
    """Raise a StoreError or BusyError in place of an engine's error that a user can mend; let all others pass."""
    try:
        yield
    except (sa.exc.DBAPIError, sqlite3.Error, psycopg.Error) as error:
        cause = error.orig if isinstance(error, sa.exc.DBAPIError) else error
        kind = kind_of(cause)
        if kind is None:
            raise
        detail = " ".join(str(cause).split()).rstrip(".")
        raise (BusyError if kind == "busy" else StoreError)(_SENTENCES[kind].format(where=where, detail=detail)) from error


def kind_of(cause: BaseException | None) -> str | None:
    """Which of the kinds of trouble an engine's error is, or None if it is a fault of the program.

    >>> kind_of(ValueError("other"))
    """
    if isinstance(cause, sqlite3.Error):
        code = getattr(cause, "sqlite_errorcode", None)
        return None if code is None else _SQLITE.get(code & _PRIMARY_CODE)
    for error, kind in _POSTGRES:
        if isinstance(cause, error):
            return kind
    if isinstance(cause, psycopg.OperationalError) and (cause.sqlstate is None or cause.sqlstate[:2] in {"08", "57", "28", "3D"}):
        return "unreachable"
    return None
