"""Real maps through the command line: buildings, plots and streets out of other libraries' wheels, laterals drawn here.

Sources: momepy (0.11) ``datasets/bubenec.gpkg``, EPSG:3857; libpysal (4.14) ``examples/geodanet/streets.shp``, US survey feet,
and ``examples/street_net_pts``, whose .prj says degrees though the coordinates are feet. What must come out is computed with
shapely and numpy alone.
"""

from pathlib import Path

import geopandas as gpd
import libpysal
import momepy
import numpy as np
import pandas as pd
import pytest
import shapely

import sewermap as door
from tests.cli.running import good, sewermap

BUBENEC = Path(momepy.__file__).parent / "datasets" / "bubenec.gpkg"
EXAMPLES = Path(libpysal.__file__).parent / "examples"
UTM_33 = "EPSG:32633"
FOOT_M = 0.3048
US_SURVEY_FOOT_M = 1200 / 3937

LAUNCH_M, SCALE, SLIP_M, FIX_M, MAP_M = 0.3, 0.015, 0.0004, 0.1, 0.3
"""The counter model's figures, as the design states them (common practice, no source)."""

SPLITS = {1: (9.730, 14.639), 2: (52.992, 11.008), 3: (10.740, 6.684), 4: (12.438, 6.519), 5: (6.597, 9.776), 6: (6.613, 9.641)}
"""By building: metres of its line on its own plot and beyond; computed before with shapely alone, told to the millimetre."""

SOURCES = """
crs = "EPSG:32633"
[buildings]
from = "{bubenec}"
layer = "buildings"
[buildings.fields]
building = "uID"
[parcels]
from = "{bubenec}"
layer = "plots"
[parcels.fields]
property = "ID"
[streets]
from = "{bubenec}"
layer = "streets"
[streets.defaults]
street = "Nameless Street"
[laterals]
from = "laterals.fgb"
tie_in = "start"
[runs]
from = "runs.csv"
[observations]
from = "observations.csv"
"""


class Town:
    """Buildings, plots and streets in UTM, a line from each building's nearest street to its centroid, and where each line
    leaves the plot that shares most of the building: by shapely alone.
    """

    def __init__(self) -> None:
        self.buildings, self.plots, self.streets = (
            gpd.read_file(BUBENEC, layer=name).to_crs(UTM_33) for name in ("buildings", "plots", "streets")
        )
        centre = self.buildings.centroid.to_numpy()
        street = self.streets.geometry.to_numpy()
        nearest = shapely.STRtree(street).nearest(centre)
        self.lines = shapely.reverse(shapely.shortest_line(centre, street[nearest]))
        self.names = [f"B{number}" for number in self.buildings["uID"]]
        self.property_line_m = np.array([self._leaves(*row) for row in zip(self.buildings.geometry, self.lines, strict=True)])

    def _leaves(self, building: shapely.Polygon, line: shapely.LineString) -> float:
        shared = shapely.area(shapely.intersection(self.plots.geometry.to_numpy(), building))
        own = self.plots.geometry.iloc[shared.argmax()]
        if shared.max() == 0 or not own.covers(shapely.Point(line.coords[-1])):
            return np.nan
        inside = [
            part for part in shapely.get_parts(line.intersection(own)) if part.distance(shapely.Point(line.coords[-1])) < 1e-9
        ]
        return np.nan if not inside or inside[0].length > line.length - 1e-6 else line.length - inside[0].length


@pytest.fixture(scope="module")
def town() -> Town:
    """The real map, read anew."""
    return Town()


