"""Laterals that no map draws, through load and export, on both engines."""

from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest
import shapely

import sewermap
from sewermap.answers.export import write
from sewermap.book import Book
from sewermap.errors import UnknownNameError

FEET = "EPSG:2223"
METRES = "EPSG:26910"
X, Y = 500_000.0, 4_000_000.0


def azimuth(quadrant: str, degrees: int, minutes: int, seconds: int) -> float:
    """A quadrant bearing as degrees from north."""
    value = degrees + minutes / 60 + seconds / 3600
    return {"NE": value, "SE": 180 - value, "SW": 180 + value}[quadrant]


LINK = f"""lateral,reading,unit,bearing
L1,0,ft,{azimuth("SE", 56, 23, 38)!r}
L1,398.75,ft,{azimuth("SW", 75, 17, 42)!r}
L1,821.64,ft,{azimuth("NE", 43, 5, 47)!r}
L1,1426.13,ft,
"""
"""J. Mahun, *Open Access Surveying Library*, Traverse Computations, ch. I: link traverse from Q to T, feet."""

LINK_ADJUSTED = [(1391.670, 2600.480), (1723.793, 2379.765), (1314.776, 2272.401), (1727.810, 2713.780)]


def files(folder: Path, **texts: str) -> Path:
    """Sheets by section, and the SOURCES.toml that reads them."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in texts.items():
        (folder / f"{name}.csv").write_text(text)
    plan = "".join(f'[{name}]\nfrom = "{name}.csv"\n' for name in texts)
    (folder / "SOURCES.toml").write_text(plan)
    return folder / "SOURCES.toml"


def with_layer(sources: Path, section: str, frame: gpd.GeoDataFrame, more: str = "") -> Path:
    """The same with a layer for a section."""
    frame.to_file(sources.parent / f"{section}.gpkg")
    sources.write_text(sources.read_text() + f'[{section}]\nfrom = "{section}.gpkg"\n{more}')
    return sources


RUNS = {
    "runs": "run,lateral,ran_on,unit,launch\nR1,L1,2025-01-01,ft,tie-in\nR2,L2,2025-01-01,ft,tie-in\n",
    "observations": "run,reading,kind\nR1,500,roots\nR2,10,roots\nR2,12,crack\n",
}
TWO = {"laterals": "lateral,address,street\nL1,1 Elm,Elm Lane\nL2,2 Elm,Oak Lane\n"}
ENDS = {"referents": "lateral,name,kind,x,y\nL1,Q,tie-in,1391.670,2600.480\nL1,T,building,1727.810,2713.780\n"}


@pytest.fixture
def book(engine_where: str) -> Book:
    """An empty database in feet."""
    return sewermap.create(engine_where, FEET)


def test_a_link_traverse_is_the_worked_example(book: Book, tmp_path: Path) -> None:
    """Mahun's link from a known clean-out to a known tie-in, through load and the exported layer, to 0.002 ft."""
    assert book.load(files(tmp_path, **TWO, **ENDS, **RUNS, legs=LINK)).rejects.empty
    out = tmp_path / "laterals.gpkg"
    write({"laterals": book.layer("laterals")}, out)
    rows = gpd.read_file(out)
    assert rows["method"].tolist() == ["traverse"]
    assert shapely.get_coordinates(rows.geometry) == pytest.approx(np.array(LINK_ADJUSTED), abs=0.002)
    taken = book.sketch("L1").iloc[0]
    assert (taken["method"], bool(taken["taken"])) == ("traverse", True)
    assert taken["misclosure_m"] / 0.3048 == pytest.approx(0.0888, abs=0.0005)
    assert 1 / taken["misclosure_share"] == pytest.approx(16068, rel=0.005)


def test_what_has_no_line_is_loaded_and_says_so(book: Book, tmp_path: Path) -> None:
    """Readings of a lateral without any line are there, unplaced, with a reason; no answer breaks on them."""
    report = book.load(files(tmp_path, **TWO, **ENDS, **RUNS, legs=LINK))
    assert report.files["rejected"].sum() == 0
    placed = book.layer("placed_observations").set_index("run")
    assert placed.loc["R1", "measure_m"] == pytest.approx(500 * 0.3048, abs=0.2)
    assert placed.loc["R2", "x"].isna().all()
    assert placed.loc["R2", "reason"].str.startswith("the lateral has no line").all()
    with pytest.raises(UnknownNameError, match="is known, but not where it lies"):
        book.history("L2")
    refused = book.sketch("L2")
    assert refused["taken"].sum() == 0
    assert refused["reason"].str.contains("tie_in_distance").all()
    assert len(book.defects()) >= 1
    assert set(book.defects(street="oak lane")["lateral"]) == {"L2"}
    assert placed.loc["R2", "address"].tolist() == ["2 Elm", "2 Elm"]
    assert len(book.repeats()) == len(book.due()) == 0
    assert (tmp_path / "site" / "index.html") in book.site(tmp_path / "site")
    assert book.check() == []


