"""``load`` and ``recompute``: trials that write nothing, reports for people, repeated loads."""

import csv
import shutil

import pytest

import sewermap as door
from tests.cli.running import SOME_REJECTED, UTM, copy_town, good, sewermap


@pytest.fixture
def sources(tmp_path):
    """The sample town's plans, in a folder of their own."""
    return copy_town(tmp_path / "sources")


def test_a_trial_tells_all_and_writes_nothing(sources, tmp_path):
    """--check answers as the load will, with warnings of places too, and every byte of the file and its folder stays."""
    db = tmp_path / "new.gpkg"
    good(sewermap("create", "--crs", UTM, "--db", db))
    before = db.read_bytes()
    names = sorted(path.name for path in tmp_path.iterdir())
    trial = sewermap("load", sources[0], "--check", "--db", db, "--format", "json")
    assert db.read_bytes() == before
    assert sorted(path.name for path in tmp_path.iterdir()) == names
    real = sewermap("load", sources[0], "--db", db, "--format", "json")
    assert (trial.status, trial.out) == (real.status, real.out) == (SOME_REJECTED, trial.out)
    assert "Nothing was written (--check)." in sewermap("load", sources[0], "--check", "--db", db).out


def test_a_trial_on_a_server_writes_nothing(sources, postgis_url):
    """--check on PostGIS leaves every table empty."""
    good(sewermap("create", "--crs", UTM, "--db", postgis_url))
    assert sewermap("load", sources[0], "--check", "--db", postgis_url).status == SOME_REJECTED
    book = door.open(postgis_url)
    assert all(len(book.layer(name)) == 0 for name in ("laterals", "runs", "placed_observations", "source_files", "rejects"))


def test_a_trial_of_a_file_that_cannot_be_written(sources, tmp_path):
    """--check needs no right to write."""
    db = tmp_path / "new.gpkg"
    good(sewermap("create", "--crs", UTM, "--db", db))
    db.chmod(0o444)
    assert sewermap("load", sources[0], "--check", "--db", db).status == SOME_REJECTED


def test_people_read_counts_rejects_and_how_to_get_all(sources, tmp_path):
    """The table names each file with its counts; rejects follow in sentences with file, row and value."""
    db = tmp_path / "new.gpkg"
    good(sewermap("create", "--crs", UTM, "--db", db))
    done = sewermap("load", sources[0], "--db", db, "--rejects", tmp_path / "rejects.csv")
    assert "logs/brindlefold/runs-2025.csv" in done.out
    assert "logs/brindlefold/runs-2025.csv, row 24: lateral 'L-7777':" in done.out
    assert "'nan'" not in done.out
    with (tmp_path / "rejects.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    told = done.out.split("\nrejected:\n")[1].split("\n\n")[0].splitlines()
    assert [line.strip().split(":")[0] for line in told] == [f"{row['file']}, row {row['row']}" for row in rows]
    assert {"file", "row", "field", "value", "reason"} <= set(rows[0])


def test_no_rejects_give_an_empty_file(town, tmp_path):
    """--rejects writes its header also when every row was good, so that a script always finds the file."""
    db = shutil.copy(town.db, tmp_path / "town.gpkg")
    plan = tmp_path / "streets.toml"
    plan.write_text(f'[streets]\nfrom = "{town.folder.as_posix()}/gis/streets.geojson"\nfields.street = "name"\n')
    good(sewermap("load", plan, "--db", db, "--rejects", tmp_path / "rejects.csv"))
    with (tmp_path / "rejects.csv").open(encoding="utf-8", newline="") as file:
        assert {"file", "row", "field", "value", "reason"} <= set(next(csv.reader(file)))
        assert list(file) == []


def test_a_corrected_reading_moves_its_place(sources, tmp_path):
    """A corrected cell is a new version: counted as loaded, placed anew; the old row is kept, and no other lateral changes."""
    db = tmp_path / "new.gpkg"
    good(sewermap("create", "--crs", UTM, "--db", db))
    for plan in sources:
        sewermap("load", plan, "--db", db)
    old = door.open(db).layer("placed_observations").set_index("observation")
    log = sources[0].parent / "logs" / "brindlefold" / "observations-2023.csv"
    text = log.read_bytes()
    assert text.count(b"BF-1007,42.4,") == 1
    log.write_bytes(text.replace(b"BF-1007,42.4,", b"BF-1007,41.4,"))
    answer = sewermap("load", sources[0], "--db", db, "--format", "json").json
    changed = {
        file["file"]: (file["loaded"], file["withdrawn"]) for file in answer["files"] if file["loaded"] or file["withdrawn"]
    }
    assert changed == {"logs/brindlefold/observations-2023.csv": (1, 1)}
    new = door.open(db).layer("placed_observations").set_index("observation")
    assert set(old.index) - set(new.index) == {"BF-1007@42.4:crack:10"}
    assert set(new.index) - set(old.index) == {"BF-1007@41.4:crack:10"}
    # All runs of a lateral are solved together, so on this one they all may move a little; elsewhere nothing does.
    elsewhere = old.index[old["lateral"] != "L-0051"]
    assert old.loc[elsewhere, "measure_m"].equals(new.loc[elsewhere, "measure_m"])
    moved = new.loc["BF-1007@41.4:crack:10", "measure_m"] - old.loc["BF-1007@42.4:crack:10", "measure_m"]
    assert 0.1 < moved < 0.4
    good(sewermap("check", "--db", db))


def test_recompute_tells_what_it_placed(town, tmp_path):
    """``recompute`` says how many observations it placed, on standard error; rows of warnings are whole numbers."""
    db = shutil.copy(town.db, tmp_path / "town.gpkg")
    done = good(sewermap("recompute", "--db", db))
    count = sum(file["loaded"] for answer in town.reports for file in answer["files"] if file["table"] == "observations")
    assert f"placed {count} observations" in done.err
    assert done.out == ""
    assert ".0:" not in done.err
