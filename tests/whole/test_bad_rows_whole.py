"""Files full of bad rows through the command line, on both engines: each good row lands, each bad one is told, none is lost."""

import csv
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pytest
import shapely

import sewermap as door
from sewermap.plain import as_written
from sewermap.store.tables import RECORDED
from tests.cli.running import SOME_REJECTED, Done, good, sewermap

UTM = "EPSG:26910"
SOURCES = """
crs = "EPSG:26910"
[mains]
from = "mains.geojson"
[parcels]
from = "parcels.gpkg"
[laterals]
from = ["laterals.gpkg", "far.geojson"]
tie_in = "start"
[referents]
from = "referents.csv"
[runs]
from = "runs-*.csv"
[observations]
from = "observations.csv"
separator = ";"
[works]
from = "works.csv"
[warranties]
from = "warranties.csv"
"""


def line(*points: tuple[float, float]) -> shapely.LineString:
    """A line through these offsets from 500000, 4000000."""
    return shapely.LineString([(500000 + x, 4000000 + y) for x, y in points])


def not_a_number() -> shapely.LineString:
    """A line with a coordinate that is no number."""
    with np.errstate(invalid="ignore"):
        return shapely.LineString([(500000, float("nan")), (500001, 4000000)])


TORN = shapely.MultiLineString([line((0, 0), (0, 5)), line((0, 6), (0, 9))])
JOINING = shapely.MultiLineString([line((5, 0), (5, 8)), line((5, 8), (5, 20))])

LATERALS: list[
    tuple[Any, str | None, str | None, str]
] = [  # geometry, lateral, map accuracy; field and a word of the reason, or ""
    (line((0, 0), (0, 20)), "L1", None, ""),
    (JOINING, "L2", "0.2", ""),
    (line((9, 0), (9, 18)), "L3", None, ""),
    (TORN, "B1", None, "geometry join"),
    (shapely.LineString(), "B2", None, "geometry geometry"),
    (None, "B3", None, "geometry geometry"),
    (not_a_number(), "B4", None, "geometry number"),
    (shapely.Point(500000, 4000000), "B5", None, "geometry line"),
    (line((3, 3), (3, 3)), "B6", None, "geometry length"),
    (line((1, 0), (1, 9)), None, None, "lateral needed"),
    (line((1, 0), (1, 9)), "B7", "-0.3", "map_accuracy nothing"),
    (line((1, 0), (1, 9)), "B8", "wide", "map_accuracy length"),
    (line((1, 0), (1, 9)), "B9", None, "lateral different"),
    (line((1, 0), (1, 8)), "B9", None, "lateral different"),
]

