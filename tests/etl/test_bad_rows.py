"""Files with every kind of bad row: each good row is loaded, each bad one is listed with its reason."""

import numpy as np
import pandas as pd
import pytest
import shapely

SOURCES = """
[mains]
from = "mains.gpkg"
[parcels]
from = "parcels.gpkg"
[laterals]
from = "lines.gpkg"
tie_in = "start"
[referents]
from = "referents.csv"
[runs]
from = "runs*.csv"
[observations]
from = "observations.csv"
[works]
from = "works.csv"
[warranties]
from = "warranties.csv"
[legs]
from = "legs.csv"
[located]
from = "located.csv"
"""


def line(*points):
    """A line from 500000, 4000000 through these offsets."""
    return shapely.LineString([(500000 + x, 4000000 + y) for x, y in points])


def no_number():
    """A line with a coordinate that is no number, as damaged files hold them."""
    with np.errstate(invalid="ignore"):
        return shapely.LineString([(500000, float("nan")), (500001, 4000000)])


GOOD = line((0, 0), (0, 20))
LINES = [  # geometry, lateral, diameter, installed_on, part of the reason (None: good)
    (GOOD, "L1", "100 mm", "2001-05-31", None),
    (shapely.MultiLineString([line((5, 0), (5, 8)), line((5, 8), (5, 20))]), "L2", '4"', "2010-01-01", None),
    (line((9, 0), (9, 9), (12, 5), (6, 5)), "L3", "4 in", None, None),
    (shapely.LineString(), "B1", None, None, "no geometry"),
    (None, "B2", None, None, "no geometry"),
    (shapely.MultiLineString([line((0, 0), (0, 5)), line((0, 6), (0, 9))]), "B3", None, None, "2 parts do not join"),
    (line((3, 3), (3, 3)), "B4", None, None, "no length"),
    (shapely.Point(500000, 4000000), "B5", None, None, "need a line"),
    (no_number(), "B6", None, None, "no number"),
    (GOOD, None, None, None, "lateral is needed"),
    (GOOD, "B7", "100", None, "a number alone is no diameter"),
    (GOOD, "B8", None, "2024-02-30", "there is no day"),
    (GOOD, "B9", None, None, "the two say different things"),
    (line((1, 0), (1, 20)), "B9", None, None, "the two say different things"),
]

