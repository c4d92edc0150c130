"""The file is a GeoPackage 1.4 that other programs read and write, and it survives a crash."""

import os
import signal
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import pyproj
import pytest
import shapely

from sewermap.store import bulk, gpkg_schema, rtree
from sewermap.store.check import check
from sewermap.store.session import Store, create, open_store
from sewermap.store.tables import laterals, placed_observations

ROOT = str(Path(__file__).parents[2])


def fill(store: Store, points, number: int = 3000) -> None:
    """Some points, and lines with and without height."""
    lines = np.empty(3, dtype=object)
    lines[:] = [shapely.LineString([(0, 0), (30, 4)]), shapely.LineString([(0, 0, 1), (3, 4, 2)]), None]
    with store.writing() as conn:
        bulk.insert(conn, placed_observations, points(number))
        bulk.insert(conn, laterals, pd.DataFrame({"id": [1, 2, 3], "lateral": ["a", "b", "c"], "geometry": lines}))


def asked(path: str, question: str):
    """Rows of a question to the plain file."""
    with closing(sqlite3.connect(path)) as conn:
        return conn.execute(question).fetchall()


def test_the_validator_finds_nothing(gpkg: Store, points) -> None:
    """GDAL's validator (PyPI gdal-utils, osgeo_utils.samples.validate_gpkg) is content with a full and an empty store."""
    for number in (3000, 0):
        done = subprocess.run(
            [sys.executable, "-m", "osgeo_utils.samples.validate_gpkg", "-q", gpkg.where],
            capture_output=True,
            text=True,
            check=False,
        )
        assert (done.returncode, done.stdout, done.stderr) == (0, "", "")
        if number:
            fill(gpkg, points, number)


def test_the_validator_would_find_something(gpkg: Store) -> None:
    """The same validator does speak up when a trigger is missing (so the test above can fail)."""
    with closing(sqlite3.connect(gpkg.where)) as conn:
        conn.execute("DROP TRIGGER rtree_laterals_geometry_update6")
    done = subprocess.run(
        [sys.executable, "-m", "osgeo_utils.samples.validate_gpkg", gpkg.where], capture_output=True, text=True, check=False
    )
    assert done.returncode == 1
    assert "Req 75" in done.stdout + done.stderr


def test_head_of_the_file(gpkg: Store) -> None:
    """Bytes of the head as in OGC 12-128r19, requirements 1 and 2: SQLite 3, GPKG at 68, 10400 at 60."""
    head = Path(gpkg.where).read_bytes()[:100]
    assert head[:16] == b"SQLite format 3\0"
    assert head[68:72] == b"GPKG"
    assert int.from_bytes(head[60:64], "big") == 10400


def test_triggers_are_those_of_gdal(gpkg: Store, tmp_path: Path) -> None:
    """Our triggers say the same as those that GDAL writes into a GeoPackage 1.4, word for word but for names and spaces."""
    theirs = tmp_path / "gdal.gpkg"
    frame = gpd.GeoDataFrame({"kind": ["roots"]}, geometry=[shapely.LineString([(0, 0), (1, 1)])], crs="EPSG:32633")
    pyogrio.write_dataframe(
        frame, theirs, layer="laterals", geometry_name="geometry", dataset_options={"VERSION": "1.4"}, layer_options={"FID": "id"}
    )
    question = "SELECT name, sql FROM sqlite_master WHERE type = 'trigger' AND name LIKE 'rtree_laterals%' ORDER BY name"

    def plain(path: object) -> dict[str, str]:
        found = dict(asked(str(path), question))
        for sign, other in (("IS NOT NULL", "NOTNULL"), ("NOT NULL", "NOTNULL"), (";", ""), ('"', "")):
            found = {name: sql.replace(sign, other) for name, sql in found.items()}
        return {name: "".join(sql.split()).lower() for name, sql in found.items()}

    assert plain(gpkg.where) == plain(theirs)


