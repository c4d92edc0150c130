"""Their columns and words to ours."""

import pandas as pd
import pyproj
import pytest
import shapely

from etl.fields.numbers import numbers
from etl.fields.words import READERS, by_unique
from sewermap.errors import SourceError

LATERALS = '[laterals]\nfrom = "laterals.gpkg"\ntie_in = "start"\n'
RUNS = LATERALS + '[runs]\nfrom = "runs.csv"\n'


def test_columns_are_taken_by_our_name_and_by_mapping(town):
    """A column that bears our name in any case and spacing is taken; a mapping goes first; words and defaults are applied."""
    town.laterals()
    town.csv(
        "runs.csv",
        "Job,LATERAL,Ran On,end-reading,Way,Unit,reason",
        "J1,L1,2024-05-31,40, To  SEWER ,,check",
        "J2,L1,2024-05-31,,,m,",
    )
    gathered = town.gather(
        RUNS + '[runs.fields]\nrun = "job"\ndirection = "Way"\n[runs.values.direction]\n"to sewer" = "to main"\n'
        '[runs.defaults]\nunit = "ft"\nreason = "work"\n'
    )
    runs = gathered.tables["runs"]
    assert gathered.rejects.empty
    assert runs["run"].tolist() == ["J1", "J2"]
    assert runs["direction"].tolist() == ["to main", "to main"]
    assert runs["unit"].tolist() == ["ft", "m"]
    assert runs["reason"].tolist() == ["check", "work"]
    assert runs["end_reading"].tolist()[0] == "40"
    assert runs["end_reading_m"].tolist()[0] == pytest.approx(12.192)  # international foot, 0.3048 m exactly


def test_missing_columns_are_named(town):
    """Needed columns that are neither there nor mapped nor defaulted are named, with what the file has."""
    town.laterals()
    town.csv("runs.csv", "Job,Date", "J1,2024-05-31")
    with pytest.raises(SourceError, match=r"runs\.csv has no column for run, lateral, ran_on, unit.*its columns are Job, Date"):
        town.gather(RUNS)
    with pytest.raises(SourceError, match=r"no column 'Jop', which \[runs\.fields\] run names; did you mean Job\?"):
        town.gather(RUNS + '[runs.fields]\nrun = "Jop"\n')


def test_two_columns_of_one_name_of_ours(town):
    """`Ran On` and `ran_on` in one file: which is meant must be said."""
    town.laterals()
    town.csv("runs.csv", "run,lateral,unit,Ran On,ran_on", "R1,L1,ft,2024-05-31,2024-06-01")
    with pytest.raises(SourceError, match="columns Ran On and ran_on"):
        town.gather(RUNS)
    gathered = town.gather(RUNS + '[runs.fields]\nran_on = "ran_on"\n')
    assert gathered.tables["runs"]["ran_on"].tolist() == [pd.Timestamp(2024, 6, 1)]


def test_a_crosswalk_turns_codes_into_kinds(town):
    """A town's codes become our kinds; the code as written is kept beside."""
    town.laterals()
    town.csv("runs.csv", "run,lateral,ran_on,unit", "R1,L1,2024-05-31,ft")
    town.csv("obs.csv", "run,reading,kind", "R1,4,K 7", "R1,5,Crack")
    gathered = town.gather(RUNS + '[observations]\nfrom = "obs.csv"\n[crosswalk]\n"k 7" = "roots"\n')
    observations = gathered.tables["observations"]
    assert observations["kind"].tolist() == ["roots", "crack"]
    assert observations["kind_as_written"].tolist() == ["K 7", "Crack"]


def test_names_are_found_without_regard_to_case_and_by_address(town):
    """A name, an address that one lateral has, and address with street find the lateral; an address of two is refused."""
    town.laterals()
    town.csv(
        "runs.csv", "run,lateral,address,ran_on,unit", "R1, l1 ,,2024-05-31,ft", "R2,,16,2024-05-31,ft",
        "R3,14 BIRCH  lane,,2024-05-31,ft", "R4,14,,2024-05-31,ft", "R5,,14 Alder Street,2024-05-31,ft",
    )  # fmt: skip
    gathered = town.gather(RUNS)
    assert gathered.tables["runs"]["lateral"].tolist() == ["L1", "L2", "L3", "L1"]
    assert gathered.rejects["reason"].tolist() == [
        "'14' is the address of 2 laterals: L1, L3; name one of them, or write the street too"
    ]


def test_directions_follow_the_launch(town):
    """From the building to the main, from the tie-in to the building; a clean-out needs a word; building is the default."""
    town.laterals()
    town.csv("refs.csv", "lateral,name,kind,measure", "L1,Front CO,clean-out,6")
    launches = ["", "Building", "Tie In", "front co,to main", "front CO", "attic", "attic,to main,3"]
    lines = [f"R{at},L1,2024-05-31,ft,{launch}" + "," * (2 - launch.count(",")) for at, launch in enumerate(launches)]
    town.csv("runs.csv", "run,lateral,ran_on,unit,launch,direction,launch_measure", *lines)
    gathered = town.gather(RUNS + '[referents]\nfrom = "refs.csv"\n')
    runs = gathered.tables["runs"]
    assert runs["launch"].tolist() == ["building", "building", "tie-in", "Front CO", "attic"]
    assert runs["direction"].tolist() == ["to main", "to main", "to building", "to main", "to main"]
    assert gathered.rejects["field"].tolist() == ["direction", "launch"]


