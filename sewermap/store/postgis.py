"""The store in a PostgreSQL database with PostGIS: opening, making, beginning, filling.

Same function names as ``geopackage``. Everything stands in the connection's default schema. Rows go in by COPY in its text
form; geometries as hexadecimal EWKB.
"""

import warnings
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from typing import Any

import numpy as np
import pandas as pd
import psycopg
import pyproj
import shapely
import sqlalchemy as sa
from numpy.typing import NDArray

from sewermap.errors import StoreError
from sewermap.store import columns, reference_system
from sewermap.store.geometry import SRID_OF_DIALECT, Geometry
from sewermap.store.tables import meta, metadata
from sewermap.store.trouble import told

NAME = "postgresql"
"""SQLAlchemy's name of the engine."""

_FIRST_PRIVATE_SRID = 910_000
_LOCK = 0x7365_7765
"""Advisory lock of one schema's writers: this number and the hash of the schema's name."""

_MISSING = r"\N"
_ESCAPES = str.maketrans({"\\": r"\\", "\t": r"\t", "\n": r"\n", "\r": r"\r"})
_ROWS_A_BLOCK = 20_000


def url_of(where: str) -> sa.URL:
    """The address with the driver that we use: ``postgresql://…`` means psycopg 3.

    >>> url_of("postgresql://town@localhost/sewers").drivername
    'postgresql+psycopg'
    """
    url = sa.make_url(where)
    return url.set(drivername="postgresql+psycopg")


def make_engine(where: str, *, read_only: bool, patience_s: float) -> sa.Engine:
    """An engine on a PostgreSQL database. A lock of somebody else is waited for at most ``patience_s`` seconds."""
    mode = " -c default_transaction_read_only=on" if read_only else ""
    options = f"-c lock_timeout={int(patience_s * 1000)} -c client_min_messages=warning{mode}"
    asked = url_of(where)
    options = " ".join(filter(None, [_one(asked.query.get("options")), options]))
    engine = sa.create_engine(asked, poolclass=sa.NullPool, connect_args={"options": options, "connect_timeout": 10})
    # `lateral` is reserved in PostgreSQL, and SQLAlchemy does not know it: it would not quote our column.
    preparer = engine.dialect.identifier_preparer
    preparer.reserved_words = {*preparer.reserved_words, "lateral"}
    return engine


def create(where: str, crs: pyproj.CRS, fill: Callable[[sa.Connection], None]) -> None:
    """Make all tables in the connection's default schema, and ``fill`` them, in one transaction."""
    shown = sa.make_url(where).render_as_string(hide_password=True)
    engine = make_engine(where, read_only=False, patience_s=5.0)
    with told(shown), transaction(engine, writing=True) as conn:
        if has_table(conn, meta.name):
            raise StoreError(f"{shown} holds a sewermap database already: use it, or create one in another database or schema.")
        _need_postgis(conn, shown)
        setattr(conn.dialect, SRID_OF_DIALECT, srid_of(conn, crs))
        create_all(conn)
        fill(conn)


def look(where: str) -> None:
    """Nothing to look at before connecting."""
    del where


def may_write(where: str) -> bool:
    """Whether writing may be tried: the server tells by itself who may not."""
    return bool(where)


def has_table(conn: sa.Connection, name: str) -> bool:
    """Whether the connection's default schema (not all of its search path) has a table of that name."""
    there = "SELECT 1 FROM pg_tables WHERE schemaname = current_schema() AND tablename = %s"
    return conn.exec_driver_sql(there, (name,)).first() is not None


def create_all(conn: sa.Connection) -> None:
    """Make all tables with their CHECKs and spatial indexes, and let texts sort by their code points as SQLite does."""
    metadata.create_all(conn, checkfirst=False)  # its own look would find tables of other schemas of the search path
    for table in metadata.sorted_tables:
        finish_table(conn, table)


def finish_table(conn: sa.Connection, table: sa.Table) -> None:
    """Give a table that was just made what SQLAlchemy does not: the order of texts, CHECKs and the spatial index."""
    _sort_by_code_point(conn, table)
    for column in table.c:
        if isinstance(column.type, Geometry):
            for statement in [*check_sql(conn, column).values(), spatial_index_sql(column)]:
                conn.exec_driver_sql(statement)