SHEETS = {
    "referents.csv": [
        ("lateral,name,kind,measure,x,y,sigma", None),
        ("L1,C1,clean-out,6,,,", None),
        ("L1,C2,clean-out,,500000,4000012,0.05", None),
        ("L1,front,tie-in,,,,", None),
        ("L1,C3,clean-out,,,,", "say where it is"),
        ("L1,C4,clean-out,,500000,,", "x without y"),
        ("L1,C5,chimney,3,,,", "not known here"),
        ("L1,C6,bend,-3,,,", "more than nothing"),
        ("L7,C7,bend,3,,,", "no lateral and no address 'L7'"),
        ("L1,C8,bend,3 ft 2 m,,,", "different units"),
    ],
    "runs-a.csv": [
        ("run,lateral,ran_on,unit,launch,direction,launch_measure,launch_reading,end_reading,reason,remark", None),
        ("R1,L1,2024-05-31,ft,,,,,40,check,=1+1", None),
        ("R2,L1,2024-05-31,ft,C1,to main,,,,,+44", None),
        ("R3,L2,31.05.2024,m,hole,to building,3.5,,,,@x", None),
        ("R4,B3,2024-05-31,ft,,,,,,,", "its lateral 'B3' was itself rejected: lines.gpkg, row 6"),
        ("R5,L9,2024-05-31,ft,,,,,,,", "no lateral and no address 'L9'"),
        ("R6,,2024-05-31,ft,,,,,,,", "lateral (or an address) is needed"),
        ("R7,L1,2024-13-31,ft,,,,,,,", "there is no day"),
        ("R8,L1,soon,ft,,,,,,,", "is no day"),
        ("R9,L1,,ft,,,,,,,", "ran_on is needed"),
        ("R10,L1,2024-05-31,yard,,,,,,,", "yard"),
        ("R11,L1,2024-05-31,,,,,,,,", "unit is needed"),
        ("R12,L1,2024-05-31,ft,C9,to main,,,,,", "launch position unknown"),
        ("R13,L1,2024-05-31,ft,C1,,,,,,", "say direction"),
        ("R14,L1,2024-05-31,ft,,sideways,,,,,", "not known here"),
        ("R15,L1,2024-05-31,ft,,,,10,5,,", "smaller reading"),
        ("R16,L1,2024-05-31,ft,,,,,,whim,", "not known here"),
        (",L1,2024-05-31,ft,,,,,,,", "run is needed"),
        ("R17,L1,2024-05-31,ft,,,,,40,check", "too few cells"),
        ("R18,L1,2024-05-31,ft,,,,,,,,,,", "too many cells"),
        ("R19,L1,2024-05-31,ft,,,,,,,a,b", "too many cells"),
        ('R20,L1,2024-05-31,ft,,,,,,,"left open', "quotation mark"),
        ("R21,L1,2024-05-31,ft,,,,,,,a\0b", "no text"),
        ("R22,L1,2024-05-31,ft,,,,,,,", "runs-b.csv, row 2"),
        ("R23,L1,2024-05-31,ft,,,,,1e999,,", ""),
        ('R24,L3,2024-05-31,ft,,,,,,,"two\nlines"', None),
    ],
    "runs-b.csv": [("run,lateral,ran_on,unit", None), ("R22,L2,2024-05-31,ft", "runs-a.csv, row 24")],
    "observations.csv": [
        ("run,reading,to_reading,kind,clock_from,percent,grade,located_x,located_y,located_crs,depth", None),
        ("R1,12.5,,roots,3,30%,3,,,,", None),
        ('R1,"20\' 6""",,Crack,12 o\'clock,0,,,,,', None),
        ("R3,13.57 m,,joint,,,,500000,4000010,EPSG:26910,1.5 m", None),
        ("R5,1,,roots,,,,,,,", "its run 'R5' was itself rejected: runs-a.csv, row 6"),
        ("R99,1,,roots,,,,,,,", "no run 'R99'"),
        (",1,,roots,,,,,,,", "run is needed"),
        ("R1,,,roots,,,,,,,", "reading is needed"),
        ("R1,-1,,roots,,,,,,,", "less than nothing"),
        ("R3,301,,roots,,,,,,,", "over 300 m"),
        ("R1,12 ft 3 m,,roots,,,,,,,", "different units"),
        ("R1,nan,,roots,,,,,,,", ""),
        ("R1,inf,,roots,,,,,,,", ""),
        ("R1,about ten,,roots,,,,,,,", ""),
        ("R1,1,-2,roots,,,,,,,", "less than nothing"),
        ("R1,1,,rots,,,,,,,", "roots"),
        ("R1,1,,,,,,,,,", "kind is needed"),
        ("R1,1,,roots,13,,,,,,", "clock"),
        ("R1,1,,roots,0,,,,,,", "clock"),
        ("R1,1,,roots,,101,,,,,", "outside 0 to 100"),
        ("R1,1,,roots,,-1,,,,,", "outside 0 to 100"),
        ("R1,1,,roots,,,6,,,,", "no grade"),
        ("R1,1,,roots,,,2.5,,,,", "no grade"),
        ("R1,1,,roots,,,,500000,,,", "located_x without located_y"),
        ("R1,1,,roots,,,,,4000000,,", "located_y without located_x"),
        ("R1,1,,roots,,,,500000,4000000,EPSG:1,", "coordinate reference system"),
        ("R1,1,,roots,,,,east,4000000,,", "no number"),
        ("R1,1,,roots,,,,,,,deep", ""),
        ("R1,1,,roots,,,,,,,-2", "more than nothing"),
    ],
    "works.csv": [
        ("work,address,done_on,kind,from_measure,to_measure", None),
        ("W1,L1,2024-06-01,root cutting,,", None),
        ("W2,L1,2024-06-01,magic,,", "not known here"),
        ("W3,L1,2024-06-01,cleaning,-1,3", "more than nothing"),
        ("W4,,2024-06-01,cleaning,,", "lateral (or an address) is needed"),
    ],
    "warranties.csv": [
        ("warranty,lateral,begins_on,term,check_lead,kinds", None),
        ("G1,L1,2024-06-01,P2Y,,roots; crack", None),
        ("G2,L1,2024-06-01,,30 days,", None),
        ("G3,L1,2024-06-01,two years,,", "ISO 8601"),
        ("G4,L1,2024-06-01,P0D,,", "ISO 8601"),
        ("G5,L1,2024-06-01,,1.5,", "whole number of days"),
        ("G6,L1,2024-06-01,,,roots; magic", "no known kind"),
    ],
    "legs.csv": [
        ("lateral,reading,unit,angle,hand,bearing", None),
        ("L1,10,ft,45,left,", None),
        ("L1,10,ft,200,left,", "between 0 and 180"),
        ("L1,10,ft,45,up,", "not known here"),
        ("L1,10,,45,left,", "unit"),
    ],
    "located.csv": [
        ("lateral,reading,unit,x,y,crs,run", None),
        ("L1,10,ft,500000,4000003,,", None),
        ("L1,10,,500000,4000003,,R1", None),
        ("L1,10,,500000,4000003,,", "unit"),
        ("L1,10,ft,500000,4000003,,R77", "no run 'R77' is known"),
        ("L1,10,ft,500000,,,", "y is needed"),
        ("L1,10,ft,500000,4000003,nowhere,", "coordinate reference system"),
    ],
}