def test_layers_of_points_give_coordinates(town):
    """Clean-outs from a layer of points have its coordinates, in the map's system."""
    town.laterals()
    town.layer("co.geojson", [shapely.Point(-123, 36.0)], "EPSG:4326", lateral=["L1"], name=["C1"], kind=["clean-out"])
    referents = town.gather(LATERALS + '[referents]\nfrom = "co.geojson"\n').tables["referents"]
    # On the central meridian of zone 10 the easting is the false easting, 500,000 m, by definition.
    assert referents["x"].tolist() == [pytest.approx(500000, abs=1e-6)]


def test_located_points_from_a_layer_are_in_the_maps_system(town):
    """Coordinates taken from a layer of another system say that they are in the map's; a sheet keeps what it says."""
    town.laterals()
    point = shapely.Point(-123, 36.0)
    town.layer("p.geojson", [point], "EPSG:4326", lateral=["L1"], reading=["10"], unit=["ft"])
    located = town.gather(LATERALS + '[located]\nfrom = "p.geojson"\ncrs = "EPSG:4326"\n').tables["located"]
    assert (located["crs"][0], located["x"][0]) == ("EPSG:26910", pytest.approx(500000, abs=1e-6))
    town.csv("p.csv", "lateral,reading,unit,x,y,crs", "L1,10,ft,-123,36,", "L1,10,ft,500000,4000003,EPSG:26910")
    located = town.gather(LATERALS + '[located]\nfrom = "p.csv"\ncrs = "EPSG:4326"\n').tables["located"]
    assert located["crs"].tolist() == ["EPSG:4326", "EPSG:26910"]
    town.csv("w.csv", "lateral,work,done_on,kind", "L1,W1,2024-05-06,cleaning")
    with pytest.raises(SourceError, match=r"w\.csv is no map layer, so crs says nothing in \[works\]"):
        town.gather(LATERALS + '[works]\nfrom = "w.csv"\ncrs = "EPSG:4326"\n')


def test_known_points_of_a_sheet_come_from_the_system_it_says(town):
    """A phone's longitude and latitude are put into the map's system; what is no number, or no place there, is rejected."""
    town.laterals()
    rows = ["L1,C1,clean-out,-123,36.0", "L1,C2,clean-out,west,36.0", "L1,C3,clean-out,,", "L1,C4,clean-out,-123,95"]
    rows.append('L1,C6,clean-out,"-123,0000","36,0000"')  # a decimal comma is a number as well
    town.csv("r.csv", "lateral,name,kind,x,y", *rows)
    town.csv("m.csv", "lateral,name,kind,x,y,measure", "L1,C5,clean-out,,,3")
    read = town.gather(LATERALS + '[referents]\nfrom = ["r.csv", "m.csv"]\ncrs = "EPSG:4326"\n')
    found = read.tables["referents"].set_index("name")
    assert set(found.index) == {"C1", "C5", "C6"}
    assert found.loc["C6", ["x", "y"]].tolist() == found.loc["C1", ["x", "y"]].tolist()
    # On the central meridian of zone 10 the easting is the false easting, 500,000 m, by definition.
    assert found.loc["C1", "x"] == pytest.approx(500000, abs=1e-6)
    assert found.loc["C1", "y"] == pytest.approx(pyproj.Proj("EPSG:26910")(-123, 36.0)[1], abs=1e-3)  # their ellipsoids differ
    assert read.rejects["reason"].str.contains(r"'west' is|say where it is|95 \(has no place in").sum() == 3


NUMBERS = {
    "clock": {"3": 3, "03": 3, "3 o'clock": 3, "03:00": 3, "12": 12, "3:30": 3.5, "0": None, "13": None, "noon": None},
    "percent": {"30": 30, "30%": 30, "30 %": 30, "12,5": 12.5, "0": 0, "100": 100, "101": None, "-1": None, "few": None},
    "grade": {"1": 1, "5": 5, "3.0": 3, "0": None, "6": None, "2.5": None, "bad": None},
    "number": {"1e3": 1000, "-4.5": -4.5, "1,234": None, "0,123": 0.123, "nan": None, "inf": None, "1e999": None},
    "whole": {"60": 60, "60 days": 60, "0": 0, "-1": None, "1.5": None},
}


@pytest.mark.parametrize("reader", NUMBERS)
def test_numbers(reader):
    """Each text is the number that it says, or is refused with a reason that shows it."""
    values, reasons = numbers(pd.Series(list(NUMBERS[reader]), dtype="str"), reader)
    for text, value, reason in zip(NUMBERS[reader], values, reasons, strict=True):
        expected = NUMBERS[reader][text]
        assert (value == expected) if expected is not None else (value != value and text in reason)  # noqa: PLR0124 (NaN)


@pytest.mark.parametrize(
    ("reader", "text", "expected"),
    [
        ("term", "p1y", "P1Y"),
        ("term", "P18M", "P18M"),
        ("term", "P2W", "P2W"),
        ("term", "1 year", None),
        ("term", "P", None),
        ("kinds", "Roots, crack", "roots, crack"),
        ("kinds", "roots, x", None),
        ("unit", "Feet", "ft"),
        ("unit", "inch", None),
        ("direction", "Upstream", "to building"),
        ("work", "Root-Cutting", "root cutting"),
        ("crs", "EPSG:2263", "EPSG:2263"),
    ],
)
def test_words(reader, text, expected):
    """Each word becomes ours, or is refused with a reason; ISO 8601 durations as the standard writes them."""
    words, reasons = by_unique(pd.Series([text, None], dtype="str"), READERS[reader])
    assert words.isna().tolist() == [expected is None, True]
    assert expected is None or words[0] == expected
    assert reasons.isna().tolist() == [expected is not None, True]
