"""The store as one GeoPackage file: opening, making, beginning, filling.

Same function names as ``postgis``; ``session`` and ``bulk`` choose by the engine's name.
"""

import os
import sqlite3
import tempfile
from collections.abc import Callable, Iterator, Sequence
from contextlib import closing, contextmanager, suppress
from pathlib import Path
from typing import Any
from urllib.parse import quote

import numpy as np
import pandas as pd
import pyproj
import shapely
import sqlalchemy as sa
from numpy.typing import NDArray

from sewermap.errors import StoreError
from sewermap.store import columns, gpkg_index, gpkg_schema, sql_functions
from sewermap.store.geometry import SRID_OF_DIALECT, Geometry, blobs_from_geometries
from sewermap.store.trouble import told

_COMMIT_TRIES = 6
_CACHE_KIB = 65_536
"""Pages of the file that a writing connection keeps in memory: SQLite's own 2 MB are soon full in a large load."""

_BEGIN = "sewermap_begin"


def make_engine(where: str, *, read_only: bool, patience_s: float) -> sa.Engine:
    """An engine on a GeoPackage file; every connection knows the ST_ functions and keeps foreign keys.

    A lock of somebody else is waited for at most ``patience_s`` seconds.
    """
    path = Path(where)
    mode = "ro" if read_only else "rw"

    def connect() -> sqlite3.Connection:
        connection = _connection(path, mode, patience_s)
        if read_only:
            _heal(connection, path, patience_s)
        return connection

    engine = sa.create_engine("sqlite://", creator=connect, poolclass=sa.NullPool)
    sa.event.listen(engine, "begin", _begin)
    return engine


def create(where: str, crs: pyproj.CRS, fill: Callable[[sa.Connection], None]) -> None:
    """Make a new GeoPackage file with all tables, and ``fill`` it, in one transaction. On any error there is no file."""
    path = Path(where)
    if not path.parent.is_dir():
        raise StoreError(f"{where} cannot be created: there is no folder {path.parent}.")
    try:
        os.close(os.open(path, os.O_CREAT | os.O_EXCL | os.O_RDWR))
    except FileExistsError:
        raise StoreError(f"{where} exists already: choose another name, or remove it first.") from None
    except OSError as error:
        raise StoreError(f"{where} cannot be created: {error.strerror}.") from error
    engine = make_engine(where, read_only=False, patience_s=5.0)
    try:
        with told(where), transaction(engine, writing=True) as conn:
            gpkg_schema.create_all(conn, crs)
            fill(conn)
    except BaseException:
        path.unlink(missing_ok=True)
        raise


def look(where: str) -> None:
    """See that there is a database file; raises StoreError, saying what to do, if not."""
    path = Path(where)
    if not path.exists():
        raise StoreError(f"{where} does not exist: make it with sewermap create, or name another database with --db.")
    if not path.is_file():
        raise StoreError(f"{where} is a folder, not a database.")
    try:
        with path.open("rb") as file:
            head = file.read(16)
    except OSError as error:
        raise StoreError(f"{where} cannot be read: {error.strerror}.") from error
    if head != b"SQLite format 3\0":
        raise StoreError(f"{where} is not a database: its content is not that of a GeoPackage; make one with sewermap create.")


def has_table(conn: sa.Connection, name: str) -> bool:
    """Whether the file has a table of that name."""
    return conn.exec_driver_sql("SELECT 1 FROM sqlite_master WHERE type = 'table' AND name = ?", (name,)).first() is not None


def may_write(where: str) -> bool:
    """Whether the file and its folder (where SQLite keeps its journal) may be written."""
    path = Path(where).absolute()
    effective = os.access in os.supports_effective_ids
    folder = os.access(path.parent, os.W_OK | os.X_OK, effective_ids=effective)
    return folder and os.access(path, os.W_OK, effective_ids=effective)


@contextmanager
def transaction(engine: sa.Engine, *, writing: bool) -> Iterator[sa.Connection]:
    """A connection in one transaction: committed at the end, rolled back on an error.

    Writing takes the file's write lock at once, so that a second writer learns of it before it has worked.
    """
    with (
        engine.connect().execution_options(**{_BEGIN: "BEGIN IMMEDIATE" if writing else "BEGIN"}) as conn,
        conn.begin() as started,
    ):
        yield conn
        for left in range(_COMMIT_TRIES - 1, -1, -1):
            # A reader's open transaction holds up a commit, and it can be tried again.
            try:
                gpkg_schema.raw(conn).execute("COMMIT")
                break
            except sqlite3.OperationalError as error:
                if not left or error.sqlite_errorcode & 0xFF != sqlite3.SQLITE_BUSY:
                    raise
        started.commit()


@contextmanager
def throw_away(where: str, engine: sa.Engine) -> Iterator[str]:
    """A copy of the file that is gone afterwards."""
    del engine
    with tempfile.TemporaryDirectory(prefix="sewermap-") as folder:
        copy = str(Path(folder) / "copy.gpkg")
        backup(where, copy)
        yield copy


def backup(where: str, out: str) -> None:
    """A consistent copy of the file, also while others write to it. Raises StoreError if OUT exists."""
    if Path(out).exists():
        raise StoreError(f"{out} exists already: choose another name.")
    with told(where), closing(_connection(Path(where), "ro", 5.0)) as source, closing(sqlite3.connect(out)) as target:
        source.backup(target)