@pytest.fixture(scope="module")
def loaded(town, tmp_path_factory):
    """The real map and invented logs, loaded through the command line: the folder, the book, the observations as written."""
    folder = tmp_path_factory.mktemp("bubenec")
    layer = gpd.GeoDataFrame({"lateral": town.names}, geometry=town.lines, crs=UTM_33)
    layer.to_crs(3857).to_file(folder / "laterals.fgb", driver="FlatGeobuf")
    length_m = shapely.length(town.lines)
    metres = np.arange(len(length_m)) % 3 == 0
    unit_m = np.where(metres, 1.0, FOOT_M)
    runs = pd.DataFrame({"run": [f"R-{name}" for name in town.names], "lateral": town.names, "ran_on": "2024-05-31"})
    runs["unit"] = np.where(metres, "m", "ft")
    runs.to_csv(folder / "runs.csv", index=False)
    seen = pd.concat(
        [
            pd.DataFrame({"run": runs["run"], "reading": np.round(part * length_m / unit_m, 2), "kind": kind, "grade": grade})
            for part, kind, grade in ((0.3, "roots", "3"), (0.8, "crack", "2"), (1.0, "joint", ""), (1.5, "sag", "1"))
        ]
    )
    seen.to_csv(folder / "observations.csv", index=False)
    (folder / "SOURCES.toml").write_text(SOURCES.format(bubenec=BUBENEC.as_posix()), encoding="utf-8")
    good(sewermap("create", "--crs", UTM_33, "--db", folder / "town.gpkg"))
    done = sewermap("load", folder / "SOURCES.toml", "--db", folder / "town.gpkg", "--format", "json")
    return folder, done, door.open(folder / "town.gpkg", read_only=True), seen


def test_all_of_the_map_is_loaded(loaded):
    """144 buildings, 407 plots, 35 streets (counts: momepy's data set) and all our rows are loaded; none is lost."""
    _, done, _, seen = loaded
    counts = {file["table"]: file for file in done.json["files"]}
    assert {name: counts[name]["read"] for name in ("buildings", "parcels", "streets")} == {
        "buildings": 144,
        "parcels": 407,
        "streets": 35,
    }
    assert counts["laterals"]["loaded"] == 144
    assert counts["observations"]["loaded"] == len(seen)
    assert all(file["read"] == file["loaded"] + file["rejected"] for file in counts.values())
    assert done.json["rejects"] == []
    assert done.status == 0


def test_property_lines_of_six_buildings_to_a_millimetre(loaded):
    """Lines of buildings 1 to 6 divide into own and beyond as was computed before with shapely alone."""
    _, _, book, _ = loaded
    laterals = book.layer("laterals").set_index("lateral")
    for number, (own_m, beyond_m) in SPLITS.items():
        row = laterals.loc[f"B{number}"]
        assert row["property_line_m"] == pytest.approx(beyond_m, abs=1e-3)
        assert row["length_m"] - row["property_line_m"] == pytest.approx(own_m, abs=1e-3)
        assert row["property_line_from"] == "parcel"


def test_all_property_lines_are_where_shapely_puts_them(loaded, town):
    """Every line leaves its own plot where an overlay of line and plot ends; where it never does, no property line is told."""
    _, _, book, _ = loaded
    computed = book.layer("laterals").set_index("lateral").loc[town.names, "property_line_m"].to_numpy(float)
    assert np.isfinite(town.property_line_m).sum() > 90
    np.testing.assert_allclose(computed, town.property_line_m, rtol=0, atol=2e-3, equal_nan=True)


def test_every_lateral_has_a_property_line_or_says_why_not(loaded):
    """Of all 144 lines, none is without both; these, drawn to the middle of their buildings, leave their plot once each."""
    folder, _, book, _ = loaded
    laterals = book.layer("laterals")
    assert len(laterals) == 144
    assert (laterals["property_line_m"].notna() | laterals["property_line_note"].notna()).all()
    told = good(sewermap("history", "B1", "--db", folder / "town.gpkg")).out
    assert "property line at 14.64 m from the tie-in (parcel)" in told


