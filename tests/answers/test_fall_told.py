"""Fall, sags and bends through load and history: what is recorded comes back as findings, on both engines."""

import numpy as np
import pytest
import shapely
from geopandas import GeoDataFrame

import sewermap
from sewermap.errors import SourceError
from tests.cli.running import good
from tests.cli.running import sewermap as run_program

X, Y = 500000.0, 4000000.0
STRAIGHT = shapely.LineString([(X, Y), (X, Y + 40)])
BENT = shapely.LineString([(X + 50, Y), (X + 50, Y + 10), (X + 55, Y + 15), (X + 60, Y + 15), (X + 60, Y + 12)])
HIGH = shapely.LineString([(X + 90, Y, 2.0), (X + 90, Y + 20, 2.5)])
FIELDS = ("what", "from_measure_m", "to_measure_m", "value", "unit", "sigma", "least_or_most", "against", "verdict", "note")


def sources(folder, rules=None):
    """Three laterals: one with inverts (elevations under zero) and standing water, one with depths and bends, one in 3-D."""
    lines = {
        "lateral": ["L1", "L2", "L3"],
        "diameter": ["4 in", "7 in", "100 mm"],
        "tie_in_invert": ["-1.50", None, None],
        "building_invert": ["-4' 3\"", None, None],
        "tie_in_depth": [None, "2.0", "2.0"],
        "building_depth": [None, "1.5 m", "1.0"],
    }
    GeoDataFrame(lines, geometry=[STRAIGHT, BENT, HIGH], crs="EPSG:26910").to_file(folder / "laterals.gpkg")
    (folder / "referents.csv").write_text("lateral,name,kind,measure\nL2,CO1,clean-out,12.0\nL1,CO1,clean-out,4.0\n")
    (folder / "runs.csv").write_text(
        "run,lateral,ran_on,unit,launch\nR1,L1,2024-05-31,m,tie-in\nR2,L1,2025-05-31,m,tie-in\nR3,L2,2025-05-31,m,tie-in\n"
    )
    (folder / "observations.csv").write_text(
        "run,reading,to_reading,kind,percent,depth\nR1,10,12,standing water,20,\nR2,10,13,standing water,30,\n"
        "R2,3.8,,clean-out,,\nR2,30,,clean-out,,\nR3,8,,joint,,1.9\nR3,12,,clean-out,,\n"
    )
    (folder / "legs.csv").write_text("lateral,reading,unit,angle\nL1,6,m,45\nL1,8,m,45\nL1,20 m,m,60\n")
    names = ("laterals.gpkg", "referents.csv", "runs.csv", "observations.csv", "legs.csv")
    plan = "".join(f'[{name.split(".")[0]}]\nfrom = "{name}"\n' for name in names)
    plan = plan.replace('"laterals.gpkg"', '"laterals.gpkg"\ntie_in = "start"')
    if rules is not None:
        (folder / "fall.toml").write_text(rules)
        plan += '[rules]\nfall = "fall.toml"\n'
    (folder / "SOURCES.toml").write_text(plan)
    return folder / "SOURCES.toml"


def rows(story, what):
    """The findings of one sort."""
    return [row for row in story["fall"] if row["what"] == what]


@pytest.fixture
def town(engine_where, tmp_path):
    """The three laterals, loaded."""
    book = sewermap.create(engine_where, "EPSG:26910")
    assert book.load(sources(tmp_path)).rejects.empty
    return book


def test_the_history_tells_fall_sags_and_bends(town):
    """Inverts under zero, in metres or feet, give the slope; water its depth and dip; legs and clean-outs the sums of bends."""
    story = town.history("L1")
    assert all(tuple(row) == FIELDS for row in story["fall"])
    (slope,) = rows(story, "slope")
    fall_m = 1.5 - 4.25 * 0.3048
    assert slope["value"] == pytest.approx(fall_m / 40)
    assert slope["sigma"] == pytest.approx(0.05 * 2**0.5 / 40)
    assert (slope["verdict"], slope["against"], slope["note"]) == ("flatter than", "table IPC 704.1", "inverts")
    assert slope["least_or_most"] == pytest.approx(1 / 96)
    (water,) = rows(story, "standing water")
    assert water["value"] == pytest.approx(0.3 * 4 * 0.0254)
    assert water["to_measure_m"] - water["from_measure_m"] == pytest.approx(3, abs=0.1)
    dip_mm = (water["value"] + slope["value"] * (water["to_measure_m"] - water["from_measure_m"]) / 2) * 1000
    assert f"dips {dip_mm:.0f} mm below an even grade" in water["note"]
    assert "as run R2 saw it on 2025-05-31" in water["note"]
    sums = rows(story, "bends")
    assert [row["value"] for row in sums] == [0, 150, 0]
    assert [row["verdict"] for row in sums] == ["within", "over", "within"]
    assert [row["from_measure_m"] for row in sums] == pytest.approx([0, 4, 30], abs=0.2)
    assert [row["least_or_most"] for row in sums] == [135] * 3
    distances = rows(story, "clean-out distance")
    assert sum(row["value"] for row in distances) == pytest.approx(40)


def test_depths_assume_level_ground_and_say_so(town):
    """With depths alone slopes are told for level ground, also at a located head, and of a 7 in pipe nothing is judged."""
    found = rows(town.history("L2"), "slope")
    length = BENT.length
    assert [row["value"] for row in found] == pytest.approx([0.1 / 8, 0.4 / (length - 8)], rel=0.05)
    assert {row["verdict"] for row in found} == {"no limit known"}
    assert all("ground assumed level" in row["note"] and "says nothing for this size" in row["note"] for row in found)
    bent = rows(town.history("L2"), "bends")
    assert [row["value"] for row in bent] == [45, 45 + 90]
    assert all("bends from the drawn line" in row["note"] for row in bent)


