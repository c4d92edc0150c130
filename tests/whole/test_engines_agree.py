"""The same SOURCES.toml in a GeoPackage and in PostGIS: the same places, the same rejects, the same answers letter by letter."""

import json
import uuid
from pathlib import Path

import numpy as np
import pandas as pd
import psycopg
import pytest

import sewermap as door
from sewermap.book import Book
from tests.cli.running import copy_town, good, load_town, sewermap

NEAR_M = 1e-6

COMMANDS = {
    "defects": ["defects"],
    "defects as csv": ["defects", "--format", "csv"],
    "defects as json": ["defects", "--format", "json"],
    "defects as geojson": ["defects", "--format", "geojson"],
    "defects of a street and grade": ["defects", "--street", "cobbleheron walk", "--grade", "3", "--format", "json"],
    "defects of a kind and side": ["defects", "--kind", "roots", "--side", "private", "--format", "csv"],
    "defects between days": ["defects", "--since", "2024-02-01", "--until", "2025-02-01", "--format", "json"],
    "defects of a state": ["defects", "--state", "mended", "--format", "json"],
    "defects in an area": ["defects", "--area", "{area}", "--format", "json"],
    "history": ["history", "L-0051"],
    "history as json": ["history", "L-0051", "--format", "json"],
    "history as csv": ["history", "L-0056", "--format", "csv"],
    "history as geojson": ["history", "L-0056", "--format", "geojson"],
    "where": ["where", "L-0051", "53.3", "--run", "BF-1007"],
    "where as json": ["where", "3 Cobbleheron Walk", "44' 6\"", "--run", "fm 1004", "--format", "json"],
    "where past the line": ["where", "L-0051", "153.3", "--run", "BF-1007", "--format", "json"],
    "where as geojson": ["where", "L-0051", "53.3", "--run", "BF-1007", "--format", "geojson"],
    "where as csv": ["where", "L-0051", "53.3", "--run", "BF-1007", "--format", "csv"],
    "due": ["due", "--as-of", "2024-06-01"],
    "due, all, by a route, as csv": ["due", "--as-of", "2025-02-28", "--all", "--route", "--format", "csv"],
    "due as geojson": ["due", "--as-of", "2025-12-31", "--format", "geojson"],
    "claims": ["claims", "--as-of", "2024-06-01"],
    "claims with what came back, as json": ["claims", "--as-of", "2026-01-31", "--returned", "--format", "json"],
    "streets with what is due": ["streets", "--as-of", "2024-06-01", "--format", "json"],
    "an unknown lateral": ["where", "L-9999", "1", "--run", "BF-1007"],
    "an unknown street": ["defects", "--street", "Cobbleheron Wlak"],
}


@pytest.fixture(scope="module")
def both(postgis_server, tmp_path_factory):
    """The sample town's files loaded twice: the address and the loads' answers on each engine."""
    folder = tmp_path_factory.mktemp("both")
    places = {"geopackage": str(folder / "town.gpkg"), "postgis": fresh_database(postgis_server)}
    reports = {name: load_town(where, folder / "sources") for name, where in places.items()}
    return places, reports, folder


def fresh_database(server: str) -> str:
    """A database with PostGIS for a whole module; it goes with its server."""
    name = f"whole_{uuid.uuid4().hex}"
    with psycopg.connect(f"{server}/postgres", autocommit=True) as conn:
        conn.execute(f"CREATE DATABASE {name} TEMPLATE sewermap_template")
    return f"{server}/{name}"


def books(both) -> list[Book]:
    """Both databases, opened through the Python door."""
    return [door.open(where, read_only=True) for where in both[0].values()]


def test_the_loads_tell_the_same(both):
    """What each load answered in JSON is the same on both engines: files, counts, rejects, warnings; and rows were rejected."""
    _, reports, _ = both
    assert json.dumps(reports["geopackage"]) == json.dumps(reports["postgis"])
    assert sum(len(report["rejects"]) for report in reports["geopackage"]) >= 10


