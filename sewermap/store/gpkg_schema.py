"""The tables and triggers of a GeoPackage itself (OGC 12-128r19, GeoPackage 1.4), beside our own tables.

The definitions are those of the standard's annex C and of annex F.3 (R-tree spatial indexes).
"""

import sqlite3
from functools import cache

import pyproj
import sqlalchemy as sa

from sewermap.store import reference_system
from sewermap.store.geometry import Geometry
from sewermap.store.tables import metadata

APPLICATION_ID = 0x47504B47
"""``GPKG`` in the head of the file."""

USER_VERSION = 10400
"""GeoPackage 1.4.0."""

FIRST_PRIVATE_SRS = 100_000
"""srs_id of a CRS without an EPSG code; GDAL counts from there too."""

CORE_TABLES = (
    """CREATE TABLE gpkg_spatial_ref_sys (
  srs_name TEXT NOT NULL,
  srs_id INTEGER NOT NULL PRIMARY KEY,
  organization TEXT NOT NULL,
  organization_coordsys_id INTEGER NOT NULL,
  definition TEXT NOT NULL,
  description TEXT
)""",
    """CREATE TABLE gpkg_contents (
  table_name TEXT NOT NULL PRIMARY KEY,
  data_type TEXT NOT NULL,
  identifier TEXT UNIQUE,
  description TEXT DEFAULT '',
  last_change DATETIME NOT NULL DEFAULT (strftime('%Y-%m-%dT%H:%M:%fZ','now')),
  min_x DOUBLE,
  min_y DOUBLE,
  max_x DOUBLE,
  max_y DOUBLE,
  srs_id INTEGER,
  CONSTRAINT fk_gc_r_srs_id FOREIGN KEY (srs_id) REFERENCES gpkg_spatial_ref_sys(srs_id)
)""",
    """CREATE TABLE gpkg_geometry_columns (
  table_name TEXT NOT NULL,
  column_name TEXT NOT NULL,
  geometry_type_name TEXT NOT NULL,
  srs_id INTEGER NOT NULL,
  z TINYINT NOT NULL,
  m TINYINT NOT NULL,
  CONSTRAINT pk_geom_cols PRIMARY KEY (table_name, column_name),
  CONSTRAINT uk_gc_table_name UNIQUE (table_name),
  CONSTRAINT fk_gc_tn FOREIGN KEY (table_name) REFERENCES gpkg_contents(table_name),
  CONSTRAINT fk_gc_srs FOREIGN KEY (srs_id) REFERENCES gpkg_spatial_ref_sys (srs_id)
)""",
    """CREATE TABLE gpkg_extensions (
  table_name TEXT,
  column_name TEXT,
  extension_name TEXT NOT NULL,
  definition TEXT NOT NULL,
  scope TEXT NOT NULL,
  CONSTRAINT ge_tce UNIQUE (table_name, column_name, extension_name)
)""",
)