SHEETS: dict[str, list[tuple[bytes, str]]] = {  # rows as bytes; field and a word of the reason, or ""
    "referents.csv": [
        (b"lateral,name,kind,measure,x,y", ""),
        (b"L1,CO1,clean-out,6.5,,", ""),
        (b"L1,CO2,clean-out,,500000,", "y without"),
        (b"L1,CO3,chimney,6,,", "kind known"),
        (b"L1,CO4,clean-out,,,", "measure where"),
        (b"L1,CO5,clean-out,-1,,", "measure nothing"),
    ],
    "runs-1.csv": [
        (b"run,lateral,ran_on,unit,launch,direction,launch_reading,end_reading,reason,remark", ""),
        (b"R1,L1,2024-05-31,ft,,,,,check,=HYPERLINK(1)", ""),
        (b"R2,L2,05/31/2024,ft,,,,,,+1", ""),
        (b"R3,L3,31.5.2024,m,,,,,,@sum", ""),
        (b"R4,L4,2024-05-31,ft,,,,,,", "lateral L4"),
        (b"R5,B1,2024-05-31,ft,,,,,,", "lateral rejected"),
        (b"R6,,2024-05-31,ft,,,,,,", "lateral needed"),
        (b"R7,L1,2024-02-30,ft,,,,,,", "ran_on day"),
        (b"R8,L1,,ft,,,,,,", "ran_on needed"),
        (b"R9,L1,some day,ft,,,,,,", "ran_on day"),
        (b"R10,L1,2024-05-31,yd,,,,,,", "unit yd"),
        (b"R11,L1,2024-05-31,,,,,,,", "unit needed"),
        (b"R12,L1,2024-05-31,ft,CO9,to main,,,,", "launch CO9"),
        (b"R13,L1,2024-05-31,ft,CO1,,,,,", "direction direction"),
        (b"R14,L1,2024-05-31,ft,,sideways,,,,", "direction sideways"),
        (b"R15,L1,2024-05-31,ft,,,9,5,,", "end_reading smaller"),
        (b"R16,L1,2024-05-31,ft,,,,,whim,", "reason whim"),
        (b",L1,2024-05-31,ft,,,,,,", "run needed"),
        (b"R17,L1,2024-05-31,ft,,,,,a\0b,", " NUL"),
        (b"R18,L1,2024-05-31,ft,,,,", " cells"),
        (b"R19,L1,2024-05-31,ft,,,,,,,,", " cells"),
        (b"R20,L1,2024-05-31,ft,,,,,,", "run different"),
        (b"R21,L1,2024-05-31,ft,,,-4,,,", "launch_reading nothing"),
    ],
    "runs-2.csv": [
        (b"run,lateral,ran_on,unit", ""),
        (b"R20,L2,2024-05-31,ft", "run different"),
        (b"R22,L2,2025-05-31,ft", ""),
        (b"R22,L2,2025-05-31,ft", ""),
    ],
    "observations.csv": [
        (b"run;reading;to_reading;kind;clock_from;percent;grade;located_x;located_y;located_crs;remark", ""),
        ("R1;12.5;;roots;3;30;4;;;;Bäume".encode("cp1252"), ""),
        (b"R1;12.5;;roots;3;30;4;;;;B\xe4ume", ""),
        (b"R2;20' 6\";;crack;;;2;;;;=1+1", ""),
        (b"R3;13,57;;joint;;;;;;;-2", ""),
        (b"R3;200;;roots;;;;;;;far past the line", ""),
        (b"R4;1;;roots;;;;;;;", "run rejected"),
        (b"R99;1;;roots;;;;;;;", "run R99"),
        (b";1;;roots;;;;;;;", "run needed"),
        (b"R1;;;roots;;;;;;;", "reading needed"),
        (b"R1;-1;;roots;;;;;;;", "reading nothing"),
        (b"R3;301;;roots;;;;;;;", "reading 300"),
        (b"R1;985;;roots;;;;;;;", "reading 300"),
        (b"R1;12 ft 3 m;;roots;;;;;;;", "reading units"),
        (b"R1;1,234;;roots;;;;;;;", "reading 1,234"),
        (b"R1;inf;;roots;;;;;;;", "reading inf"),
        (b"R1;nan;;roots;;;;;;;", "reading nan"),
        (b"R1;1e400;;roots;;;;;;;", "reading 1e400"),
        (b"R1;about ten;;roots;;;;;;;", "reading about"),
        (b"R1;1;x;roots;;;;;;;", "to_reading x"),
        (b"R1;1;;gremlin;;;;;;;", "kind gremlin"),
        (b"R1;1;;;;;;;;;", "kind needed"),
        (b"R1;1;;roots;13;;;;;;", "clock_from 13"),
        (b"R1;1;;roots;;101;;;;;", "percent 101"),
        (b"R1;1;;roots;;-1;;;;;", "percent -1"),
        (b"R1;1;;roots;;;6;;;;", "grade 6"),
        (b"R1;1;;roots;;;;500000;;;", "located_y without"),
        (b"R1;1;;roots;;;;500000;4000000;EPSG:1;", "located_crs EPSG:1"),
        (b"R1;1;;roots;;;;east;4000000;;", "located_x east"),
    ],
    "works.csv": [
        (b"work,lateral,done_on,kind,from_measure,to_measure", ""),
        (b"W1,L1,2024-06-01,root cutting,,", ""),
        (b"W2,L1,2024-06-01,magic,,", "kind magic"),
        (b"W3,L1,2024-06-31,cleaning,,", "done_on day"),
        (b"W4,L1,2024-06-01,cleaning,-1,3", "from_measure nothing"),
    ],
    "warranties.csv": [
        (b"warranty,lateral,begins_on,term", ""),
        (b"G1,L1,2024-06-01,P2Y", ""),
        (b"G2,L1,2024-06-01,two years", "term two"),
        (b"G3,L7,2024-06-01,", "lateral L7"),
    ],
}