def insert_rows(conn: sa.Connection, table: sa.Table, frame: pd.DataFrame) -> None:
    """Add the frame's rows; the spatial index and the extent in gpkg_contents follow."""
    present = columns.taken(table, frame)
    values = {column.name: columns.plain(column, frame[column.name]) for column in present}
    names = ", ".join(f'"{name}"' for name in values)
    marks = ", ".join("?" * len(values))
    lists = [_bound(column, values[column.name], _srid(conn)) for column in present]
    cursor = gpkg_schema.raw(conn).cursor()
    boxes = _boxes(table, values)
    with gpkg_index.without_plain_indexes(conn, table, len(frame)), gpkg_index.following_insert(conn, table, boxes):
        cursor.executemany(f'INSERT INTO "{table.name}" ({names}) VALUES ({marks})', zip(*lists, strict=True))


def delete_rows(conn: sa.Connection, table: sa.Table, where: sa.ColumnElement[bool] | None) -> None:
    """Delete the rows for which ``where`` holds, or all."""
    statement = sa.delete(table) if where is None else sa.delete(table).where(where)
    with gpkg_index.following_delete(conn, table, where):
        conn.execute(statement)


def update_rows(conn: sa.Connection, table: sa.Table, ids: NDArray[np.int64], new: pd.DataFrame) -> None:
    """Write the columns of ``new`` into the rows with these ids."""
    present = columns.taken(table, new)
    values = {column.name: columns.plain(column, new[column.name]) for column in present}
    settings = ", ".join(f'"{name}" = ?' for name in values)
    lists = [_bound(column, values[column.name], _srid(conn)) for column in present]
    cursor = gpkg_schema.raw(conn).cursor()
    boxes = _boxes(table, {"id": ids.astype(np.float64), **values})
    with gpkg_index.following_update(conn, table, boxes):
        rows = zip(*lists, ids.tolist(), strict=True)
        cursor.executemany(f'UPDATE "{table.name}" SET {settings} WHERE "id" = ?', rows)


def any_of(column: sa.ColumnElement[Any], values: Sequence[Any]) -> sa.ColumnElement[bool]:
    """The condition that a column holds one of many values, in one bound parameter."""
    each = sa.func.json_each(sa.bindparam(None, list(values), type_=sa.JSON)).table_valued("value")
    return column.in_(sa.select(each.c.value))


def in_box(conn: sa.Connection, table: sa.Table, bounds: Sequence[float]) -> sa.ColumnElement[bool]:
    """The condition that a row's geometry may touch a box: by the R-tree, whose boxes are a little too large."""
    del conn
    index = sa.table(gpkg_schema.rtree_name(table), *(sa.column(name) for name in ("id", "minx", "maxx", "miny", "maxy")))
    west, south, east, north = bounds
    meets = index.c.minx <= east, index.c.maxx >= west, index.c.miny <= north, index.c.maxy >= south
    return table.c.id.in_(sa.select(index.c.id).where(*meets))


def _srid(conn: sa.Connection) -> int:
    return int(getattr(conn.dialect, SRID_OF_DIALECT, 0))


def _boxes(table: sa.Table, values: dict[str, NDArray[Any]]) -> gpkg_index.Boxes | None:
    """Ids and boxes of the geometries about to be written, or None where no geometry is."""
    column = gpkg_schema.geometry_column(table)
    if column is None or column.name not in values:
        return None
    return gpkg_index.Boxes(values["id"].astype(np.int64), shapely.bounds(values[column.name]))


def _bound(column: sa.Column[Any], values: NDArray[Any], srid: int) -> list[Any]:
    """A column as a list that sqlite3 binds; it writes NaN as NULL, and whole floats as integers where the column is one."""
    if isinstance(column.type, Geometry):
        return blobs_from_geometries(values, srid)
    if values.dtype.kind == "M":
        days = np.datetime_as_string(values).astype(object)
        days[np.isnat(values)] = None
        return list(days)
    return list(values.tolist())


def _connection(path: Path, mode: str, patience_s: float) -> sqlite3.Connection:
    uri = f"file:{quote(str(path.absolute()))}?mode={mode}"
    # Transactions are begun by ourselves, so sqlite3 must not begin any.
    connection = sqlite3.connect(uri, uri=True, timeout=patience_s, isolation_level=None, check_same_thread=False)
    try:
        connection.execute("PRAGMA foreign_keys = ON")
        connection.execute("PRAGMA trusted_schema = ON")  # else the triggers may not call the ST_ functions
        if mode != "ro":
            connection.execute(f"PRAGMA cache_size = -{_CACHE_KIB}")
            connection.execute("PRAGMA journal_mode = DELETE")  # with a WAL, a copy of the file alone lacks the last commit
        sql_functions.register(connection)
    except BaseException:
        connection.close()
        raise
    return connection


def _heal(connection: sqlite3.Connection, path: Path, patience_s: float) -> None:
    """Let a connection that may write roll back what a killed program left half done; a reading one is refused until then."""
    try:
        connection.execute("SELECT 1 FROM sqlite_master LIMIT 1").fetchall()
    except sqlite3.OperationalError as error:
        if error.sqlite_errorcode & 0xFF not in {sqlite3.SQLITE_READONLY, sqlite3.SQLITE_CANTOPEN}:
            raise
        with suppress(sqlite3.Error), closing(_connection(path, "rw", patience_s)) as healer:
            healer.execute("SELECT 1 FROM sqlite_master LIMIT 1").fetchall()
    except sqlite3.Error:
        connection.close()
        raise


def _begin(conn: sa.Connection) -> None:
    conn.exec_driver_sql(conn.get_execution_options().get(_BEGIN, "BEGIN"))
