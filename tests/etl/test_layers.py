"""Layers in whatever file GDAL reads, in whatever coordinate system, and layers that lie about it."""

import datetime as dt
import zipfile
from importlib import resources
from pathlib import Path

import geopandas
import pandas as pd
import pytest
import shapely

from etl.sources.layers import read_layer
from etl.sources.rows import sha256_of
from sewermap.errors import SourceError

UTM = "EPSG:26910"
LINES = [shapely.LineString([(500000 + at, 4000000), (500000 + at, 4000020)]) for at in range(3)]
US_FEET_PER_METRE = 3937 / 1200


def example(name):
    """The folder of an open example dataset inside libpysal."""
    return Path(str(resources.files("libpysal.examples"))) / name


@pytest.mark.parametrize("name", ["l.gpkg", "l.shp", "l.fgb", "l.geojson", "l.zip", "l.gdb"])
def test_file_formats(town, name):
    """The same laterals come out of each format, zipped too, with days and numbers as text."""
    columns = {"lateral": ["7", "8", "9"], "installed_": [dt.date(2001, 5, 31), None, None], "address": [14, 15, None]}
    path = town.folder / name
    if name == "l.zip":
        town.layer("part.shp", LINES, **columns)
        with zipfile.ZipFile(path, "w") as archive:
            for part in town.folder.glob("part.*"):
                archive.write(part, part.name)
    elif name == "l.gdb":
        geopandas.GeoDataFrame(columns, geometry=LINES, crs="EPSG:26910").to_file(path, driver="OpenFileGDB")
    elif name == "l.fgb":  # features of this format stand in the order of its index
        geopandas.GeoDataFrame(columns, geometry=LINES, crs="EPSG:26910").to_file(path, SPATIAL_INDEX="NO")
    else:
        town.layer(name, LINES, **columns)
    fields = '[laterals.fields]\ninstalled_on = "installed_"\n'
    gathered = town.gather(f'[laterals]\nfrom = "{name}"\ntie_in = "start"\n{fields}')
    laterals = gathered.tables["laterals"]
    assert gathered.rejects.empty
    assert laterals["lateral"].tolist() == ["7", "8", "9"]
    assert laterals["address"].tolist()[:2] == ["14", "15"]
    assert laterals["address"].isna().tolist() == [False, False, True]
    assert laterals["installed_on"][0] == pd.Timestamp(2001, 5, 31)
    assert laterals["source_row"].tolist() == [1, 2, 3]
    assert all(shapely.equals_exact(laterals["geometry"].to_numpy(), LINES, tolerance=1e-6))


def test_a_file_with_many_layers_needs_a_word(town):
    """With several layers `layer` must say which; the error names them, also for a layer that is not there."""
    town.layer("a.gpkg", LINES, UTM, "lines", lateral=["1", "2", "3"])
    town.layer("a.gpkg", LINES, UTM, "others", lateral=["4", "5", "6"])
    with pytest.raises(SourceError, match=r"a\.gpkg has the layers lines, others; say which one"):
        read_layer(town.folder / "a.gpkg")
    with pytest.raises(SourceError, match="and no layer thirds"):
        read_layer(town.folder / "a.gpkg", "thirds")
    assert read_layer(town.folder / "a.gpkg", "others").cells["lateral"].tolist() == ["4", "5", "6"]


def test_what_is_no_layer(town):
    """A text that bears a layer's name, and a sheet where a layer is needed, are errors in one sentence."""
    town.csv("a.gpkg", "no database")
    with pytest.raises(SourceError, match=r"a\.gpkg cannot be read as a map layer"):
        town.gather('[laterals]\nfrom = "a.gpkg"\n')
    town.csv("a.csv", "lateral", "L1")
    with pytest.raises(SourceError, match=r"a\.csv holds no geometry; \[parcels\] needs a map layer"):
        town.gather('[parcels]\nfrom = "a.csv"\n[parcels.fields]\nproperty = "lateral"\n')
    town.csv("a.xls", "lateral")
    with pytest.raises(SourceError, match="is a workbook of an old format"):
        town.gather('[runs]\nfrom = "a.xls"\n')


def test_a_layer_without_a_crs_needs_one_stated(town):
    """No CRS is an error; the one that the section states is taken, also before a layer's own."""
    town.layer("l.shp", LINES, lateral=["1", "2", "3"])
    (town.folder / "l.prj").unlink()
    with pytest.raises(SourceError, match=r"l\.shp says no coordinate system"):
        town.gather('[laterals]\nfrom = "l.shp"\n')
    stated = town.gather('[laterals]\nfrom = "l.shp"\ncrs = "EPSG:26910"\n').tables["laterals"]
    assert stated["geometry"][0].equals(LINES[0])


def test_features_without_a_place_on_the_map_are_rejected(town):
    """A coordinate that the map's projection cannot show (longitude 9999 among degrees) rejects its row alone."""
    good = shapely.LineString([(-123, 36), (-123, 36.0001)])
    town.layer("l.geojson", [good, good, shapely.LineString([(9999, 36), (-123, 36)])], "EPSG:4326", lateral=["1", "2", "3"])
    gathered = town.gather('[laterals]\nfrom = "l.geojson"\ntie_in = "start"\n')
    assert gathered.rejects["row"].tolist() == [3]
    assert "outside of what the map's system" in gathered.rejects["reason"][0]