@dataclass
class Case:
    """The files in a folder, a database, and what the first and second load answered."""

    folder: Path
    where: str
    first: Done
    second: Done
    bad: dict[tuple[str, int], str] = field(default_factory=dict)


def write(folder: Path) -> None:
    """Write all files."""
    geometry, lateral, accuracy, _ = (list(column) for column in zip(*LATERALS, strict=True))
    layer = gpd.GeoDataFrame({"lateral": lateral, "map_accuracy": accuracy}, geometry=geometry, crs=UTM)
    layer.to_file(folder / "laterals.gpkg")
    # A place that the map's system cannot show: the pole, in longitude and latitude.
    (folder / "far.geojson").write_text(
        '{"type": "FeatureCollection", "features": [{"type": "Feature", "properties": {"lateral": "B10"}, "geometry": '
        '{"type": "LineString", "coordinates": [[-123, 36.14], [-123, 1e300]]}}, {"type": "Feature", "properties": '
        '{"lateral": "L4x"}, "geometry": {"type": "LineString", "coordinates": [[-123.0, 36.1430], [-123.0, 36.1432]]}}]}'
    )
    mains = gpd.GeoDataFrame({"main": ["M1", "M2"]}, geometry=[line((-9, 0), (30, 0)), shapely.Point(500000, 4000000)], crs=UTM)
    mains.to_crs(4326).to_file(folder / "mains.geojson")
    parcels = gpd.GeoDataFrame({"property": ["P1", None]}, geometry=[shapely.box(499990, 4000006, 500003, 4000030)] * 2, crs=UTM)
    parcels.to_file(folder / "parcels.gpkg")
    for name, rows in SHEETS.items():
        (folder / name).write_bytes(b"".join(text + b"\n" for text, _ in rows))
    (folder / "SOURCES.toml").write_text(SOURCES)


def bad_rows() -> dict[tuple[str, int], str]:
    """File and row of every bad row, with its field and a word of its reason."""
    bad = {("laterals.gpkg", at): told for at, (*_, told) in enumerate(LATERALS, 1) if told}
    bad |= {("far.geojson", 1): "geometry system", ("mains.geojson", 2): "geometry line", ("parcels.gpkg", 2): "property needed"}
    for name, rows in SHEETS.items():
        bad |= {(name, at): told for at, (_, told) in enumerate(rows, 1) if told}
    return bad


@pytest.fixture
def case(engine_where, tmp_path) -> Case:
    """All files loaded twice, once on each engine."""
    write(tmp_path)
    good(sewermap("create", "--crs", UTM, "--db", engine_where))
    words = ["load", tmp_path / "SOURCES.toml", "--db", engine_where, "--format", "json"]
    first = sewermap(*words, "--rejects", tmp_path / "rejects.csv")
    return Case(tmp_path, engine_where, first, sewermap(*words), bad_rows())


def test_bad_rows_from_files_to_answers(case):
    """One story on each engine, told in steps below: rejects, counts, tables, texts, and a sound database."""
    assert len(case.bad) > 60
    each_bad_row_is_told(case)
    rejects_file_holds_what_was_told(case)
    nothing_is_lost_or_counted_twice(case)
    what_is_odd_is_kept(case)
    good(sewermap("check", "--db", case.where))