def test_lines_from_walls_have_a_property_line_or_say_why_not(town, tmp_path):
    """Lines drawn to the buildings' walls, half of which stand 1 to 24 cm outside their plot (shapely alone: 66 of 144)."""
    walls = town.buildings.geometry.to_numpy()
    lines = shapely.shortest_line(town.streets.union_all(), walls)
    gpd.GeoDataFrame({"lateral": town.names}, geometry=lines, crs=UTM_33).to_file(tmp_path / "laterals.fgb", driver="FlatGeobuf")
    plan = SOURCES.format(bubenec=BUBENEC.as_posix()).split("[runs]")[0]
    (tmp_path / "SOURCES.toml").write_text(plan, encoding="utf-8")
    db = tmp_path / "town.gpkg"
    good(sewermap("create", "--crs", UTM_33, "--db", db))
    good(sewermap("load", tmp_path / "SOURCES.toml", "--db", db))
    laterals = door.open(db, read_only=True).layer("laterals")
    assert (laterals["property_line_m"].notna() | laterals["property_line_note"].notna()).all()
    notes = laterals["property_line_note"]
    assert notes.str.contains("outside its own parcel", na=False).sum() == 66
    assert notes.str.contains("taken to be at the building", na=False).sum() == 62
    at_wall = laterals[notes.str.contains("taken to be at the building", na=False)]
    np.testing.assert_allclose(at_wall["property_line_m"], at_wall["length_m"])
    assert notes.str.contains("passes its parcel's boundary 3 times", na=False).sum() == 1


def test_readings_without_fixes_are_where_subtraction_puts_them(loaded, town):
    """Without fixes the measure is length minus reading and the point is shapely's; sigma is the model's prior, by hand."""
    _, _, book, seen = loaded
    length_m = dict(zip(town.names, shapely.length(town.lines), strict=True))
    line = dict(zip(town.names, town.lines, strict=True))
    placed = book.layer("placed_observations")
    placed = placed[placed["kind"].isin(["roots", "crack"])]
    assert len(placed) == 2 * 144
    paid_m = placed["reading"].astype(float) * placed["unit"].map({"m": 1.0, "ft": FOOT_M})
    measure_m = placed["lateral"].map(length_m) - paid_m
    np.testing.assert_allclose(placed["measure_m"], measure_m, rtol=0, atol=1e-5)
    points = shapely.line_interpolate_point(placed["lateral"].map(line).to_numpy(), measure_m.to_numpy())
    assert shapely.distance(points, placed.geometry.to_numpy()).max() < 1e-5
    sigma_m = np.sqrt(LAUNCH_M**2 + MAP_M**2 + (SCALE * paid_m) ** 2 + SLIP_M * paid_m)
    np.testing.assert_allclose(placed["sigma_m"], sigma_m, rtol=0, atol=1e-9)
    assert placed["accuracy_assumed"].all()
    assert len(seen) == 4 * 144


def test_readings_past_the_line_are_kept_with_a_reason_and_not_placed(loaded):
    """A reading half a line past the tie-in is loaded; it has no point, and says how far past it lies, unless within 3 sigma."""
    _, done, book, _ = loaded
    placed = book.layer("placed_observations")
    past = placed[placed["kind"] == "sag"]
    assert len(past) == 144
    lost = past[past["measure_m"].isna()]
    assert len(lost) > 130
    assert lost.geometry.isna().all()
    assert lost["x"].isna().all()
    assert lost["reason"].str.contains("past the tie-in by").all()
    near = past[past["measure_m"].notna()]
    assert (near["reason"] == "at end").all()
    assert (near["measure_m"] == 0).all()
    warned = {(warning["file"], warning["row"]) for warning in done.json["warnings"]}
    assert set(zip(lost["source_file"], lost["source_row"], strict=True)) <= warned


def test_where_and_the_map_tell_one_place(loaded):
    """``where`` gives a reading the place that the loaded observation of it has, and that place's longitude and latitude."""
    folder, _, book, _ = loaded
    row = book.layer("placed_observations").query("lateral == 'B2' and kind == 'roots'").iloc[0]
    words = ["where", "B2", row["reading"], "--run", row["run"], "--db", folder / "town.gpkg", "--format", "json"]
    told = good(sewermap(*words)).json
    for name in ("measure_m", "sigma_m", "within_m", "x", "y", "side_probability"):
        assert told[name] == pytest.approx(row[name], abs=1e-9)
    point = gpd.GeoSeries([row.geometry], crs=UTM_33).to_crs(4326).iloc[0]
    assert (told["lon"], told["lat"]) == pytest.approx((point.x, point.y), abs=1e-9)
    assert told["side"] == "private"