def test_recomputed_from_nothing_it_is_the_same(book: Book, tmp_path: Path) -> None:
    """Sketches, laterals and places are computed: built again they are the same rows; loading again changes nothing."""
    sources = files(tmp_path, **TWO, **ENDS, **RUNS, legs=LINK)
    book.load(sources)
    names = ("sketches", "laterals", "placed_observations")
    before = {name: book.layer(name) for name in names}
    assert book.load(sources).files["loaded"].sum() == 0
    book.recompute()
    for name in names:
        assert book.layer(name).equals(before[name]), name


def test_any_order_of_files_gives_the_same(book: Book, tmp_path: Path) -> None:
    """Whether legs, ends or runs come first, one by one, the lines and places are those of one load."""
    parts = {"laterals": TWO, "legs": {"legs": LINK}, "referents": ENDS, "runs": RUNS}
    for at, name in enumerate(("laterals", "runs", "referents", "legs")):
        book.load(files(tmp_path / str(at), **parts[name]))
    other = sewermap.create(tmp_path / "other.gpkg", FEET)
    other.load(files(tmp_path / "whole", **TWO, **ENDS, **RUNS, legs=LINK))
    for name in ("sketches", "laterals"):
        ours, theirs = book.layer(name), other.layer(name)
        assert ours.equals(theirs), name
    places = [one.layer("placed_observations")[["run", "reading", "measure_m", "x", "y", "reason"]] for one in (book, other)]
    assert places[0].equals(places[1])


def test_a_line_drawn_later_replaces_the_sketch(book: Book, tmp_path: Path) -> None:
    """Everything is placed anew on it; the candidate stays among the sketches, and the sheet does not take the line away."""
    book.load(files(tmp_path / "a", **TWO, **ENDS, **RUNS, legs=LINK))
    before = book.layer("placed_observations").set_index("run").loc["R1", "x"]
    line = shapely.LineString([(1391.67, 2600.48), (1391.67, 1600.48), (1727.81, 2713.78)])
    drawn = gpd.GeoDataFrame({"lateral": ["L1"], "address": ["1 Elm"]}, geometry=[line], crs=FEET)
    book.load(with_layer(files(tmp_path / "b"), "laterals", drawn, 'tie_in = "start"\n'))
    now = book.layer("laterals")
    assert now["method"].tolist() == ["drawn"]
    assert book.layer("placed_observations").set_index("run").loc["R1", "x"] != before
    sketches = book.layer("sketches").set_index("lateral").loc[["L1"]]
    assert sketches["method"].tolist() == ["traverse"]
    assert not sketches["taken"].any()
    book.load(files(tmp_path / "a", laterals="lateral,address\nL1,1 Elm Street\nL2,2 Elm\n"))
    assert book.layer("laterals")["method"].tolist() == ["drawn"]
    assert book.layer("laterals")["address"].tolist() == ["1 Elm Street"]


@pytest.fixture
def metric(engine_where: str) -> Book:
    """An empty database in metres."""
    return sewermap.create(engine_where, METRES)


def main_and_house(sources: Path) -> Path:
    """A main that runs north, and a house of 10 by 10 m twenty metres east of its middle."""
    main = gpd.GeoDataFrame({"main": ["M1"]}, geometry=[shapely.LineString([(X, Y), (X, Y + 100)])], crs=METRES)
    house = gpd.GeoDataFrame(
        {"building": ["B1"], "property": ["P1"]}, geometry=[shapely.box(X + 20, Y + 30, X + 30, Y + 40)], crs=METRES
    )
    return with_layer(with_layer(sources, "mains", main), "buildings", house)


