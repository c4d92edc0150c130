"""What check finds and what mend can build anew: each fault is made by hand, as another program would make it."""

import sqlite3
from contextlib import closing

import geopandas as gpd
import pandas as pd
import psycopg
import pyogrio
import pytest
import shapely

from sewermap.store import bulk
from sewermap.store.check import check, mend
from sewermap.store.session import Store
from sewermap.store.tables import laterals, placed_observations, runs, source_files


@pytest.fixture
def filled(gpkg: Store, points) -> Store:
    """A store in a file with some rows."""
    with gpkg.writing() as conn:
        bulk.insert(conn, placed_observations, points(600))
    return gpkg


def alter(store: Store, *statements: str) -> None:
    """Change the file as a program would that knows nothing of us."""
    with closing(sqlite3.connect(store.where)) as conn, conn:
        conn.create_function("ST_IsEmpty", 1, lambda blob: None if blob is None else 0)
        for name in ("ST_MinX", "ST_MaxX", "ST_MinY", "ST_MaxY"):
            conn.create_function(name, 1, lambda _: 7.0)
        for statement in statements:
            conn.execute(statement)


MENDABLE = [
    ("DELETE FROM rtree_placed_observations_geometry WHERE id = 2", "index has drifted: it lacks 1 rows and holds 0"),
    (
        "INSERT INTO rtree_placed_observations_geometry VALUES (99999, 1, 2, 3, 4)",
        "it lacks 0 rows and holds 1 that are not there",
    ),
    ("UPDATE rtree_placed_observations_geometry SET minx = 1 WHERE id = 2", "1 boxes are not those of their geometries"),
    ("UPDATE rtree_placed_observations_geometry SET maxx = minx - 1, minx = minx - 2 WHERE id = 2", "1 boxes are not those"),
    ("DELETE FROM rtree_placed_observations_geometry_parent", "its spatial index is damaged"),
    ("DROP TRIGGER rtree_laterals_geometry_update6", "rtree_laterals_geometry_update6 is missing"),
    ("DROP INDEX ix_runs_lateral", "ix_runs_lateral is missing"),
    ("UPDATE gpkg_contents SET max_x = max_x - 100 WHERE table_name = 'placed_observations'", r"too small .*\(requirement 148\)"),
    ("UPDATE gpkg_contents SET min_x = NULL WHERE table_name = 'placed_observations'", "gives no extent for it"),
    ("DELETE FROM gpkg_contents WHERE table_name = 'runs'", "runs is not listed in gpkg_contents"),
    ("DELETE FROM gpkg_geometry_columns WHERE table_name = 'laterals'", "laterals is not listed in gpkg_geometry_columns"),
    ("PRAGMA user_version = 0", "user_version is 0, not 10400"),
    ("PRAGMA application_id = 0", "application_id is 0"),
]


@pytest.mark.parametrize(("statement", "fault"), MENDABLE)
def test_what_can_be_mended(filled: Store, statement: str, fault: str) -> None:
    """The fault is found and told, mend says what it did, and afterwards the store is sound with the same rows."""
    alter(filled, statement)
    found = check(filled)
    assert len(found) == 1, found
    assert pd.Series(found).str.contains(fault).all(), found
    assert mend(filled)
    assert check(filled) == []
    with filled.reading() as conn:
        assert len(bulk.read(conn, placed_observations)) == 600


NOT_MENDABLE = [
    ("CREATE TABLE notes (id INTEGER PRIMARY KEY, remark TEXT)", "notes is not listed in gpkg_contents"),
    ("ALTER TABLE works ADD COLUMN colour TEXT", "works is not as sewermap made it"),
    ("DROP TABLE works", "works is missing"),
    (
        "INSERT INTO runs (id, run, lateral, content, loaded_in) VALUES (1, 'R', 'L', 'c', 77)",
        "row points to a row of source_files",
    ),
    ("UPDATE placed_observations SET geometry = x'00' WHERE id = 2", "1 geometries cannot be read"),
]


@pytest.mark.parametrize(("statement", "fault"), NOT_MENDABLE)
def test_what_only_a_person_can_mend(filled: Store, statement: str, fault: str) -> None:
    """Rows and definitions that others changed are told, before and after mending."""
    alter(filled, statement)
    assert any(pd.Series(check(filled)).str.contains(fault))
    mend(filled)
    assert any(pd.Series(check(filled)).str.contains(fault))


def test_a_layer_replaced_by_gdal(filled: Store) -> None:
    """GDAL without append replaces a table: its definition is no longer ours, and check says so."""
    frame = gpd.GeoDataFrame({"lateral": ["z"]}, geometry=[shapely.LineString([(0, 0), (1, 1)])], crs="EPSG:32633")
    pyogrio.write_dataframe(frame, filled.where, layer="laterals")
    assert any(fault.startswith("laterals is not as sewermap made it") for fault in check(filled))


def test_rows_without_their_parent(store: Store) -> None:
    """Current rows that name a lateral which no file ever said are found, on both engines."""
    with store.writing() as conn:
        bulk.insert(conn, source_files, pd.DataFrame({"id": [1], "path": ["a.csv"], "section": ["runs"], "sha256": ["0"]}))
        frame = pd.DataFrame(
            {"id": [1, 2], "run": ["R1", "R2"], "lateral": ["B", "A"], "content": ["c", "d"], "loaded_in": [1, 1]}
        )
        bulk.insert(conn, runs, frame.assign(replaced_by=[None, 9.0]))
    assert check(store) == [
        "runs: 2 rows name a lateral that is not there (such as A).",
        "runs: 1 row names a newer row that is not there (such as 9).",
    ]


SERVER = [
    ("DROP INDEX ix_runs_lateral", "ix_runs_lateral is missing", True),
    ("DROP INDEX ix_laterals_geometry", "ix_laterals_geometry is missing", True),
    ("ALTER TABLE laterals DROP CONSTRAINT laterals_geometry_srid", "laterals_geometry_srid is missing", True),
    ("ALTER TABLE works DROP COLUMN remark", "works: its column remark is missing", False),
    ("ALTER TABLE works ALTER COLUMN remark TYPE varchar(7)", "works: its column remark is varchar, not text", False),
    ("DROP TABLE works", "works is missing", False),
]


@pytest.mark.parametrize(("statement", "fault", "mendable"), SERVER)
def test_a_server_altered(postgis: Store, statement: str, fault: str, mendable: bool) -> None:  # noqa: FBT001
    """Tables that somebody altered are told; indexes and CHECKs are made anew."""
    with psycopg.connect(postgis.where) as conn:
        conn.execute(statement)
    assert any(pd.Series(check(postgis)).str.contains(fault))
    mended = mend(postgis)
    assert bool(mended) is mendable
    assert (check(postgis) == []) is mendable


def test_mending_a_sound_store_keeps_it_so(store: Store, points) -> None:
    """Mending may always be run."""
    with store.writing() as conn:
        bulk.insert(conn, placed_observations, points(600))
        bulk.insert(conn, laterals, pd.DataFrame({"id": [1], "lateral": ["a"]}))
    mend(store)
    assert check(store) == []
