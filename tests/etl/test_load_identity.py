"""What a second load may change, and what it may not: identity, versions, withdrawal."""

import shutil

import pandas as pd
import pytest
import shapely

import sewermap
from sewermap.book import Book

PLAN = """
crs = "EPSG:26910"
[laterals]
from = "laterals.gpkg"
tie_in = "start"
[runs]
from = "runs*.csv"
[runs.defaults]
unit = "ft"
[observations]
from = "seen*.csv"
"""

RUNS = ("run,lateral,ran_on", "R1,L1,2024-05-01", "R2,L2,2024-05-02")
SEEN = ("run,reading,kind,remark", "R1,10,roots,", "R1,20,crack,at joint", "R2,5,roots,", "R2,5,roots,")


@pytest.fixture
def book(engine_where: str) -> Book:
    """An empty database, once on each engine."""
    return sewermap.create(engine_where, "EPSG:26910")


@pytest.fixture
def loaded(book: Book, town) -> Book:
    """The town's three laterals with two runs."""
    town.laterals()
    town.csv("runs.csv", *RUNS)
    town.csv("seen.csv", *SEEN)
    book.load(town.toml(PLAN))
    return book


def counts(report, table: str) -> dict[str, int]:
    """Of one section, all files together."""
    numbers = ["read", "loaded", "unchanged", "rejected", "withdrawn"]
    return report.files.loc[report.files["table"] == table, numbers].sum().to_dict()


def state(book: Book) -> dict[str, pd.DataFrame]:
    """All that answers can show, as plain text."""
    return {
        name: pd.DataFrame(book.layer(name)).astype(str)
        for name in ("laterals", "runs", "observations", "placed_observations", "run_coverages", "rejects", "lateral_lines")
    }


def assert_same(first: dict[str, pd.DataFrame], second: dict[str, pd.DataFrame]) -> None:
    """Every table holds the same rows in the same order."""
    for name, table in first.items():
        pd.testing.assert_frame_equal(table, second[name], obj=name)


def raw(book: Book, table: str) -> pd.DataFrame:
    """A table with its old rows too."""
    with book.store.reading() as conn:
        return pd.read_sql(f"SELECT * FROM {table} ORDER BY id", conn)


def test_loading_again_changes_nothing(loaded: Book, town) -> None:
    """The second load of the same files reads every row and changes none, and the tables are the same."""
    before = state(loaded)
    report = loaded.load(town.folder / "SOURCES.toml")
    assert counts(report, "observations") == {"read": 4, "loaded": 0, "unchanged": 4, "rejected": 0, "withdrawn": 0}
    assert counts(report, "runs") == {"read": 2, "loaded": 0, "unchanged": 2, "rejected": 0, "withdrawn": 0}
    assert_same(before, state(loaded))


def test_loading_again_does_not_even_touch_the_file(tmp_path, town) -> None:
    """A GeoPackage's bytes are the same after a load that had nothing new."""
    book = sewermap.create(tmp_path / "town.gpkg", "EPSG:26910")
    town.laterals()
    town.csv("runs.csv", *RUNS)
    town.csv("seen.csv", *SEEN)
    book.load(town.toml(PLAN))
    before = (tmp_path / "town.gpkg").read_bytes()
    book.load(town.folder / "SOURCES.toml")
    assert (tmp_path / "town.gpkg").read_bytes() == before


def test_equal_rows_in_one_file_are_kept_and_counted(loaded: Book) -> None:
    """Two equal rows are two observations with two names."""
    names = loaded.layer("placed_observations").query("run == 'R2'")["observation"].tolist()
    assert names == ["R2@5:roots", "R2@5:roots#2"]


def test_sorted_and_appended_files_load_only_what_was_appended(loaded: Book, town) -> None:
    """Line numbers are no identity."""
    town.csv("seen.csv", SEEN[0], *reversed(SEEN[1:]), "R1,30,sag,")
    report = loaded.load(town.folder / "SOURCES.toml")
    assert counts(report, "observations") == {"read": 5, "loaded": 1, "unchanged": 4, "rejected": 0, "withdrawn": 0}


def test_a_corrected_reading_replaces_the_old_one(loaded: Book, town) -> None:
    """The old row is kept as withdrawn and no longer placed; the new one is loaded and placed."""
    town.csv("seen.csv", *SEEN[:2], "R1,21,crack,at joint", *SEEN[3:])
    report = loaded.load(town.folder / "SOURCES.toml")
    assert counts(report, "observations") == {"read": 4, "loaded": 1, "unchanged": 3, "rejected": 0, "withdrawn": 1}
    assert "R1@21:crack" in loaded.layer("placed_observations")["observation"].tolist()
    assert "R1@20:crack" not in loaded.layer("placed_observations")["observation"].tolist()
    kept = raw(loaded, "observations")
    assert len(kept) == 5
    assert kept.loc[kept["withdrawn_in"].notna(), "reading"].tolist() == ["20"]