@pytest.mark.parametrize(("told", "north"), [("M1,35,", 35.0), ("M1,65 m,end", 35.0), (",,", 35.0)])
def test_a_tie_in_distance_and_a_house_give_a_guess(metric: Book, tmp_path: Path, told: str, north: float) -> None:
    """Straight from that place on the main to the wall, marked as guessed, with a sigma that says so; without a distance from
    square to the house.
    """
    sheet = f"lateral,property,main,tie_in_distance,tie_in_from\nL1,P1,{told}\n"
    assert metric.load(main_and_house(files(tmp_path, laterals=sheet))).rejects.empty
    row = metric.layer("laterals").iloc[0]
    assert row["method"] == "guessed"
    ends = shapely.get_coordinates(row.geometry)[[0, -1]]
    assert ends == pytest.approx(np.array([(X, Y + north), (X + 20, Y + north)]), abs=1e-6)
    assert metric.sketch("L1")["sigma_m"].iloc[0] >= 2.0
    assert "no ground to dig by" in row["line_note"]


def test_first_bearing_square_to_the_main_and_bends_by_hand(metric: Book, tmp_path: Path) -> None:
    """Without a bearing the first leg leaves the main squarely towards the house; a bend of 90 degrees right goes south."""
    legs = "lateral,reading,unit,angle,hand\nL1,12,m,90,right\nL1,15,m,90,left\nL1,23,m,,\n"
    sheet = "lateral,property,main,tie_in_distance\nL1,P1,M1,38\n"
    assert metric.load(main_and_house(files(tmp_path, laterals=sheet, legs=legs))).rejects.empty
    row = metric.sketch("L1").iloc[0]
    assert (row["method"], row["first_bearing"], row["first_bearing_from"]) == (
        "traverse",
        pytest.approx(90.0),
        "square to the main",
    )
    wanted = [(X, Y + 38), (X + 12, Y + 38), (X + 12, Y + 35), (X + 20, Y + 35)]
    assert shapely.get_coordinates(row["geometry"]) == pytest.approx(np.array(wanted), abs=0.01)


def test_nonsense_is_refused_with_the_way_out(metric: Book, tmp_path: Path) -> None:
    """Legs that end far from the house are no line; where left and right were exchanged, it is said."""
    legs = "lateral,reading,unit,angle,hand\nL1,12,m,90,{}\nL1,23,m,90,{}\nL1,31,m,,\n"
    ends = f"lateral,name,kind,x,y\nL1,T,tie-in,{X},{Y + 38}\nL1,B,building,{X + 20},{Y + 27}\n"
    sheet = "lateral,property\nL1,P1\n"
    metric.load(main_and_house(files(tmp_path / "a", laterals=sheet, referents=ends, legs=legs.format("left", "right"))))
    rows = metric.sketch("L1").set_index("method")
    assert rows.loc["traverse", "geometry"] is None
    assert "with left and right exchanged they would close" in rows.loc["traverse", "reason"]
    assert rows.loc["guessed", "taken"]
    metric.load(files(tmp_path / "a", legs=legs.format("right", "left")))
    rows = metric.sketch("L1").set_index("method")
    assert rows.loc["traverse", "taken"]
    assert rows.loc["traverse", "misclosure_m"] < 0.01


def test_two_points_of_a_phone_are_enough(book: Book, tmp_path: Path) -> None:
    """A crew without a map tells main and house by longitude and latitude: its looks make one issue, in a wide circle."""
    degrees = gpd.GeoSeries(gpd.points_from_xy([700_000.0, 700_000.0], [900_000.0, 900_060.0]), crs=FEET).to_crs(4326)
    points = "".join(f"L1,{kind},{kind},{at.x!r},{at.y!r},3\n" for kind, at in zip(("tie-in", "building"), degrees, strict=True))
    sources = files(
        tmp_path,
        laterals="lateral,address,street\nL1,1 Elm Lane,Elm Lane\n",
        referents=f"lateral,name,kind,x,y,sigma\n{points}",
        runs="run,lateral,ran_on,unit\nA,L1,2025-03-04,ft\nB,L1,2026-03-10,ft\n",
        observations="run,reading,kind,grade\nA,31.2,roots,2\nB,31.4,roots,4\n",
    )
    sources.write_text(sources.read_text().replace('"referents.csv"\n', '"referents.csv"\ncrs = "EPSG:4326"\n'))
    assert book.load(sources).rejects.empty
    line = book.layer("laterals").iloc[0]
    assert line["method"] == "guessed"
    assert shapely.get_coordinates(line["geometry"])[[0, -1]] == pytest.approx(np.array([[7e5, 9e5], [7e5, 900_060.0]]), abs=0.01)
    issue = book.defects(street="Elm Lane").iloc[0]
    assert (issue["state"], issue["times_seen"]) == ("worse", 2)
    assert issue["measure_m"] == pytest.approx((60.0 - 31.3) * 0.3048, abs=0.5)
    assert issue["within_m"] > 3.0