def write(town):
    """All files of the town, good and bad rows mixed."""
    geometry, lateral, diameter, installed, _ = zip(*LINES, strict=True)
    town.layer("lines.gpkg", list(geometry), lateral=list(lateral), diameter=list(diameter), installed_on=list(installed))
    town.layer("mains.gpkg", [line((-5, 0), (30, 0)), shapely.Point(0, 0)], main=["M1", "M2"])
    bow = shapely.Polygon([(500000, 4000000), (500010, 4000010), (500010, 4000000), (500000, 4000010)])
    town.layer("parcels.gpkg", [shapely.box(500000, 4000000, 500010, 4000010), bow, None], property=["P1", "P2", "P3"])
    for name, rows in SHEETS.items():
        town.csv(name, *(text for text, _ in rows))


def bad_rows():
    """Every bad row: file, row and a part of its reason."""
    yield from (("lines.gpkg", at, reason) for at, (*_, reason) in enumerate(LINES, start=1) if reason is not None)
    yield from [("mains.gpkg", 2, "need a line"), ("parcels.gpkg", 3, "no geometry")]
    for name, rows in SHEETS.items():
        for at, (_, reason) in enumerate(rows, start=1):
            if reason is not None:
                yield name, at, reason


def test_each_bad_row_is_listed_with_its_reason_and_each_good_one_is_loaded(town, is_accounted):
    """More than 30 kinds of bad rows: the rejects hold exactly them, with the reason, and all others are loaded."""
    write(town)
    gathered = town.gather(SOURCES)
    expected = list(bad_rows())
    assert len(expected) > 60
    listed = gathered.rejects.groupby(["file", "row"])["reason"].agg("; ".join)
    assert sorted(listed.index) == sorted((file, row) for file, row, _ in expected)
    wrong = [(file, row, reason, listed[file, row]) for file, row, reason in expected if reason not in listed[file, row]]
    assert wrong == []
    assert is_accounted(gathered)


def test_a_rejected_row_has_no_reason_that_only_follows_from_another(town):
    """A bad row names what is wrong with it, once: two reasons only for the row that has two faults."""
    write(town)
    rejects = town.gather(SOURCES).rejects
    assert rejects[rejects.duplicated(["file", "row"], keep=False)].empty


def test_text_that_looks_like_a_formula_is_text(town):
    """A remark that starts with =, + or @ is kept as it stands."""
    write(town)
    assert town.gather(SOURCES).tables["runs"]["remark"].tolist()[:3] == ["=1+1", "+44", "@x"]


def test_a_faulty_area_is_repaired_with_a_warning(town):
    """A bow-tie becomes the two triangles it encloses (each 25 m², by hand), and the warning says so."""
    write(town)
    gathered = town.gather(SOURCES)
    parcels = gathered.tables["parcels"].set_index("property")["geometry"]
    assert parcels["P2"].area == pytest.approx(50.0)
    assert {shape.geom_type for shape in parcels} == {"MultiPolygon"}
    assert gathered.warnings.query("table == 'parcels'")["row"].tolist() == [2]