def test_another_remark_is_a_new_version_of_the_same_observation(loaded: Book, town) -> None:
    """It keeps its name, nothing is withdrawn, and the old version points to the new one."""
    town.csv("seen.csv", *SEEN[:2], "R1,20,crack,at second joint", *SEEN[3:])
    report = loaded.load(town.folder / "SOURCES.toml")
    assert counts(report, "observations") == {"read": 4, "loaded": 1, "unchanged": 3, "rejected": 0, "withdrawn": 0}
    placed = loaded.layer("placed_observations").set_index("observation")
    assert placed.loc["R1@20:crack", "remark"] == "at second joint"
    kept = raw(loaded, "observations")
    old = kept[kept["replaced_by"].notna()]
    assert old["remark"].tolist() == ["at joint"]
    assert kept.loc[kept["id"] == old["replaced_by"].iloc[0], "remark"].tolist() == ["at second joint"]


def test_a_run_that_the_newer_file_does_not_mention_stays(loaded: Book, town) -> None:
    """A file states the runs it holds, and says nothing of others."""
    town.csv("seen.csv", *SEEN[:3])
    report = loaded.load(town.folder / "SOURCES.toml")
    assert counts(report, "observations")["withdrawn"] == 0
    assert len(loaded.layer("placed_observations")) == 4


def test_a_row_that_another_file_still_says_stays(loaded: Book, town) -> None:
    """Only when the last file drops a row is it withdrawn."""
    town.csv("seen-all.csv", *SEEN)
    report = loaded.load(town.folder / "SOURCES.toml")
    assert counts(report, "observations") == {"read": 8, "loaded": 0, "unchanged": 8, "rejected": 0, "withdrawn": 0}
    town.csv("seen.csv", *SEEN[:2], *SEEN[3:])
    report = loaded.load(town.folder / "SOURCES.toml")
    assert counts(report, "observations")["withdrawn"] == 0
    town.csv("seen-all.csv", *SEEN[:2], *SEEN[3:])
    report = loaded.load(town.folder / "SOURCES.toml")
    assert counts(report, "observations")["withdrawn"] == 1
    assert len(loaded.layer("placed_observations")) == 3


def test_a_corrected_line_is_a_new_version_and_its_readings_are_placed_anew(loaded: Book, town) -> None:
    """The old line is kept; the readings of that lateral move with the new one, the others stay."""
    before = loaded.layer("placed_observations").set_index("observation")
    lines = [shapely.LineString([(500110, 4000000), (500110, 4000020)])]
    town.layer("laterals.gpkg", lines, lateral=["L1"], address=["14"], street=["Alder Street"])
    report = loaded.load(town.folder / "SOURCES.toml")
    assert counts(report, "laterals") == {"read": 1, "loaded": 1, "unchanged": 0, "rejected": 0, "withdrawn": 0}
    after = loaded.layer("placed_observations").set_index("observation")
    assert after.loc["R1@10:roots", "x"] == pytest.approx(before.loc["R1@10:roots", "x"] + 100)
    assert after.loc["R2@5:roots", "x"] == before.loc["R2@5:roots", "x"]
    assert len(raw(loaded, "lateral_lines")) == 4
    assert len(loaded.layer("laterals")) == 3


def test_a_run_that_belongs_to_another_lateral_moves_there(loaded: Book, town) -> None:
    """A corrected run is a new version, and what it saw is placed on the right line."""
    town.csv("runs.csv", RUNS[0], "R1,L3,2024-05-01", RUNS[2])
    report = loaded.load(town.folder / "SOURCES.toml")
    assert counts(report, "runs") == {"read": 2, "loaded": 1, "unchanged": 1, "rejected": 0, "withdrawn": 0}
    placed = loaded.layer("placed_observations")
    assert set(placed.loc[placed["run"] == "R1", "lateral"]) == {"L3"}
    assert set(loaded.layer("run_coverages")["lateral"]) == {"L2", "L3"}