def test_a_seen_property_line_ties_the_counter(town, tmp_path):
    """A run that passes the property line of building 2: all its places move by the closed form for one fix
    (Rasmussen and Williams 2006, eq. 2.23 and 2.24, with one observation; from memory).
    """
    index = town.names.index("B2")
    line, border_m = town.lines[index], town.property_line_m[index]
    gpd.GeoDataFrame({"lateral": ["B2"], "map_accuracy": [0.2]}, geometry=[line], crs=UTM_33).to_file(tmp_path / "laterals.fgb")
    own = town.plots[town.plots.covers(shapely.Point(line.coords[-1]))].iloc[[0]]
    own[["ID", "geometry"]].to_file(tmp_path / "plots.gpkg")
    (tmp_path / "runs.csv").write_text("run,lateral,ran_on,unit\nR1,B2,2024-05-31,m\n")
    off_m = 0.7
    fix_d, asked_d = line.length - border_m + off_m, 30.0
    (tmp_path / "observations.csv").write_text(f"run,reading,kind\nR1,{fix_d},property line\nR1,{asked_d},roots\n")
    (tmp_path / "SOURCES.toml").write_text(
        '[parcels]\nfrom = "plots.gpkg"\nfields.property = "ID"\n[laterals]\nfrom = "laterals.fgb"\ntie_in = "start"\n'
        '[runs]\nfrom = "runs.csv"\n[observations]\nfrom = "observations.csv"\n'
    )
    db = tmp_path / "town.gpkg"
    good(sewermap("create", "--crs", UTM_33, "--db", db))
    good(sewermap("load", tmp_path / "SOURCES.toml", "--db", db))
    told = good(sewermap("where", "B2", "30.0", "--run", "R1", "--db", db, "--format", "json")).json

    def shared(a: float, b: float) -> float:
        return LAUNCH_M**2 + 0.2**2 + SCALE**2 * a * b + SLIP_M * min(a, b)

    noise = FIX_M**2 + 0.2**2
    gain = shared(asked_d, fix_d) / (shared(fix_d, fix_d) + noise)
    assert told["measure_m"] == pytest.approx(line.length - asked_d + gain * (border_m - (line.length - fix_d)), abs=1e-6)
    assert told["sigma_m"] == pytest.approx(np.sqrt(shared(asked_d, asked_d) - gain * shared(asked_d, fix_d)), abs=1e-9)


def test_the_whole_real_map_goes_on(loaded):
    """Defects by area, history, export, site and check work on the real map as on any other."""
    folder, _, book, _ = loaded
    db = ["--db", folder / "town.gpkg"]
    good(sewermap("export", folder / "area.geojson", "--table", "parcels", *db))
    inside = good(sewermap("defects", "--area", folder / "area.geojson", "--kind", "roots", "--format", "json", *db)).json
    plots = book.layer("parcels").union_all()
    roots = book.layer("placed_observations").query("kind == 'roots'")
    assert {row["issue"] for row in inside} == set(roots[roots.geometry.intersects(plots)]["issue"])
    assert len(good(sewermap("history", "B1", "--format", "json", *db)).json["observations"]) == 4
    good(sewermap("site", folder / "site", *db))
    assert (folder / "site" / "index.html").stat().st_size > 1000
    good(sewermap("check", *db))


# --- a map in US survey feet -------------------------------------------------------------------------------------------

STREETS = EXAMPLES / "geodanet" / "streets.shp"