def test_heights_of_the_line_go_before_depths(town):
    """A line drawn in 3-D is taken as the pipe's invert where no inverts are given; its length is that along the pipe."""
    (slope,) = rows(town.history("L3"), "slope")
    assert slope["value"] == pytest.approx(0.025)
    assert slope["to_measure_m"] == pytest.approx(np.hypot(20, 0.5))
    assert slope["note"] == "heights of the drawn line, taken as the pipe's invert"
    assert slope["verdict"] == "steep enough"


def test_the_block_for_people(town):
    """The text names the tables and who decides, tells what is wrong, and counts what is not."""
    done = good(run_program("history", "L1", "--db", town.store.where))
    assert "Fall and bends (against table IPC 704.1 and table UPC 719.1; local code and the authority decide)" in done.out
    assert "slope 0.00 to 40.00 m: 1:196, 0.06 in per ft, flatter than 1:96 (inverts)" in done.out
    assert "150 degrees, over 135 degrees (45 + 45 + 60 degrees; bends as recorded" in done.out
    assert "5 of 6 checks of bends and distances between clean-outs keep the rule" in done.out


def test_a_place_has_its_own_rules(engine_where, tmp_path):
    """A rule file named in [rules] replaces the tables, and findings name its table; the sample stays as it was recorded."""
    book = sewermap.create(engine_where, "EPSG:26910")
    book.load(sources(tmp_path, 'slopes = "by-law 4"\nclean_outs = "Chicago"\n[[slope]]\nleast = "1:200"\n'))
    story = book.history("L1")
    (slope,) = rows(story, "slope")
    assert (slope["against"], slope["verdict"]) == ("table by-law 4", "doubtful")
    assert {row["verdict"] for row in rows(story, "bends")} == {"no limit known"}
    assert {row["verdict"] for row in rows(story, "clean-out distance")} == {"within", "over"}


def test_a_wrong_rule_file_stops_the_load(tmp_path):
    """What is wrong with a rule file is told when it is loaded, with file and key."""
    book = sewermap.create(tmp_path / "town.gpkg", "EPSG:26910")
    with pytest.raises(SourceError, match=r"SOURCES.toml, \[rules\]: fall = 'fall.toml': the rule file 'fall': .*no slope"):
        book.load(sources(tmp_path, '[[slope]]\nleast = "gentle"'))


def test_elevations_may_be_negative_and_depths_not(tmp_path):
    """A negative invert is an elevation under zero; a negative depth is rejected; an invert that no town has is warned of."""
    book = sewermap.create(tmp_path / "town.gpkg", "EPSG:26910")
    lines = {
        "lateral": ["L1", "L2", "L3", "L4"],
        "tie_in_invert": ["-2.5 m", "0", "98000", "low"],
        "tie_in_depth": ["1", "-1", None, None],
    }
    shapes = [shapely.LineString([(X + at, Y), (X + at, Y + 20)]) for at in range(4)]
    GeoDataFrame(lines, geometry=shapes, crs="EPSG:26910").to_file(tmp_path / "laterals.gpkg")
    (tmp_path / "SOURCES.toml").write_text('[laterals]\nfrom = "laterals.gpkg"\ntie_in = "start"\n')
    report = book.load(tmp_path / "SOURCES.toml")
    assert report.rejects[["row", "field"]].to_numpy().tolist() == [[2, "tie_in_depth"], [4, "tie_in_invert"]]
    warned = report.warnings[report.warnings["field"] == "tie_in_invert"]
    assert warned["row"].tolist() == [3]
    assert book.layer("laterals").set_index("lateral")["tie_in_invert_m"].to_dict() == {"L1": -2.5, "L3": 98000}


def test_a_mended_sag_is_told_no_more(tmp_path):
    """Water that a replacement mended, and no later run saw, is no finding."""
    folder = tmp_path / "files"
    folder.mkdir()
    plan = sources(folder)
    (folder / "works.csv").write_text("work,lateral,done_on,kind,from_measure,to_measure\nW1,L1,2025-07-01,replacement,5,20\n")
    (folder / "runs.csv").write_text((folder / "runs.csv").read_text() + "R9,L1,2025-08-01,m,tie-in\n")
    (folder / "observations.csv").write_text((folder / "observations.csv").read_text() + "R9,40,,building,,\n")
    plan.write_text(plan.read_text() + '[works]\nfrom = "works.csv"\n')
    book = sewermap.create(tmp_path / "town.gpkg", "EPSG:26910")
    book.load(plan)
    story = book.history("L1")
    assert {issue["state"] for issue in story["issues"]} == {"mended"}
    assert rows(story, "standing water") == []


def test_every_lateral_of_the_sample_town_has_its_checks(book):
    """Whatever is known or not: each lateral of the town has sums of bends and distances that cover it from end to end."""
    for row in book.layer("laterals").head(12).itertuples():
        found = book.history(row.lateral)["fall"]
        for what in ("bends", "clean-out distance"):
            parts = [one for one in found if one["what"] == what]
            assert parts[0]["from_measure_m"] == 0
            assert parts[-1]["to_measure_m"] == pytest.approx(row.length_m)
            assert [one["to_measure_m"] for one in parts[:-1]] == [one["from_measure_m"] for one in parts[1:]]