def test_a_file_that_says_what_it_always_said_does_not_undo_a_correction(loaded: Book, town) -> None:
    """A correction loaded from another file holds, however often the old file is loaded again by itself."""
    shutil.move(town.folder / "runs.csv", town.folder / "old.csv")
    old = town.toml(PLAN.replace("runs*.csv", "old.csv"), "old.toml")
    loaded.load(old)
    town.csv("runs.csv", RUNS[0], "R1,L3,2024-05-01")
    loaded.load(town.toml(PLAN))
    report = loaded.load(old)
    assert counts(report, "runs") == {"read": 2, "loaded": 0, "unchanged": 2, "rejected": 0, "withdrawn": 0}
    assert loaded.layer("runs").set_index("run").loc["R1", "lateral"] == "L3"


def test_a_correction_taken_back_is_a_third_version(loaded: Book, town) -> None:
    """What was recorded in between is kept, and the newest content of the file holds."""
    plan = town.folder / "SOURCES.toml"
    for lateral in ("L3", "L1"):
        town.csv("runs.csv", RUNS[0], f"R1,{lateral},2024-05-01", RUNS[2])
        loaded.load(plan)
    versions = raw(loaded, "runs").query("run == 'R1'")
    assert versions["lateral"].tolist() == ["L1", "L3", "L1"]
    assert versions["replaced_by"].notna().tolist() == [True, True, False]


def test_two_loads_give_what_one_would_have_given(book: Book, town, tmp_path) -> None:
    """No column of an answer depends on when, or in how many attempts, it was loaded."""
    town.laterals()
    town.csv("runs.csv", *RUNS)
    town.csv("seen.csv", *SEEN[:3])
    book.load(town.toml(PLAN))
    town.csv("seen.csv", *SEEN, "R1,10,roots,second look")
    book.load(town.folder / "SOURCES.toml")
    at_once = sewermap.create(tmp_path / "once.gpkg", "EPSG:26910")
    at_once.load(town.folder / "SOURCES.toml")
    assert_same(state(at_once), state(book))


def test_recompute_gives_the_same_rows(loaded: Book) -> None:
    """Computed tables are built again from what was recorded, to the same rows."""
    before = state(loaded)
    loaded.recompute()
    assert_same(before, state(loaded))


def test_a_trial_load_writes_nothing(loaded: Book, town) -> None:
    """It tells what would happen, and the tables stay as they are."""
    before = state(loaded)
    town.csv("seen.csv", *SEEN, "R1,31,sag,")
    report = loaded.load(town.folder / "SOURCES.toml", check=True)
    assert counts(report, "observations")["loaded"] == 1
    assert_same(before, state(loaded))


def test_a_mended_row_leaves_the_rejects(loaded: Book, town) -> None:
    """Rejects are those of the files as they are now; what was rejected before is kept in the table as withdrawn."""
    town.csv("seen.csv", *SEEN, "R1,31,gremlin,")
    report = loaded.load(town.folder / "SOURCES.toml")
    assert counts(report, "observations") == {"read": 5, "loaded": 0, "unchanged": 4, "rejected": 1, "withdrawn": 0}
    assert loaded.layer("rejects")["value"].tolist() == ["gremlin"]
    again = loaded.load(town.folder / "SOURCES.toml")
    assert counts(again, "observations")["rejected"] == 1
    assert len(loaded.layer("rejects")) == 1
    town.csv("seen.csv", *SEEN, "R1,31,sag,")
    loaded.load(town.folder / "SOURCES.toml")
    assert loaded.layer("rejects").empty
    assert len(raw(loaded, "rejects")) == 1


def test_a_place_rule_moves_places_and_is_kept(loaded: Book, town) -> None:
    """A rule file given later places everything anew, and holds for loads that do not name it."""
    before = loaded.layer("placed_observations")["sigma_m"]
    (town.folder / "counter.toml").write_text("[counter]\nlaunch_m = 1.5\n")
    with_rule = town.toml(PLAN + '[rules]\ncounter = "counter.toml"\n', "rule.toml")
    loaded.load(with_rule)
    after = loaded.layer("placed_observations")["sigma_m"]
    assert (after > before + 1).all()
    town.csv("seen.csv", *SEEN, "R1,31,sag,")
    loaded.load(town.folder / "SOURCES.toml")
    assert (loaded.layer("placed_observations")["sigma_m"] > 1.5).all()
    assert set(loaded.layer("counter_settings")["origin"]) == {"the place's rule"}


def test_a_broken_load_changes_nothing(loaded: Book, town, monkeypatch) -> None:
    """A load lands whole or not at all: an error while placing takes back what was recorded."""
    before = state(loaded)
    town.csv("seen.csv", *SEEN, "R1,31,sag,")
    monkeypatch.setattr("etl.load.recompute", lambda *_: 1 / 0)
    with pytest.raises(ZeroDivisionError):
        loaded.load(town.folder / "SOURCES.toml")
    assert_same(before, state(loaded))
