"""Exports: every suffix read back by other libraries, with CRS and bounding box; a file is replaced whole or not at all."""

import csv

import fiona
import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import pytest

import sewermap as door
from tests.cli.running import good, sewermap

LAYERS = ("laterals", "placed_observations", "parcels", "streets", "mains", "buildings")
TABLES = (
    "runs",
    "observations",
    "works",
    "warranties",
    "referents",
    "rejects",
    "run_coverages",
    "source_files",
    "counter_settings",
)
NEAR = {".gpkg": 1e-9, ".fgb": 1e-9, ".parquet": 1e-9, ".geojson": 0.02, ".json": 0.02}
"""Metres within which coordinates come back: GeoJSON has seven digits of a degree."""


@pytest.mark.parametrize("suffix", NEAR)
@pytest.mark.parametrize("table", ["laterals", "placed_observations", "parcels", "defects"])
def test_layers_come_back(town, tmp_path, suffix, table):
    """Rows, columns, CRS, bounding box and shapes of a layer are the same when geopandas reads the exported file."""
    out = tmp_path / f"out{suffix}"
    done = good(sewermap("export", out, "--table", table, "--db", town.db))
    assert done.out == ""
    assert str(out) in done.err
    ours = door.open(town.db, read_only=True).answer(table)
    back = gpd.read_parquet(out) if suffix == ".parquet" else gpd.read_file(out)
    assert back.crs is not None
    assert back.crs == (4326 if "json" in suffix else ours.crs)
    back = back.to_crs(ours.crs)
    assert len(back) == len(ours)
    assert set(ours.columns) <= set(back.columns)
    np.testing.assert_allclose(back.total_bounds, ours.total_bounds, rtol=0, atol=NEAR[suffix])
    if suffix == ".fgb":  # FlatGeobuf orders features by place, for its index
        key = (
            "lateral"
            if table == "laterals"
            else "property"
            if table == "parcels"
            else "observation"
            if "observation" in ours
            else "issue"
        )
        back, ours = (rows.sort_values(key, ignore_index=True) for rows in (back, ours))
    missing = ours.geometry.isna().to_numpy()
    assert (back.geometry.isna() | back.geometry.is_empty).to_numpy().tolist() == missing.tolist()
    assert ours.geometry[~missing].hausdorff_distance(back.geometry[~missing]).max() <= NEAR[suffix]
    for name in ours.columns.drop("geometry"):
        if pd.api.types.is_numeric_dtype(ours[name]) and not pd.api.types.is_bool_dtype(ours[name]):
            np.testing.assert_allclose(back[name].astype(float), ours[name].astype(float), rtol=1e-12, equal_nan=True)


@pytest.mark.parametrize("suffix", [".gpkg", ".fgb"])
def test_fiona_and_pyogrio_read_exports(town, tmp_path, suffix):
    """Both fiona and pyogrio tell the CRS and the bounding box of an exported layer."""
    out = tmp_path / f"out{suffix}"
    good(sewermap("export", out, "--table", "laterals", "--db", town.db))
    bounds = door.open(town.db, read_only=True).layer("laterals").total_bounds
    with fiona.open(out) as layer:
        assert layer.crs.to_epsg() == 26910
        assert len(layer) == 60
        assert layer.bounds == pytest.approx(tuple(bounds))
    info = pyogrio.read_info(out, force_total_bounds=True)
    assert info["crs"] == "EPSG:26910"
    assert info["total_bounds"] == pytest.approx(tuple(bounds))


def test_a_geopackage_holds_all_layers(town, tmp_path):
    """Without --table a GeoPackage holds every ready layer under its own name."""
    good(sewermap("export", tmp_path / "all.gpkg", "--db", town.db))
    assert set(fiona.listlayers(tmp_path / "all.gpkg")) == set(LAYERS)
    assert {name for name, _ in pyogrio.list_layers(tmp_path / "all.gpkg")} == set(LAYERS)


@pytest.mark.parametrize("table", TABLES)
def test_tables_without_shapes_come_back(town, tmp_path, table):
    """Every other table can be written as CSV, GeoPackage and Parquet, with its rows and columns."""
    ours = door.open(town.db, read_only=True).layer(table)
    assert len(ours) > 0
    for suffix in (".csv", ".gpkg", ".parquet"):
        out = tmp_path / f"out{suffix}"
        good(sewermap("export", out, "--table", table, "--db", town.db))
        if suffix == ".csv":
            with out.open(encoding="utf-8", newline="") as file:
                rows = list(csv.DictReader(file))
            assert list(rows[0]) == list(ours.columns)
            assert len(rows) == len(ours)
        else:
            back = pyogrio.read_dataframe(out) if suffix == ".gpkg" else pd.read_parquet(out)
            assert len(back) == len(ours)
            assert set(ours.columns) <= set(back.columns)


def test_an_export_replaces_what_was_there(town, tmp_path):
    """OUT is replaced: other tables of an older export are gone, and nothing is left beside it."""
    out = tmp_path / "out.gpkg"
    good(sewermap("export", out, "--table", "parcels", "--db", town.db))
    good(sewermap("export", out, "--table", "laterals", "--db", town.db))
    assert fiona.listlayers(out) == ["laterals"]
    (tmp_path / "out.csv").write_text("what was there\n" * 99_000)
    good(sewermap("export", tmp_path / "out.csv", "--db", town.db))
    assert "what was there" not in (tmp_path / "out.csv").read_text(encoding="utf-8")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["out.csv", "out.gpkg"]


def test_an_export_that_fails_leaves_the_old_file(town, tmp_path):
    """A table that cannot be written in the format asked for leaves OUT as it was."""
    out = tmp_path / "out.geojson"
    out.write_text("old")
    assert sewermap("export", out, "--table", "runs", "--db", town.db).is_one_line_error
    assert out.read_text() == "old"
    assert [path.name for path in tmp_path.iterdir()] == ["out.geojson"]


def test_a_database_is_not_exported_onto_itself(town, tmp_path):
    """Writing an answer over the database that it is read from would lose all history: it is refused."""
    db = tmp_path / "town.gpkg"
    db.write_bytes(town.db.read_bytes())
    for words in (["export", db], ["defects", "--format", "json", "-o", db]):
        done = sewermap(*words, "--db", db)
        assert done.is_one_line_error, done
    assert sewermap("load", town.folder / "SOURCES.toml", "--rejects", db, "--db", db).status == 2
    assert db.read_bytes() == town.db.read_bytes()