def check_sql(conn: sa.Connection, column: sa.Column[Any]) -> dict[str, str]:
    """ALTER statements by name of the CHECKs that hold a geometry column to its kind and SRID.

    Their form is the one from which PostGIS fills its view ``geometry_columns``.
    """
    srid = int(getattr(conn.dialect, SRID_OF_DIALECT, 0))
    kind = column.type.kind if isinstance(column.type, Geometry) else ""
    table, name = column.table.name, column.name
    checks = {f"{table}_{name}_srid": f"st_srid({name}) = {srid}", f"{table}_{name}_kind": f"geometrytype({name}) = '{kind}'"}
    return {check: f"ALTER TABLE {table} ADD CONSTRAINT {check} CHECK ({body})" for check, body in checks.items()}


def spatial_index_sql(column: sa.Column[Any]) -> str:
    """CREATE statement of a geometry column's GiST index."""
    table = column.table.name
    return f"CREATE INDEX ix_{table}_{column.name} ON {table} USING gist ({column.name})"


def srid_of(conn: sa.Connection, crs: pyproj.CRS) -> int:
    """The number of a CRS in ``spatial_ref_sys``: its EPSG code, or a private number, entered where it is new."""
    code = reference_system.epsg_code(crs)
    if code and conn.exec_driver_sql("SELECT 1 FROM spatial_ref_sys WHERE srid = %s", (code,)).first():
        return code
    wkt = reference_system.wkt1(crs)
    known = conn.exec_driver_sql("SELECT srid FROM spatial_ref_sys WHERE srtext = %s ORDER BY srid", (wkt,)).scalar()
    if known is not None:
        return int(known)
    fresh = conn.exec_driver_sql(
        "SELECT coalesce(max(srid) + 1, %s) FROM spatial_ref_sys WHERE srid BETWEEN %s AND 998998",
        (_FIRST_PRIVATE_SRID, _FIRST_PRIVATE_SRID),
    ).scalar_one()
    conn.exec_driver_sql(
        "INSERT INTO spatial_ref_sys (srid, auth_name, auth_srid, srtext, proj4text) VALUES (%s, 'sewermap', %s, %s, %s)",
        (fresh, fresh, wkt, _proj4(crs)),
    )
    return int(fresh)


@contextmanager
def transaction(engine: sa.Engine, *, writing: bool) -> Iterator[sa.Connection]:
    """A connection in one transaction: committed at the end, rolled back on an error.

    Writers of one schema stand in a queue (an advisory lock until the end of the transaction); readers see one moment.
    """
    with engine.connect() as conn, conn.begin():
        if writing:
            conn.exec_driver_sql("SELECT pg_advisory_xact_lock(%s, hashtext(current_schema()))", (_LOCK,))
        else:
            conn.exec_driver_sql("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY")
        yield conn


@contextmanager
def throw_away(where: str, engine: sa.Engine) -> Iterator[sa.Connection]:
    """A connection whose work is undone at the end, whatever happened on it."""
    del where
    with transaction(engine, writing=True) as conn:
        yield conn
        conn.rollback()


def insert_rows(conn: sa.Connection, table: sa.Table, frame: pd.DataFrame) -> None:
    """Add the frame's rows by COPY."""
    _copy(conn, table.name, columns.taken(table, frame), frame)


def delete_rows(conn: sa.Connection, table: sa.Table, where: sa.ColumnElement[bool] | None) -> None:
    """Delete the rows for which ``where`` holds, or all."""
    conn.execute(sa.delete(table) if where is None else sa.delete(table).where(where))


def update_rows(conn: sa.Connection, table: sa.Table, ids: NDArray[np.int64], new: pd.DataFrame) -> None:
    """Write the columns of ``new`` into the rows with these ids, through a temporary table."""
    present = [table.c.id, *columns.taken(table, new)]
    names = [column.name for column in present]
    conn.exec_driver_sql(f"CREATE TEMP TABLE sewermap_update ON COMMIT DROP AS SELECT {_list(names)} FROM {_name(table)} LIMIT 0")
    _copy(conn, "sewermap_update", present, new.assign(id=ids))
    settings = ", ".join(f'"{name}" = new."{name}"' for name in names[1:])
    conn.exec_driver_sql(f"UPDATE {_name(table)} AS old SET {settings} FROM sewermap_update AS new WHERE old.id = new.id")
    conn.exec_driver_sql("DROP TABLE sewermap_update")


