"""A table of a PostGIS database as a source: its rows as text, its geometry as a layer's."""

import hashlib

import geoalchemy2  # noqa: F401 (so that columns of geometry are of a known type)
import geopandas
import numpy as np
import pandas as pd
import pyproj
import shapely
import sqlalchemy as sa

from etl.problems import empty_broken
from etl.sources.layers import as_text, without_m
from etl.sources.rows import Rows
from sewermap.errors import SourceError


def read_table(url: str, table: str) -> tuple[Rows, str]:
    """The rows of ``schema.name`` in the order of its key (of all its columns, where it has none), and their digest.

    The CRS is that of the geometry column's SRID. Raises SourceError when the server cannot be reached or has no such table.
    """
    engine = sa.create_engine(_driver(url))
    try:
        with engine.connect() as connection:
            frame = _frame(connection, table)
    except sa.exc.NoSuchTableError:
        raise SourceError(f'{source_name(url, table)}: there is no such table; table = "schema.name"') from None
    except sa.exc.SQLAlchemyError as error:
        reason = str(getattr(error, "orig", None) or error).splitlines()[0]
        raise SourceError(f"{source_name(url, table)} cannot be read: {reason}") from None
    finally:
        engine.dispose()
    rows = _rows(frame)
    return rows, _digest(rows)


def source_name(url: str, table: str) -> str:
    """How a table is named as a source: its address without user and password."""
    address = sa.make_url(_driver(url))
    port = f":{address.port}" if address.port else ""
    return f"postgresql://{address.host or ''}{port}/{address.database or ''} {table}"


def _driver(url: str) -> sa.URL:
    try:
        return sa.make_url(url).set(drivername="postgresql+psycopg")
    except sa.exc.ArgumentError:
        raise SourceError("from is no address of a database; write postgresql://user@server/database") from None


def _frame(connection: sa.Connection, table: str) -> pd.DataFrame:
    schema, _, name = table.rpartition(".")
    inspector = sa.inspect(connection)
    # `lateral` is a reserved word of PostgreSQL that SQLAlchemy does not quote by itself.
    columns = [sa.quoted_name(column["name"], quote=True) for column in inspector.get_columns(name, schema=schema or None)]
    order = inspector.get_pk_constraint(name, schema=schema or None)["constrained_columns"] or columns
    source = sa.table(name, *(sa.column(column) for column in columns), schema=schema or None)
    query = sa.select(source).order_by(*(source.c[column] for column in order))
    geometry = _geometry_column(connection, schema, name)
    if geometry is None:
        return pd.read_sql(query, connection)
    layer: pd.DataFrame = geopandas.read_postgis(query, connection, geom_col=geometry)  # type: ignore[call-overload] # takes a Select, its stubs do not say so
    return layer


def _geometry_column(connection: sa.Connection, schema: str, name: str) -> str | None:
    if not sa.inspect(connection).has_table("geometry_columns"):
        return None
    known = sa.table("geometry_columns", *map(sa.column, ("f_table_schema", "f_table_name", "f_geometry_column")))
    query = sa.select(known.c.f_geometry_column).where(known.c.f_table_name == name)
    if schema:
        query = query.where(known.c.f_table_schema == schema)
    return connection.execute(query.limit(1)).scalar()


def _rows(frame: pd.DataFrame) -> Rows:
    geometry, crs = None, None
    if isinstance(frame, geopandas.GeoDataFrame):
        geometry = without_m(frame.geometry.to_numpy(dtype=object))
        crs = pyproj.CRS.from_user_input(frame.crs) if frame.crs is not None else None
        frame = pd.DataFrame(frame.drop(columns=frame.geometry.name))
    cells = pd.DataFrame({name: as_text(column) for name, column in frame.items()}, index=frame.index)
    return Rows(cells, np.arange(1, len(cells) + 1, dtype=np.int64), empty_broken(), geometry, crs)


def _digest(rows: Rows) -> str:
    digest = hashlib.sha256(rows.cells.to_csv(index=False).encode())
    if rows.geometry is not None:
        for wkb in shapely.to_wkb(rows.geometry, byte_order=1):
            digest.update(wkb or b"-")
    return digest.hexdigest()
