"""New tables in a store that is there already."""

from collections.abc import Callable

import sqlalchemy as sa

from sewermap.store import gpkg_schema, postgis
from sewermap.store.tables import metadata


def added(*names: str) -> Callable[[sa.Connection], None]:
    """A change that makes these tables, empty, with their indexes and all that the engine asks of a table of ours."""

    def change(conn: sa.Connection) -> None:
        for name in names:
            table = metadata.tables[name]
            table.create(conn, checkfirst=False)
            if conn.dialect.name == postgis.NAME:
                postgis.finish_table(conn, table)
            else:
                gpkg_schema.finish_table(conn, table, _srs(conn))

    return change


def _srs(conn: sa.Connection) -> int:
    """The number of the map's CRS in a GeoPackage: that of its laterals."""
    query = "SELECT srs_id FROM gpkg_geometry_columns WHERE table_name = 'laterals'"
    return int(conn.exec_driver_sql(query).scalar_one())