def each_bad_row_is_told(case: Case) -> None:
    """The rejects are exactly the bad rows, each with the wrong field and a reason that names it; status 3, both times."""
    for done in (case.first, case.second):
        assert done.status == SOME_REJECTED
        rejects = done.json["rejects"]
        assert {(row["file"], row["row"]) for row in rejects} == set(case.bad)
        wrong = []
        for row in rejects:
            told, word = case.bad[row["file"], row["row"]].split(" ")
            said = f"{row['value']} {row['reason']}"
            if (told and row["field"] != told) or (word != "NUL" and word not in said) or not row["reason"]:
                wrong.append((told, word, row))
        assert wrong == []
    assert case.first.json["rejects"] == case.second.json["rejects"]


def rejects_file_holds_what_was_told(case: Case) -> None:
    """``--rejects FILE`` is a CSV of the same rows with the same columns."""
    with (case.folder / "rejects.csv").open(encoding="utf-8", newline="") as file:
        written = list(csv.DictReader(file))
    told = [{name: "" if value is None else str(value) for name, value in row.items()} for row in case.first.json["rejects"]]
    assert [{name: as_written(row[name]) for name in told[0]} for row in written] == told


def nothing_is_lost_or_counted_twice(case: Case) -> None:
    """Of each file, read = loaded + unchanged + rejected, both times; rejected are the bad rows; the tables hold the loaded."""
    book = door.open(case.where, read_only=True)
    for done in (case.first, case.second):
        for file in done.json["files"]:
            assert file["read"] == file["loaded"] + file["unchanged"] + file["rejected"], file
            assert file["rejected"] == sum(name == file["file"] for name, _ in case.bad), file
            assert file["withdrawn"] == 0
    for name, rows in SHEETS.items():
        assert sum(file["read"] for file in case.first.json["files"] if file["file"] == name) == len(rows) - 1
    assert sum(file["loaded"] for file in case.second.json["files"]) == 0
    for section, rule in RECORDED.items():
        loaded = sum(file["loaded"] for file in case.first.json["files"] if file["table"] == section)
        assert len(book.layer(rule.table.name)) == loaded, section
    assert len(book.layer("rejects")) == len(case.first.json["rejects"])


def what_is_odd_is_kept(case: Case) -> None:
    """Formula-like text stays text; equal observations are both kept; a reading past its line is there, with a reason."""
    book = door.open(case.where, read_only=True)
    assert list(book.layer("runs").sort_values("run")["remark"].dropna()) == ["=HYPERLINK(1)", "+1", "@sum"]
    placed = book.layer("placed_observations")
    assert (placed["remark"] == "Bäume").sum() == 2
    assert set(placed["remark"].dropna()) >= {"=1+1", "-2"}
    past = placed[placed["remark"] == "far past the line"].iloc[0]
    assert past["geometry"] is None
    assert np.isnan(past["x"])
    assert past["reason"] == "past the tie-in by 182.0 m"
    out = case.folder / "out.csv"
    good(sewermap("export", out, "--table", "placed_observations", "--db", case.where))
    with out.open(encoding="utf-8", newline="") as file:
        rows = [row for row in csv.DictReader(file) if row["remark"] == "far past the line"]
    assert [(row["x"], row["measure_m"], row["reason"]) for row in rows] == [("", "", past["reason"])]


def test_a_mended_file_loads_the_rest(case):
    """When the bad rows are mended, loading again takes them in, and their rejects are gone."""
    works = case.folder / "works.csv"
    works.write_bytes(works.read_bytes().replace(b"magic", b"cleaning").replace(b"06-31", b"06-30").replace(b"-1,3", b"1,3"))
    done = sewermap("load", case.folder / "SOURCES.toml", "--db", case.where, "--format", "json")
    assert not [row for row in done.json["rejects"] if row["file"] == "works.csv"]
    file = next(file for file in done.json["files"] if file["file"] == "works.csv")
    assert (file["read"], file["loaded"], file["unchanged"], file["rejected"]) == (4, 3, 1, 0)
    assert sorted(door.open(case.where).layer("works")["work"]) == ["W1", "W2", "W3", "W4"]
    assert "works.csv" not in set(door.open(case.where).layer("rejects")["path"])