def test_places_are_the_same(both):
    """placed_observations have the same rows, numbers and points to a thousandth of a millimetre."""
    file, server = (book.layer("placed_observations") for book in books(both))
    assert len(file) > 700
    assert file["measure_m"].notna().sum() > 600
    numbers = ["measure_m", "sigma_m", "to_measure_m", "within_m", "x", "y", "side_probability"]
    pd.testing.assert_frame_equal(file.drop(columns=[*numbers, "geometry"]), server.drop(columns=[*numbers, "geometry"]))
    np.testing.assert_allclose(file[numbers].to_numpy(), server[numbers].to_numpy(), rtol=0, atol=NEAR_M)
    np.testing.assert_array_equal(file.geometry.isna(), server.geometry.isna())
    apart = file.geometry.dropna().distance(server.geometry.dropna())
    assert apart.max() <= NEAR_M


@pytest.mark.parametrize(
    "table",
    ["laterals", "rejects", "runs", "observations", "referents", "works", "warranties", "run_coverages", "counter_settings",
     "parcels", "buildings", "streets", "mains", "lateral_lines", "source_files"],
)  # fmt: skip
def test_tables_are_the_same(both, table):
    """Each table holds the same rows on both engines, geometries included."""
    file, server = (book.layer(table) for book in books(both))
    assert len(file) > 0
    if "geometry" in file:
        assert list(file.geometry.to_wkb()) == list(server.geometry.to_wkb())
        file, server = file.drop(columns="geometry"), server.drop(columns="geometry")
    pd.testing.assert_frame_equal(pd.DataFrame(file), pd.DataFrame(server))


@pytest.mark.parametrize("words", COMMANDS.values(), ids=COMMANDS)
def test_answers_are_the_same_letter_by_letter(both, words):
    """Each answer command prints the same bytes on both engines, and ends with the same status."""
    places, _, folder = both
    area = _area(folder)
    words = [word.format(area=area) for word in words]
    file, server = (sewermap(*words, "--db", where) for where in places.values())
    assert file == server
    assert file.out or file.err


def _area(folder: Path) -> Path:
    """A shape that holds a part of the town, in longitude and latitude as planners draw them."""
    parcels = folder / "area.geojson"
    if not parcels.exists():
        book = door.open(folder / "town.gpkg", read_only=True)
        book.layer("parcels").head(20).to_crs(4326).to_file(parcels)
    return parcels


@pytest.mark.parametrize("name", ["out.csv", "out.geojson", "laterals.geojson", "runs.csv", "rejects.csv"])
def test_exports_are_the_same_letter_by_letter(both, name):
    """Exported text files are the same bytes, whichever engine they come from."""
    places, _, folder = both
    table = [] if name.startswith("out") else ["--table", name.split(".")[0]]
    texts = []
    for engine, where in places.items():
        (folder / engine).mkdir(exist_ok=True)
        good(sewermap("export", folder / engine / name, *table, "--db", where))
        texts.append((folder / engine / name).read_bytes())
    assert texts[0] == texts[1]
    assert len(texts[0]) > 500


def test_loading_again_tells_the_same_and_changes_nothing(both):
    """The second load finds every good row unchanged on both engines, and both are sound."""
    places, _, folder = both
    plans = copy_town(folder / "sources")
    told = []
    for where in places.values():
        reports = [sewermap("load", plan, "--db", where, "--format", "json").json for plan in plans]
        assert sum(file["loaded"] + file["withdrawn"] for report in reports for file in report["files"]) == 0
        assert all(file["read"] == file["unchanged"] + file["rejected"] for report in reports for file in report["files"])
        good(sewermap("check", "--db", where))
        told.append(json.dumps(reports))
    assert told[0] == told[1]


def test_computing_again_changes_nothing(both):
    """Dropped and built again, the computed tables hold the same rows."""
    for where in both[0].values():
        book = door.open(where)
        tables = ("placed_observations", "laterals", "run_coverages", "counter_settings")
        old = {name: book.layer(name) for name in tables}
        good(sewermap("recompute", "--all", "--db", where))
        for name, rows in old.items():
            pd.testing.assert_frame_equal(pd.DataFrame(rows), pd.DataFrame(book.layer(name)), check_exact=True)
