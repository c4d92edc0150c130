"""The Python door: layers as GeoDataFrames, histories in order, and the file as other programs see it."""

import subprocess
import sys

import fiona
import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import pytest
import shapely

import sewermap
from sewermap.errors import UnknownNameError
from sewermap.history.warranty_in_force import OWN
from sewermap.store.tables import RECORDED, metadata

TYPES = {
    "laterals": {"LineString"}, "lateral_lines": {"LineString"}, "placed_observations": {"Point"}, "parcels": {"MultiPolygon"},
    "buildings": {"MultiPolygon"}, "streets": {"MultiLineString"}, "mains": {"MultiLineString"},
}  # fmt: skip


@pytest.mark.parametrize("name", TYPES)
def test_layers_are_geodataframes(book, name):
    """Each table with a geometry is a GeoDataFrame in the map's CRS, with valid shapes of the type it should have."""
    layer = book.layer(name)
    assert isinstance(layer, gpd.GeoDataFrame)
    assert layer.crs.to_epsg() == 26910
    assert len(layer) > 0
    assert set(layer.geom_type.dropna()) == TYPES[name]
    assert layer.geometry.dropna().is_valid.all()
    assert not {"id", "content", "loaded_in", "withdrawn_in"} & set(layer.columns)


def test_every_table_can_be_had(book):
    """Every table of the schema is had by name, twice the same; current rows of recorded tables know their file and row."""
    for name in metadata.tables:
        rows = book.layer(name)
        pd.testing.assert_frame_equal(pd.DataFrame(rows), pd.DataFrame(book.layer(name)))
        if name in {rule.table.name for rule in RECORDED.values()} and len(rows):
            assert rows["source_file"].notna().all()
            assert (rows["source_row"] >= 1).all()
    with pytest.raises(UnknownNameError):
        book.layer("sewers")


def test_points_lie_on_their_laterals(book):
    """Every placed observation stands on the line of its lateral, at its measure (shapely), in the columns x and y too."""
    lines = book.layer("laterals").set_index("lateral").geometry
    placed = book.layer("placed_observations")
    placed = placed[placed.geometry.notna()]
    line = lines.loc[placed["lateral"]].to_numpy()
    np.testing.assert_allclose(
        shapely.line_locate_point(line, placed.geometry.to_numpy()), placed["measure_m"], rtol=0, atol=1e-6
    )
    assert shapely.distance(line, placed.geometry.to_numpy()).max() < 1e-6
    np.testing.assert_array_equal(placed.geometry.get_coordinates().to_numpy(), placed[["x", "y"]].to_numpy())
    np.testing.assert_allclose(book.layer("laterals")["length_m"], shapely.length(book.layer("laterals").geometry), rtol=1e-12)


@pytest.fixture(scope="module")
def stories(book):
    """The histories of all laterals, by name."""
    return {name: book.history(name) for name in book.layer("laterals")["lateral"]}


def test_histories_are_in_order_of_time(stories):
    """Of each lateral all parts by day; each defect is a sighting of one issue, and its events are in order of time."""
    for name, story in stories.items():
        for part, day in (("runs", "ran_on"), ("observations", "ran_on"), ("works", "done_on"), ("warranties", "begins_on")):
            days = [row[day] for row in story[part]]
            assert days == sorted(days), (name, part)
        runs = {run["run"]: run["ran_on"] for run in story["runs"]}
        assert {row["run"] for row in story["observations"]} <= set(runs)
        defects = [row for row in story["observations"] if row["role"] == "defect"]
        told = [sighting["observation"] for issue in story["issues"] for sighting in issue["sightings"]]
        assert sorted(told) == sorted(row["observation"] for row in defects)
        for issue in story["issues"]:
            assert [row["ran_on"] for row in issue["sightings"]] == sorted(row["ran_on"] for row in issue["sightings"])
            assert [event["day"] for event in issue["events"]] == sorted(event["day"] for event in issue["events"])
            assert [runs[sighting["run"]] for sighting in issue["sightings"]] == [
                sighting["ran_on"] for sighting in issue["sightings"]
            ]


def test_histories_hold_all_that_was_loaded(book, stories):
    """Over all laterals, the histories hold each run, observation, work and warranty exactly once, beside those works opened."""
    for part, table, key in (("runs", "runs", "run"), ("works", "works", "work"), ("warranties", "warranties", "warranty"),
                             ("observations", "placed_observations", "observation")):  # fmt: skip
        told = [row[key] for story in stories.values() for row in story[part] if not str(row[key]).endswith(OWN)]
        assert sorted(told) == sorted(book.layer(table)[key])


def test_an_address_tells_the_same_story(book):
    """A lateral may be named by an address that only it has."""
    assert book.history("3 cobbleheron walk") == book.history("L-0051")


@pytest.mark.parametrize("name", ["laterals", "placed_observations"])
def test_other_programs_read_the_database(town_file, book, name):
    """Both pyogrio and fiona read our GeoPackage's layers as they stand: rows, CRS and bounding box."""
    layer = book.layer(name)
    info = pyogrio.read_info(town_file, layer=name, force_total_bounds=True)
    assert info["crs"] == "EPSG:26910"
    assert info["features"] == len(layer)
    assert info["total_bounds"] == pytest.approx(tuple(layer.total_bounds))
    with fiona.open(town_file, layer=name) as opened:
        assert opened.crs.to_epsg() == 26910
        assert len(opened) == len(layer)
        assert opened.bounds == pytest.approx(tuple(layer.total_bounds))
    key = "observation" if name == "placed_observations" else "lateral"
    back = pyogrio.read_dataframe(town_file, layer=name).sort_values(key, ignore_index=True)
    ours = layer.sort_values(key, ignore_index=True)
    assert back[key].tolist() == ours[key].tolist()
    assert back.geometry.to_wkb().tolist() == ours.geometry.to_wkb().tolist()
    middle = layer.geometry.dropna().iloc[0].centroid.buffer(30)
    near = pyogrio.read_dataframe(town_file, layer=name, bbox=middle.bounds)
    assert set(near[key]) == set(ours[ours.intersects(shapely.box(*middle.bounds))][key])


def test_the_validator_passes_the_demo_database(tmp_path):
    """The validator of gdal-utils for GeoPackage 1.4 finds no fault in the demo's database, and neither do our own checks."""
    from sewermap.demo import make_demo  # noqa: PLC0415 - only here

    demo = make_demo(tmp_path / "demo", tell=lambda _step: None)
    words = [sys.executable, "-m", "osgeo_utils.samples.validate_gpkg", str(demo.database)]
    done = subprocess.run(words, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
    assert "Req" not in done.stdout
    assert sewermap.open(demo.database).check() == []
