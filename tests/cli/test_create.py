"""``create``: by CRS, by a layer, by a place; what it refuses."""

import warnings

import fiona
import geopandas as gpd
import pyogrio
import pytest
import shapely

import sewermap as door
from tests.cli.running import good, sewermap

REFUSED = {
    "degrees": (["--crs", "EPSG:4326"], "degrees"),
    "heights alone": (["--crs", "EPSG:5703"], "projected"),
    "no CRS": (["--crs", "bla"], "EPSG:26910"),
    "a code that is none": (["--crs", "EPSG:99999"], "EPSG:99999"),
    "a layer in degrees": (["--like", "{folder}/gis/streets.geojson"], "degrees"),
    "a layer that is none": (["--like", "{folder}/README.txt"], "README.txt"),
    "a layer that is not there": (["--like", "{folder}/none.shp"], "none.shp"),
    "a layer without CRS": (["--like", "{out}/nowhere.fgb"], "--crs EPSG:N"),
    "a sheet": (["--like", "{folder}/office/works.csv"], "works.csv"),
    "a place that is none": (["--near", "here"], "LON,LAT"),
    "half a place": (["--near", "5"], "LON,LAT"),
    "three numbers": (["--near", "5,50,3"], "LON,LAT"),
    "a place beyond the poles": (["--near", "5,99"], "latitude"),
    "latitude before longitude": (["--near", "36.97,-122.03"], "latitude"),
    "no number": (["--near", "nan,nan"], "nan"),
}


def test_by_code(tmp_path):
    """--crs makes an empty, sound database in that CRS, says so, and says what to do next."""
    done = good(sewermap("create", "--crs", "EPSG:26910", "--db", tmp_path / "new.gpkg"))
    assert done.out == ""
    assert "EPSG:26910" in done.err
    assert "sewermap load" in done.err
    assert door.open(tmp_path / "new.gpkg").crs == "EPSG:26910"
    good(sewermap("check", "--db", tmp_path / "new.gpkg"))
    assert pyogrio.read_info(tmp_path / "new.gpkg", layer="laterals")["crs"] == "EPSG:26910"
    with fiona.open(tmp_path / "new.gpkg", layer="laterals") as layer:
        assert len(layer) == 0
    assert good(sewermap("defects", "--format", "json", "--db", tmp_path / "new.gpkg")).json == []
    good(sewermap("export", tmp_path / "out.csv", "--db", tmp_path / "new.gpkg"))
    good(sewermap("site", tmp_path / "site", "--db", tmp_path / "new.gpkg"))


def test_like_a_layer(town, tmp_path):
    """--like takes the CRS of a layer's file, feet included."""
    good(sewermap("create", "--like", town.folder / "gis" / "lots.fgb", "--db", tmp_path / "new.gpkg"))
    assert door.open(tmp_path / "new.gpkg").crs == "EPSG:26910"
    feet = gpd.GeoDataFrame(geometry=[shapely.Point(728368, 877125)], crs="EPSG:2223")
    feet.to_file(tmp_path / "feet.gpkg")
    good(sewermap("create", "--like", tmp_path / "feet.gpkg", "--db", tmp_path / "feet-town.gpkg"))
    assert door.open(tmp_path / "feet-town.gpkg").store.metres_per_unit == 0.3048


@pytest.mark.parametrize(
    ("place", "crs"),
    [("-122.03,36.97", "EPSG:32610"), ("14.4,50.1", "EPSG:32633"), ("151.2,-33.9", "EPSG:32756"), (" 179.9 , 1 ", "EPSG:32660")],
)
def test_near_a_place(tmp_path, place, crs):
    """--near takes the UTM zone of a place (zones: 6 degrees each from 180 west, 326xx north and 327xx south)."""
    good(sewermap("create", "--near", place, "--db", tmp_path / "new.gpkg"))
    assert door.open(tmp_path / "new.gpkg").crs == crs


@pytest.mark.parametrize(("words", "hint"), REFUSED.values(), ids=REFUSED)
def test_refused(town, tmp_path, words, hint):
    """What is no projected CRS is refused in one line, and no file is left behind."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # that it has no CRS is meant
        gpd.GeoDataFrame(geometry=[shapely.Point(1, 2)]).to_file(tmp_path / "nowhere.fgb", driver="FlatGeobuf")
    done = sewermap("create", *(word.format(folder=town.folder, out=tmp_path) for word in words), "--db", tmp_path / "new.gpkg")
    assert done.is_one_line_error, done
    assert hint in done.err
    assert not (tmp_path / "new.gpkg").exists()


def test_what_is_there_is_never_overwritten(town, tmp_path):
    """A database, another program's file or a text that is there is refused and keeps its bytes."""
    for name, data in {"town.gpkg": town.db.read_bytes(), "text.gpkg": b"mine", "empty.gpkg": b""}.items():
        (tmp_path / name).write_bytes(data)
        done = sewermap("create", "--crs", "EPSG:26910", "--db", tmp_path / name)
        assert done.is_one_line_error, name
        assert (tmp_path / name).read_bytes() == data


def test_twice_on_each_engine(engine_where):
    """The second create is refused on a server as on a disk, and the first one's database still works."""
    good(sewermap("create", "--crs", "EPSG:26910", "--db", engine_where))
    assert sewermap("create", "--crs", "EPSG:32633", "--db", engine_where).is_one_line_error
    assert door.open(engine_where).crs == "EPSG:26910"
    good(sewermap("check", "--db", engine_where))
