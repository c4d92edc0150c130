"""The files of the town: what is shipped is what the program makes, and a load takes and rejects what it should."""

from pathlib import Path

import geopandas as gpd
import pandas as pd
import pyogrio
import pyproj
import pytest

from etl.known import Known
from etl.pipeline import gather
from etl.plan import read_plan
from sample_gis import EASY, data_folder, make_town, plan_names, write
from sample_gis.__main__ import main
from sample_gis.streets import CRS
from tests.sample_gis.pixels import pixels_in

GEO = (".gpkg", ".fgb", ".geojson", ".zip")


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """A fresh town of the default seed, written."""
    folder = tmp_path_factory.mktemp("town")
    write(make_town(), folder)
    return folder


def files_of(folder: Path) -> list[str]:
    """Paths of all files below a folder, relative to it."""
    return sorted(path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file())


def test_shipped_town_is_what_the_program_makes(made):
    """The installed data hold the same files as a fresh town of the default seed; texts agree byte by byte, layers in content,
    pictures by pixels.
    """
    shipped = data_folder()
    assert files_of(shipped) == files_of(made)
    for name in files_of(made):
        if name.endswith(".png"):
            assert (pixels_in(shipped / name) == pixels_in(made / name)).all(), name
            continue
        if not name.endswith(GEO):
            assert (shipped / name).read_bytes() == (made / name).read_bytes(), name
            continue
        assert pyogrio.list_layers(shipped / name)[:, 0].tolist() == pyogrio.list_layers(made / name)[:, 0].tolist()
        for layer in pyogrio.list_layers(made / name)[:, 0]:
            ours, theirs = (gpd.read_file(folder / name, layer=layer) for folder in (made, shipped))
            columns = list(ours.columns)
            ours, theirs = (frame.sort_values(columns[0], ignore_index=True)[columns] for frame in (ours, theirs))
            pd.testing.assert_frame_equal(
                pd.DataFrame(ours.drop(columns="geometry")), pd.DataFrame(theirs.drop(columns="geometry"))
            )
            assert ours.geometry.geom_equals_exact(theirs.geometry, 1e-6).all()


def test_shipped_town_is_small():
    """All of the installed data are less than a megabyte."""
    assert sum(path.stat().st_size for path in data_folder().rglob("*") if path.is_file()) < 1_000_000


def test_logs_come_in_three_shapes(made):
    """One crew writes UTF-8 with commas, one Windows-1252 with semicolons, one UTF-8 with a byte order mark and tabs."""
    first, second, third = (
        next((made / "logs" / crew).glob("runs-2024.*")).read_bytes() for crew in ("brindlefold", "brumelaine", "fennimole")
    )
    assert first.startswith(b"Job,Line,Date")
    assert "Départ;".encode("cp1252") in second
    with pytest.raises(UnicodeDecodeError):
        second.decode("utf-8")
    assert third.startswith(b"\xef\xbb\xbfjob no\t")
    assert b'"""' in third


def test_one_picture_that_is_named_is_missing(made):
    """Every picture is named by an observation beside whose log it lies; just one that is named is not there."""
    town = make_town()
    named = town.observations.dropna(subset="picture")
    crews = {0: "brindlefold", 1: "brumelaine", 2: "fennimole"}
    paths = {f"logs/{crews[crew]}/{name}" for crew, name in zip(named["crew"], named["picture"], strict=True)}
    there = {name for name in files_of(made) if name.endswith(".png")}
    assert there < paths
    assert len(paths - there) == 1
    assert len(there) == 12
    assert set(named["crew"]) == {0, 1, 2}


@pytest.fixture(scope="module")
def gathered(made):
    """What each SOURCES file gives, each knowing what those before it gave."""
    known, loads = Known(), []
    for name in plan_names():
        load = gather(read_plan(made / name), known, pyproj.CRS(CRS), 1.0)
        for section in ("mains", "laterals", "referents", "runs"):
            if section in load.tables:
                known = known.joined(section, load.tables[section], load.tables[section].iloc[:0])
        loads.append(load)
    return loads


def test_bad_rows_and_no_others_are_rejected(made, gathered):
    """A load rejects the rows that truth/bad_rows.csv lists, at the file, row and field it names, and not one more."""
    told = pd.read_csv(made / "truth" / "bad_rows.csv")
    expected = set(told[told["expect"] == "rejected"][["file", "row", "field"]].itertuples(index=False, name=None))
    rejects = pd.concat([load.rejects for load in gathered])
    assert set(rejects[["file", "row", "field"]].itertuples(index=False, name=None)) == expected
    warnings = pd.concat([load.warnings for load in gathered])
    warned = set(told[told["expect"] == "warning"][["file", "row", "field"]].itertuples(index=False, name=None))
    assert warned <= set(warnings[["file", "row", "field"]].itertuples(index=False, name=None))


def test_what_is_read_is_what_was_seen(made, gathered):
    """Each observation of the truth table is among the good rows, at its file and row, with its reading and kind."""
    truth = pd.read_csv(made / "truth.csv", dtype={"reading": "str"})
    rows = pd.concat([load.tables["observations"] for load in gathered])
    both = truth.merge(rows, on=["source_file", "source_row"], suffixes=("", "_read"))
    assert len(both) == len(truth)
    for column in ("run", "reading", "kind"):
        assert (both[column] == both[f"{column}_read"]).all()
    town = make_town()
    expected = town.observations.set_index(["run_name", "reading", "kind"])["reading_m"]
    read = both.set_index(["run", "reading", "kind"])["reading_m"]
    assert (read - expected.reindex(read.index)).abs().max() < 1e-6


def test_lines_are_loaded_from_the_main_up(gathered):
    """Lines drawn from the house down are turned round; one drawn in two parts that meet is joined."""
    lines = gathered[0].tables["laterals"].sort_values("lateral", ignore_index=True)
    town = make_town()
    assert len(lines) == len(town.laterals)
    drawn = gpd.GeoSeries(lines["geometry"].to_numpy(), crs=CRS)
    starts = gpd.GeoSeries.from_xy(*town.ground.drawn.xy[:, 0].T, crs=CRS)
    assert drawn.interpolate(0.0).distance(starts).max() < 1e-6
    assert abs(drawn.length - town.ground.drawn.length_m).max() < 1e-6


def test_town_without_one_of_the_crews_is_refused(tmp_path):
    """A town of one crew has no logs for the other crews' SOURCES files to name, so it is not written."""
    with pytest.raises(ValueError, match="all three crews"):
        write(make_town(1, 30, EASY), tmp_path)


def test_program_writes_a_town(tmp_path, capsys):
    """The program writes a town of the asked size and says what to load; a town too small for three crews is wrong usage."""
    assert main([str(tmp_path / "t"), "--seed", "9", "--laterals", "24", "--difficulty", "hard"]) == 0
    assert "SOURCES.toml, then SOURCES-brumelaine.toml" in capsys.readouterr().err
    assert len(gpd.read_file(tmp_path / "t" / "gis" / "lots.fgb")) == 24
    with pytest.raises(SystemExit, match="2"):
        main([str(tmp_path / "u"), "--laterals", "5"])