_FILLED = "(NEW.{g} NOTNULL AND NOT ST_IsEmpty(NEW.{g}))"
_EMPTY = "(NEW.{g} ISNULL OR ST_IsEmpty(NEW.{g}))"
_BOX = "NEW.{i}, ST_MinX(NEW.{g}), ST_MaxX(NEW.{g}), ST_MinY(NEW.{g}), ST_MaxY(NEW.{g})"
_SET_BOX = "minx = ST_MinX(NEW.{g}), maxx = ST_MaxX(NEW.{g}), miny = ST_MinY(NEW.{g}), maxy = ST_MaxY(NEW.{g})"
_TRIGGERS = {
    "insert": f"AFTER INSERT ON {{t}} WHEN {_FILLED} BEGIN INSERT OR REPLACE INTO {{r}} VALUES ({_BOX}); END",
    "update2": (
        f"AFTER UPDATE OF {{g}} ON {{t}} WHEN OLD.{{i}} = NEW.{{i}} AND {_EMPTY} "
        "BEGIN DELETE FROM {r} WHERE id = OLD.{i}; END"
    ),
    "update4": (
        f"AFTER UPDATE ON {{t}} WHEN OLD.{{i}} != NEW.{{i}} AND {_EMPTY} "
        "BEGIN DELETE FROM {r} WHERE id IN (OLD.{i}, NEW.{i}); END"
    ),
    "update5": (
        f"AFTER UPDATE ON {{t}} WHEN OLD.{{i}} != NEW.{{i}} AND {_FILLED} "
        f"BEGIN DELETE FROM {{r}} WHERE id = OLD.{{i}}; INSERT OR REPLACE INTO {{r}} VALUES ({_BOX}); END"
    ),
    "update6": (
        f"AFTER UPDATE OF {{g}} ON {{t}} WHEN OLD.{{i}} = NEW.{{i}} AND {_FILLED} "
        "AND (OLD.{g} NOTNULL AND NOT ST_IsEmpty(OLD.{g})) "
        f"BEGIN UPDATE {{r}} SET {_SET_BOX} WHERE id = NEW.{{i}}; END"
    ),
    "update7": (
        f"AFTER UPDATE OF {{g}} ON {{t}} WHEN OLD.{{i}} = NEW.{{i}} AND {_FILLED} "
        "AND (OLD.{g} ISNULL OR ST_IsEmpty(OLD.{g})) "
        f"BEGIN INSERT INTO {{r}} VALUES ({_BOX}); END"
    ),
    "delete": "AFTER DELETE ON {t} WHEN OLD.{g} NOT NULL BEGIN DELETE FROM {r} WHERE id = OLD.{i}; END",
}
TRIGGER_NAMES = tuple(_TRIGGERS)
"""What the 1.4 triggers of a spatial index are called, without the index's name in front."""

_RTREE_DEFINITION = "http://www.geopackage.org/spec140/#extension_rtree"


def geometry_column(table: sa.Table) -> sa.Column[object] | None:
    """The one geometry column of a table, if it has one."""
    return next((column for column in table.c if isinstance(column.type, Geometry)), None)


def rtree_name(table: sa.Table) -> str:
    """The name of a table's spatial index.

    >>> from sewermap.store.tables import laterals
    >>> rtree_name(laterals)
    'rtree_laterals_geometry'
    """
    column = geometry_column(table)
    if column is None:
        raise KeyError(f"{table.name} has no geometry")
    return f"rtree_{table.name}_{column.name}"


def rtree_sql(table: sa.Table) -> str:
    """CREATE statement of a table's spatial index."""
    return f'CREATE VIRTUAL TABLE "{rtree_name(table)}" USING rtree(id, minx, maxx, miny, maxy)'


def trigger_sql(table: sa.Table, trigger: str) -> str:
    """CREATE statement of one trigger (see TRIGGER_NAMES) that keeps a table's spatial index."""
    column = geometry_column(table)
    if column is None:
        raise KeyError(f"{table.name} has no geometry")
    body = _TRIGGERS[trigger].format(t=f'"{table.name}"', g=f'"{column.name}"', i='"id"', r=f'"{rtree_name(table)}"')
    return f'CREATE TRIGGER "{rtree_name(table)}_{trigger}" {body}'


def create_all(conn: sa.Connection, crs: pyproj.CRS) -> None:
    """Make a GeoPackage of an empty SQLite database, with all our tables, listed and indexed."""
    conn.exec_driver_sql(f"PRAGMA application_id = {APPLICATION_ID}")
    conn.exec_driver_sql(f"PRAGMA user_version = {USER_VERSION}")
    for statement in CORE_TABLES:
        conn.exec_driver_sql(statement)
    number = srs_id(crs)
    _add_reference_systems(conn, crs, number)
    metadata.create_all(conn)
    for table in metadata.sorted_tables:
        finish_table(conn, table, number)