def test_streets_of_libpysal_in_us_survey_feet(town):
    """All 293 streets arrive with 104,414.092 ft in all (libpysal 4.14, examples/geodanet/streets.shp: the sum of its own
    geometry), in a map of US survey feet that has no EPSG code, and with the same length on a map in metres.

    The file's Length column is in another row order than its geometry: nothing of the sort is taken from it.
    """
    path = example("geodanet") / "streets.shp"
    text = f'[mains]\nfrom = "{path.as_posix()}"\n[mains.fields]\nmain = "ID"\n'
    wkt = (path.with_suffix(".prj")).read_text()
    gathered = town.gather(text, crs=wkt)
    mains = gathered.tables["mains"]["geometry"].to_numpy()
    assert len(mains) == 293
    assert shapely.length(mains).sum() == pytest.approx(104414.09201597, abs=1e-6)
    stated = town.gather(text.replace("\n[mains.fields]", f"\ncrs = '{wkt}'\n[mains.fields]"), crs="EPSG:26912")
    # The scale of UTM in zone 12 near its central meridian is 0.9996 (by definition), of this system there 0.9999.
    metres = shapely.length(stated.tables["mains"]["geometry"].to_numpy()).sum()
    assert metres * US_FEET_PER_METRE == pytest.approx(104414.09201597 * 0.9996 / 0.9999, rel=1e-4)


def test_the_wrong_foot_is_not_taken(town):
    """The two feet put a place of Arizona 2.28 ft apart: a point at (728368.048, 877125.895) US survey ft is at
    (728369.505, 877127.649) in EPSG:2223, international ft (pyproj 3.7.2).
    """
    path = example("geodanet") / "streets.shp"
    text = f'[mains]\nfrom = "{path.as_posix()}"\n[mains.fields]\nmain = "ID"\n'
    first = town.gather(text, crs="EPSG:2223").tables["mains"]["geometry"][0]
    assert shapely.get_coordinates(first)[0] == pytest.approx([728369.505, 877127.649], abs=1e-3)


def test_a_prj_that_lies_is_refused(town):
    """Coordinates in feet under a .prj of degrees (libpysal's street_net_pts) are refused, with what to do; stated, they load."""
    path = example("street_net_pts") / "street_net_pts.shp"
    defaults = '[referents.defaults]\nlateral = "L1"\nkind = "clean-out"\n'
    text = f'[referents]\nfrom = "{path.as_posix()}"\n[referents.fields]\nname = "ID"\n' + defaults
    with pytest.raises(SourceError, match=r"its coordinates are degrees .* but they run to 727972, 880774.*state the true one"):
        town.gather(text)
    wkt = (example("geodanet") / "streets.prj").read_text()
    stated = town.gather(text.replace("\n[referents.fields]", f"\ncrs = '{wkt}'\n[referents.fields]"), crs=wkt)
    assert "no lateral and no address 'L1'" in stated.rejects["reason"].iloc[0]


def test_digests_tell_content(town):
    """One file: the digest of its bytes. A Shapefile: all parts that say something, but not its indexes."""
    sheet = town.csv("a.csv", "run", "R1")
    # sha256sum of the text "run\nR1\n", by coreutils.
    assert sha256_of(sheet) == "e000b566f4fddc6efcc7dc0b35b8ba038ac0ea50ad553ca3ed05ddaecca2d798"
    path = town.layer("l.shp", LINES, lateral=["1", "2", "3"])
    before = sha256_of(path)
    (town.folder / "l.qix").write_bytes(b"index")
    assert sha256_of(path) == before
    (town.folder / "l.cpg").write_text("cp1252")
    assert sha256_of(path) != before


def test_files_are_told_from_the_folder_of_the_sources(town):
    """`source_file` is a posix path from the SOURCES.toml's folder; one row a file and section, with its count of records."""
    town.laterals("laterals.gpkg")
    town.csv("logs/deep/runs-2.csv", "run,lateral,ran_on,unit", "R2,L1,2024-05-31,ft")
    town.csv("logs/runs-1.csv", "run,lateral,ran_on,unit", "R1,L1,2024-05-31,ft", "R3,L9,2024-05-31,ft")
    gathered = town.gather('[laterals]\nfrom = "laterals.gpkg"\ntie_in = "start"\n[runs]\nfrom = "logs/**/runs-*.csv"\n')
    assert gathered.files[["file", "table", "read"]].to_numpy().tolist() == [
        ["laterals.gpkg", "laterals", 3],
        ["logs/deep/runs-2.csv", "runs", 1],
        ["logs/runs-1.csv", "runs", 2],
    ]
    assert gathered.tables["runs"]["source_file"].tolist() == ["logs/deep/runs-2.csv", "logs/runs-1.csv"]