def test_gdal_reads_the_same(gpkg: Store, points) -> None:
    """GDAL (by pyogrio) reads our layers with CRS, values and places, and finds by its own box query what lies in the box."""
    fill(gpkg, points)
    with gpkg.reading() as conn:
        ours = bulk.read(conn, placed_observations)
    theirs = gpd.read_file(gpkg.where, layer="placed_observations", fid_as_index=True)
    assert theirs.crs == pyproj.CRS("EPSG:32633")
    assert theirs.index.tolist() == ours["id"].tolist()
    assert [shape or None for shape in theirs.geometry] == ours["geometry"].tolist()
    assert theirs["measure_m"].tolist() == ours["measure_m"].tolist()
    box = (500_500, 5_400_200, 501_000, 5_400_900)
    inside = shapely.intersects(shapely.box(*box), ours["geometry"].to_numpy())
    assert len(gpd.read_file(gpkg.where, layer="placed_observations", bbox=box)) == inside.sum() > 0
    everything = set(pyogrio.list_layers(gpkg.where)[:, 0])
    assert {"laterals", "placed_observations", "runs", "sewermap_meta"} <= everything


@pytest.mark.parametrize(
    "code", ["EPSG:2227", "EPSG:26910+5703", "+proj=tmerc +lat_0=50 +lon_0=14 +k=1 +x_0=9 +ellps=GRS80 +units=us-ft"]
)
def test_gdal_reads_the_same_crs(tmp_path: Path, points, code: str) -> None:
    """GDAL takes our CRS for the same, its foot included, with and without a code."""
    where = tmp_path / "town.gpkg"
    create(where, pyproj.CRS(code))
    fill(open_store(where), points, 3)
    theirs = pyproj.CRS(pyogrio.read_info(where, layer="placed_observations")["crs"])
    ours = open_store(where).crs
    assert theirs.axis_info[0].unit_conversion_factor == ours.axis_info[0].unit_conversion_factor
    point = (728_368.048, 877_125.895)
    world = [pyproj.Transformer.from_crs(crs, "EPSG:4326", always_xy=True).transform(*point) for crs in (ours, theirs)]
    assert world[0] == pytest.approx(world[1], abs=1e-9)


def test_gdal_may_append(gpkg: Store, points) -> None:
    """A row that GDAL appends enters our index by our triggers, and the store stays sound."""
    fill(gpkg, points, 3)
    frame = gpd.GeoDataFrame({"lateral": ["z"]}, geometry=[shapely.LineString([(0, 0), (500, 500)])], crs="EPSG:32633")
    pyogrio.write_dataframe(frame, gpkg.where, layer="laterals", append=True)
    assert check(open_store(gpkg.where)) == []
    assert asked(gpkg.where, "SELECT maxx FROM rtree_laterals_geometry ORDER BY 1 DESC LIMIT 1")[0][0] == 500


@pytest.mark.parametrize("number", [0, 1, 51, 52, 2601, 2602, 20_000])
def test_a_packed_tree_is_sound(number: int) -> None:
    """SQLite's own rtreecheck is content, all boxes are there, a box query finds what lies in it, and the tree can change on."""
    rng = np.random.default_rng(number)
    low = rng.random((number, 2)) * 1e6
    boxes = rtree.outward_float32(np.hstack([low, low + rng.random((number, 2)) * 300]))
    ids = rng.permutation(number) + 5
    with closing(sqlite3.connect(":memory:")) as conn:
        cursor = conn.cursor()
        cursor.execute("CREATE VIRTUAL TABLE tree USING rtree(id, minx, maxx, miny, maxy)")
        rtree.write(cursor, "tree", ids, boxes)
        assert cursor.execute("SELECT rtreecheck('tree')").fetchone() == ("ok",)
        held, held_boxes = rtree.read(cursor, "tree")
        assert np.array_equal(held_boxes[np.argsort(held)], boxes[np.argsort(ids)])
        found = cursor.execute(
            "SELECT id FROM tree WHERE maxx >= 3e5 AND minx <= 6e5 AND maxy >= 1e5 AND miny <= 3e5 ORDER BY 1"
        ).fetchall()
        hit = (boxes[:, 1] >= 3e5) & (boxes[:, 0] <= 6e5) & (boxes[:, 3] >= 1e5) & (boxes[:, 2] <= 3e5)
        assert [row[0] for row in found] == sorted(ids[hit].tolist())
        cursor.execute("DELETE FROM tree WHERE id % 3 = 0")
        cursor.execute("INSERT INTO tree VALUES (0, 1, 2, 3, 4)")
        assert cursor.execute("SELECT rtreecheck('tree')").fetchone() == ("ok",)