def any_of(column: sa.ColumnElement[Any], values: Sequence[Any]) -> sa.ColumnElement[bool]:
    """The condition that a column holds one of many values, in one bound parameter."""
    return column == sa.any_(sa.bindparam(None, list(values), type_=sa.ARRAY(column.type)))


def in_box(conn: sa.Connection, table: sa.Table, bounds: Sequence[float]) -> sa.ColumnElement[bool]:
    """The condition that a row's geometry may touch a box: by the GiST index, whose boxes are a little too large."""
    srid = int(getattr(conn.dialect, SRID_OF_DIALECT, 0))
    box = sa.func.ST_MakeEnvelope(*bounds, srid, type_=sa.types.NullType())
    return sa.type_coerce(table.c.geometry, sa.types.NullType()).bool_op("&&")(box)


def _copy(conn: sa.Connection, target: str, present: list[sa.Column[Any]], frame: pd.DataFrame) -> None:
    srid = int(getattr(conn.dialect, SRID_OF_DIALECT, 0))
    texts = [_texts(column, columns.plain(column, frame[column.name]), srid) for column in present]
    statement = f'COPY "{target}" ({_list([column.name for column in present])}) FROM STDIN'
    with _raw(conn).cursor() as cursor, cursor.copy(statement) as copy:
        for start in range(0, len(frame), _ROWS_A_BLOCK):
            block = zip(*(column[start : start + _ROWS_A_BLOCK] for column in texts), strict=True)
            copy.write("\n".join(map("\t".join, block)) + "\n")


def _texts(column: sa.Column[Any], values: NDArray[Any], srid: int) -> list[str]:
    """A column as COPY's text form has it, missing values as its sign for NULL."""
    if isinstance(column.type, Geometry):
        missing = shapely.is_missing(values)
        out = shapely.to_wkb(shapely.set_srid(values, srid), hex=True, include_srid=True).astype(object)
    elif values.dtype.kind == "M":
        missing, out = np.isnat(values), np.datetime_as_string(values).astype(object)
    elif values.dtype.kind == "f":
        missing = np.isnan(values)
        out = _numbers(column, values)
    else:
        missing = values == None  # noqa: E711 - elementwise
        out = np.array(values, dtype=object)
        present = out[~missing].tolist()
        if any(sign in "".join(present) for sign in "\\\t\n\r"):
            out[~missing] = [text.translate(_ESCAPES) for text in present]
    out[missing] = _MISSING
    return list(out.tolist())


def _numbers(column: sa.Column[Any], values: NDArray[np.float64]) -> NDArray[np.object_]:
    out = np.empty(values.size, dtype=object)
    if isinstance(column.type, (sa.Integer, sa.Boolean)):
        out[:] = list(map(str, np.nan_to_num(values).astype(np.int64).tolist()))
    else:
        out[:] = list(map(repr, values.tolist()))
    return out


def _raw(conn: sa.Connection) -> psycopg.Connection[Any]:
    driver = conn.connection.driver_connection
    if not isinstance(driver, psycopg.Connection):
        raise TypeError("not a connection of psycopg")
    return driver


def _need_postgis(conn: sa.Connection, shown: str) -> None:
    if conn.exec_driver_sql("SELECT 1 FROM pg_extension WHERE extname = 'postgis'").first():
        return
    try:
        with conn.begin_nested():
            conn.exec_driver_sql("CREATE EXTENSION postgis")
    except sa.exc.DBAPIError as error:
        raise StoreError(f"{shown} has no PostGIS: let its administrator run CREATE EXTENSION postgis in it.") from error


def _sort_by_code_point(conn: sa.Connection, table: sa.Table) -> None:
    texts = [f'ALTER COLUMN "{column.name}" TYPE text COLLATE "C"' for column in table.c if isinstance(column.type, sa.Text)]
    if texts:
        conn.exec_driver_sql(f"ALTER TABLE {_name(table)} {', '.join(texts)}")


def _proj4(crs: pyproj.CRS) -> str:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # PROJ strings lose part of a CRS; PostGIS reads srtext first
        return str(crs.to_proj4())


def _one(value: str | tuple[str, ...] | None) -> str | None:
    return " ".join(value) if isinstance(value, tuple) else value


def _name(table: sa.Table) -> str:
    return f'"{table.name}"'


def _list(names: Sequence[str]) -> str:
    return ", ".join(f'"{name}"' for name in names)