def finish_table(conn: sa.Connection, table: sa.Table, srs: int) -> None:
    """List a table that was just made and, where it has a geometry, give it its spatial index."""
    list_table(conn, table, srs)
    if geometry_column(table) is not None:
        create_spatial_index(conn, table)


def create_spatial_index(conn: sa.Connection, table: sa.Table) -> None:
    """Make an empty spatial index and its triggers, and declare them."""
    conn.exec_driver_sql(rtree_sql(table))
    for trigger in TRIGGER_NAMES:
        conn.exec_driver_sql(trigger_sql(table, trigger))
    column = geometry_column(table)
    conn.exec_driver_sql(
        "INSERT OR REPLACE INTO gpkg_extensions VALUES (?, ?, 'gpkg_rtree_index', ?, 'write-only')",
        (table.name, column.name if column is not None else None, _RTREE_DEFINITION),
    )


def list_table(conn: sa.Connection, table: sa.Table, srs: int) -> None:
    """Enter a table of ours in gpkg_contents and, with a geometry, in gpkg_geometry_columns. Z is optional, M never kept."""
    column = geometry_column(table)
    title = table.name.replace("_", " ")
    if column is None:
        conn.exec_driver_sql(
            "INSERT INTO gpkg_contents (table_name, data_type, identifier) VALUES (?, 'attributes', ?)", (table.name, title)
        )
        return
    conn.exec_driver_sql(
        "INSERT INTO gpkg_contents (table_name, data_type, identifier, srs_id) VALUES (?, 'features', ?, ?)",
        (table.name, title, srs),
    )
    kind = column.type.kind if isinstance(column.type, Geometry) else ""
    conn.exec_driver_sql("INSERT INTO gpkg_geometry_columns VALUES (?, ?, ?, ?, 2, 0)", (table.name, column.name, kind, srs))


def srs_id(crs: pyproj.CRS) -> int:
    """The number of the map's CRS in a GeoPackage: its EPSG code, or a private number.

    >>> srs_id(pyproj.CRS("EPSG:2223"))
    2223
    """
    return reference_system.epsg_code(crs) or FIRST_PRIVATE_SRS


@cache
def expected_definitions() -> dict[str, str]:
    """CREATE statement by name of every table, index and trigger of ours, as SQLite keeps it."""
    engine = sa.create_engine("sqlite://")
    with engine.begin() as conn:
        create_all(conn, pyproj.CRS("EPSG:32633"))
        definitions = definitions_in(conn)
    engine.dispose()
    return definitions


def definitions_in(conn: sa.Connection) -> dict[str, str]:
    """CREATE statement by name of every table, index and trigger in a database, spaces made equal."""
    rows = conn.exec_driver_sql("SELECT name, sql FROM sqlite_master WHERE sql IS NOT NULL ORDER BY name")
    return {name: " ".join(sql.split()) for name, sql in rows}


def raw(conn: sa.Connection) -> sqlite3.Connection:
    """The sqlite3 connection inside."""
    driver = conn.connection.driver_connection
    if not isinstance(driver, sqlite3.Connection):
        raise TypeError("not a connection to SQLite")
    return driver


def _add_reference_systems(conn: sa.Connection, crs: pyproj.CRS, number: int) -> None:
    world = pyproj.CRS("EPSG:4326")
    organization = "EPSG" if number < FIRST_PRIVATE_SRS else "NONE"
    rows = [
        ("Undefined Cartesian SRS", -1, "NONE", -1, "undefined", "undefined Cartesian coordinate reference system"),
        ("Undefined geographic SRS", 0, "NONE", 0, "undefined", "undefined geographic coordinate reference system"),
        (world.name, 4326, "EPSG", 4326, reference_system.wkt1(world), "longitude and latitude on the WGS 84 ellipsoid"),
        (crs.name, number, organization, number, reference_system.wkt1(crs), "the CRS of the map"),
    ]
    for row in rows:
        conn.exec_driver_sql("INSERT INTO gpkg_spatial_ref_sys VALUES (?, ?, ?, ?, ?, ?)", row)