def test_boxes_are_never_smaller() -> None:
    """A float32 box holds the exact one, and is the next float32 at most."""
    exact = np.array([[0.1, 5_400_000.123, 0.1, 5_400_000.123], [-0.1, -7.3e6 - 0.1, 3.0, 16_777_217.0]])
    box = rtree.outward_float32(exact).astype(float)
    assert (box[:, [0, 2]] <= exact[:, :2]).all()
    assert (box[:, [1, 3]] >= exact[:, 2:]).all()
    assert np.allclose(box, exact[:, [0, 2, 1, 3]], rtol=1.3e-7, atol=0)


def test_the_index_is_used(gpkg: Store, points) -> None:
    """Rows written in bulk and rows written later by plain SQL with our functions are both found through the tree."""
    fill(gpkg, points)
    with gpkg.writing() as conn:
        conn.exec_driver_sql("UPDATE placed_observations SET geometry = NULL WHERE id = 2")
        conn.exec_driver_sql("UPDATE placed_observations SET id = 99999 WHERE id = 3")
        conn.exec_driver_sql(
            "UPDATE placed_observations SET geometry = (SELECT geometry FROM placed_observations WHERE id = 5) WHERE id IN (1, 4)"
        )
        conn.exec_driver_sql("DELETE FROM placed_observations WHERE id = 6")
    assert check(gpkg) == []


def test_the_tree_grows_by_loads(gpkg: Store, points) -> None:
    """Many loads of different sizes keep index, extent and triggers true."""
    first = 1
    for number in (600, 5000, 700, 10, 9000):
        with gpkg.writing() as conn:
            bulk.insert(conn, placed_observations, points(number, first))
        first += number
    assert check(gpkg) == []


def test_nothing_beside_the_file(gpkg: Store, points) -> None:
    """After writing there is one file, without a journal, and its copy alone is a sound store."""
    fill(gpkg, points)
    folder = Path(gpkg.where).parent
    assert [path.name for path in folder.iterdir()] == ["file.gpkg"]
    copy = folder / "copy.gpkg"
    copy.write_bytes(Path(gpkg.where).read_bytes())
    assert check(open_store(copy)) == []


KILLED_WHILE_WRITING = """
import os, sys
import numpy as np, pandas as pd, shapely
from sewermap.store import bulk
from sewermap.store.session import open_store
from sewermap.store.tables import placed_observations
with open_store(sys.argv[1]).writing() as conn:
    conn.exec_driver_sql("PRAGMA cache_size = 20")  # so that pages reach the file before the commit
    shapes = np.empty(20000, dtype=object)
    shapes[:] = shapely.points(np.random.default_rng(1).random((20000, 2)))
    bulk.delete(conn, placed_observations, None)
    bulk.insert(conn, placed_observations, pd.DataFrame({"id": range(1, 20001), "geometry": shapes}))
    print("half way", flush=True)
    sys.stdin.read()
"""


def test_killed_while_writing(gpkg: Store, points) -> None:
    """After kill -9 in the middle of a load the old state is there, for readers too, and the file is sound."""
    fill(gpkg, points, 700)
    with gpkg.reading() as conn:
        before = bulk.read(conn, placed_observations)
    size = Path(gpkg.where).stat().st_size
    with subprocess.Popen(
        [sys.executable, "-c", KILLED_WHILE_WRITING, gpkg.where],
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, env={**os.environ, "PYTHONPATH": ROOT},
    ) as writer:  # fmt: skip
        assert writer.stdout is not None
        assert writer.stdout.readline() == b"half way\n"
        writer.send_signal(signal.SIGKILL)
    assert Path(f"{gpkg.where}-journal").exists()
    assert Path(gpkg.where).stat().st_size > size
    with gpkg.reading() as conn:
        pd.testing.assert_frame_equal(bulk.read(conn, placed_observations), before)
    assert check(gpkg) == []


def test_writing_twice_gives_the_same_rows_and_index(tmp_path: Path, points) -> None:
    """The same input gives the same rows, boxes and nodes, whenever it is written."""
    dumps = []
    for name in ("a.gpkg", "b.gpkg"):
        create(tmp_path / name, pyproj.CRS("EPSG:32633"))
        fill(open_store(tmp_path / name), points)
        tables = [
            *(table.name for table in (placed_observations, laterals)),
            f"{gpkg_schema.rtree_name(placed_observations)}_node",
        ]
        dumps.append([asked(str(tmp_path / name), f'SELECT * FROM "{table}" ORDER BY 1') for table in tables])
    assert dumps[0] == dumps[1]