ODD = {
    "R1,50,,roots,,": "past the end_reading",
    "R2,3,,roots,,": "before the launch_reading",
    "R1,8,5,roots,,": "before the start of its stretch",
    "R1,9,,joint,attic,": "no known point 'attic'",
    "R1,9,,joint,,30": "odd, but loaded",
}


def test_odd_but_possible_rows_are_loaded_with_a_warning(town):
    """Each odd row is in the table and has one warning of its own; none is rejected."""
    town.laterals()
    header = "run,lateral,ran_on,unit,launch_reading,end_reading,direction"
    runs = ["R1,L1,2024-05-31,ft,0,40,", "R2,L1,2027-05-31,ft,5,40,", "R3,L1,2024-05-31,ft,5,40,to building"]
    town.csv("runs.csv", header, *runs)
    town.csv("observations.csv", "run,reading,to_reading,kind,referent,depth", *ODD)
    town.csv("works.csv", "work,lateral,done_on,kind,from_measure,to_measure", "W1,L1,2027-01-01,cleaning,8,3")
    gathered = town.gather(
        '[laterals]\nfrom = "laterals.gpkg"\n[laterals.defaults]\ninstalled_on = 2025-01-01\ndiameter = "1 m"\n'
        '[runs]\nfrom = "runs.csv"\n[observations]\nfrom = "observations.csv"\n[works]\nfrom = "works.csv"\n'
    )
    assert gathered.rejects.empty
    assert [len(gathered.tables[name]) for name in ("laterals", "runs", "observations", "works")] == [3, 3, 5, 1]
    of = dict(iter(gathered.warnings.groupby("table")))
    assert [ODD[text] in reason for text, reason in zip(ODD, of["observations"]["reason"], strict=True)] == [True] * 5
    assert of["observations"]["row"].tolist() == [2, 3, 4, 5, 6]
    assert of["runs"].groupby("row")["reason"].agg(list).to_dict() == {
        2: ["lies before the day on which its lateral was installed"],
        3: ["lies in the future"],
        4: ["from there the camera would leave the line at once", "lies before the day on which its lateral was installed"],
    }
    assert sorted(of["works"]["field"]) == ["done_on", "to_measure"]
    assert of["laterals"]["field"].tolist() == ["tie_in", "diameter", "diameter", "diameter"]


def test_equal_rows_with_one_key_are_all_kept(town):
    """A run that two files state in the same words (even in another way to write its day) is no contradiction."""
    town.laterals()
    town.csv("runs-a.csv", "run,lateral,ran_on,unit", "R1,L1,2024-05-31,ft", "R1,L1,2024-05-31,ft")
    town.csv("runs-b.csv", "run,lateral,ran_on,unit", "R1,14 Birch Lane,2024-05-31,m", "R2,L1,31.05.2024,feet")
    town.csv(
        "runs-c.csv", "run,lateral,ran_on,unit", "R2,16 alder street,2024-05-31,ft", "R3,l1,5/31/2024,ft", "R3,L1,31.5.2024,ft"
    )
    gathered = town.gather('[laterals]\nfrom = "laterals.gpkg"\ntie_in = "start"\n[runs]\nfrom = "runs-*.csv"\n')
    assert gathered.tables["runs"]["run"].tolist() == ["R3", "R3"]
    reasons = gathered.rejects.set_index(["file", "row"])["reason"]
    assert "runs-b.csv, row 2" in reasons["runs-a.csv", 2]
    assert "runs-b.csv, row 2" in reasons["runs-a.csv", 3]
    assert "runs-a.csv, row 2" in reasons["runs-b.csv", 2]
    assert "runs-c.csv, row 2" in reasons["runs-b.csv", 3]


def test_nothing_read_gives_empty_tables_with_all_columns(town):
    """A sheet with a header alone is read: no rows, no problems, one file."""
    town.csv("runs.csv", "run,lateral,ran_on,unit")
    gathered = town.gather('[runs]\nfrom = "runs.csv"\n')
    assert gathered.files["read"].tolist() == [0]
    assert gathered.tables["runs"].empty
    assert {"run", "end_reading_m", "source_file", "source_row"} <= set(gathered.tables["runs"].columns)
    assert isinstance(gathered.rejects, pd.DataFrame)
    assert gathered.rejects.columns.tolist() == ["file", "table", "row", "field", "value", "reason"]