@pytest.fixture(scope="module")
def feet(tmp_path_factory):
    """A feet map: streets as mains, a lateral from each of 40 of them, every second one drawn from the house."""
    folder = tmp_path_factory.mktemp("feet")
    streets = gpd.read_file(STREETS).iloc[:40]
    middle = streets.interpolate(0.5, normalized=True)
    beside = shapely.transform(middle.to_numpy(), lambda xy: xy + np.array([23.0, 31.0]))
    lines = shapely.linestrings([[(a.x, a.y), (b.x, b.y)] for a, b in zip(middle, beside, strict=True)])
    # Another street may be nearer to the house than its own: then no tie_in = "main" could know better.
    mains = gpd.read_file(STREETS).geometry.union_all()
    kept = shapely.distance(shapely.points(shapely.get_coordinates(lines)[1::2]), mains) > 1
    lines = lines[kept]
    drawn = np.where(np.arange(len(lines)) % 2 == 0, lines, shapely.reverse(lines))
    names = [f"L{at}" for at in range(len(lines))]
    gpd.GeoDataFrame({"lateral": names}, geometry=drawn, crs=streets.crs).to_file(folder / "laterals.shp")
    runs = "\n".join(f"R-{name},{name},2024-05-31,ft" for name in names)
    (folder / "runs.csv").write_text(f"run,lateral,ran_on,unit\n{runs}\n")
    seen = "\n".join(f"R-{name},12.5,roots,4" for name in names)
    (folder / "observations.csv").write_text(f"run,reading,kind,grade\n{seen}\n")
    (folder / "SOURCES.toml").write_text(
        f'[mains]\nfrom = "{STREETS.as_posix()}"\nfields.main = "ID"\n[laterals]\nfrom = "laterals.shp"\ntie_in = "main"\n'
        '[runs]\nfrom = "runs.csv"\n[observations]\nfrom = "observations.csv"\n'
    )
    good(sewermap("create", "--like", STREETS, "--db", folder / "feet.gpkg"))
    done = sewermap("load", folder / "SOURCES.toml", "--db", folder / "feet.gpkg", "--format", "json")
    return folder, done, door.open(folder / "feet.gpkg", read_only=True), dict(zip(names, lines, strict=True))


def test_streets_in_feet_are_mains(feet):
    """293 streets of 104414.092 ft (libpysal's example) are kept in their own feet, whose CRS has no EPSG code."""
    _, done, book, _ = feet
    assert done.status == 0, done.err
    mains = book.layer("mains")
    assert len(mains) == 293
    assert mains.length.sum() == pytest.approx(104414.09201597, abs=1e-4)
    assert mains.crs.axis_info[0].unit_conversion_factor == pytest.approx(US_SURVEY_FOOT_M, rel=1e-12)


def test_every_lateral_runs_from_its_main(feet):
    """Whichever way it was drawn, measure 0 is at the main: the stored line begins where the street is."""
    _, _, book, lines = feet
    laterals = book.layer("laterals").set_index("lateral")
    for name, line in lines.items():
        assert laterals.loc[name].geometry.equals_exact(line, 1e-6), name
        assert laterals.loc[name, "length_m"] == pytest.approx(line.length * US_SURVEY_FOOT_M, rel=1e-12)


def test_readings_in_feet_stand_on_a_map_in_other_feet(feet):
    """12.5 ft of counter from the house is 12.5 international feet, on a map in survey feet: shapely's point."""
    _, _, book, lines = feet
    placed = book.layer("placed_observations").set_index("lateral")
    assert len(placed) == len(lines)
    for name, line in lines.items():
        point = line.interpolate(line.length - 12.5 * FOOT_M / US_SURVEY_FOOT_M)
        assert placed.loc[name].geometry.distance(point) < 1e-6


LYING = {
    "mains": 'fields.main = "ID"',
    "laterals": 'fields.lateral = "ID"',
    "referents": 'fields.lateral = "ID"\ndefaults = {name = "C1", kind = "clean-out"}',
}


@pytest.mark.parametrize("section", LYING)
def test_a_projection_that_lies_is_refused(section, tmp_path):
    """street_net_pts says degrees and holds feet: the load ends with one sentence that names the file, and nothing is loaded."""
    lying = EXAMPLES / "street_net_pts" / "street_net_pts.shp"
    (tmp_path / "SOURCES.toml").write_text(f'[{section}]\nfrom = "{lying.as_posix()}"\n{LYING[section]}\n')
    db = tmp_path / "town.gpkg"
    good(sewermap("create", "--crs", UTM_33, "--db", db))
    done = sewermap("load", tmp_path / "SOURCES.toml", "--db", db)
    assert done.is_one_line_error, done
    assert "street_net_pts.shp" in done.err
    assert "degrees" in done.err
    assert len(door.open(db).layer("source_files")) == 0


def test_a_map_like_a_projection_that_lies_is_refused(tmp_path):
    """No database is made in the degrees that street_net_pts claims."""
    done = sewermap("create", "--like", EXAMPLES / "street_net_pts" / "street_net_pts.shp", "--db", tmp_path / "town.gpkg")
    assert done.is_one_line_error
    assert not (tmp_path / "town.gpkg").exists()
