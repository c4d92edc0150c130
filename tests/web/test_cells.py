"""A city's lines and issues in cells: nothing lost, nothing twice, nothing moved."""

import json
import math

import numpy as np
import pandas as pd
import pyproj
import pytest
import shapely

from sewermap.errors import SewermapError
from sewermap.web import city_files, packing
from sewermap.web.site_index import days_since_epoch, site_index
from sewermap.web.site_tables import site_tables
from sewermap.web.world_steps import CELL, STEPS
from tests.web import invented_city
from tests.web.invented_city import BENT_ONE, FEET, LONG_ONE, METRES, WITHOUT_LINE, city_tables

FIVE_CM = 0.05


def read(script):
    """What a script hands over: a list of its values."""
    return json.loads("[" + script[script.index("(") + 1 : script.rindex(")")] + "]")


def cells_of(files, kind="cell"):
    """Each cell's column, row and unpacked columns."""
    return [
        (x, y, packing.unpacked(packed))
        for name, text in files.items()
        if name.startswith(f"data/{kind}-")
        for x, y, packed in [read(text)]
    ]


def lines_of(files, crs):
    """By lateral's number the line as it comes out of its cell, in the map's CRS (pyproj's own inverse of EPSG:3857)."""
    back = pyproj.Transformer.from_crs(3857, crs, always_xy=True)
    half = math.pi * 6378137
    lines = {}
    for x, y, cell in cells_of(files):
        ends = np.cumsum(cell["vertices"])
        wx, wy = (cell["x"] + x * CELL) / STEPS, (cell["y"] + y * CELL) / STEPS
        mx, my = back.transform((wx * 2 - 1) * half, (1 - wy * 2) * half)
        for row, lateral in enumerate(cell["lateral"].tolist()):
            rows = slice(int(ends[row] - cell["vertices"][row]), int(ends[row]))
            lines[lateral] = shapely.LineString(np.c_[mx[rows], my[rows]])
    return lines


@pytest.fixture(scope="module", params=[METRES, FEET], ids=["metres", "feet"])
def city(request):
    """Tables, index and files of the invented city, its map in metres or in feet, and what its unit is in metres."""
    tables = city_tables(request.param)
    index = site_index(tables)
    return tables, index, city_files.files(tables, index), 1.0 if request.param is METRES else invented_city.METRES_PER_FOOT


def test_every_line_comes_back_to_five_centimetres(city):
    """Lines of two, three and 300 vertices and one of 2 km: each vertex is where it was, and none is missing."""
    tables, index, files, unit = city
    lines = lines_of(files, tables.crs)
    drawn = index.laterals.geometry.to_numpy()
    assert set(lines) == {i for i, line in enumerate(drawn) if line is not None}
    for i, line in lines.items():
        was, now = shapely.get_coordinates(drawn[i]), shapely.get_coordinates(line)
        assert np.hypot(*(was - now).T).max() * unit < FIVE_CM


def test_every_lateral_and_issue_is_in_exactly_one_cell(city):
    """Each lateral that has a line is listed once, in the cell of its middle; its issues go with it."""
    _, index, files, _ = city
    listed = np.concatenate([cell["lateral"] for _, _, cell in cells_of(files)])
    has_line = index.laterals["lateral"] != WITHOUT_LINE
    assert np.array_equal(np.sort(listed), np.flatnonzero(has_line))
    per_lateral = np.diff(index.first_issue)
    for _, _, cell in cells_of(files):
        assert len(cell["place"]) == per_lateral[cell["lateral"]].sum()
    assert sum(len(cell["place"]) for _, _, cell in cells_of(files)) == 3 * has_line.sum()


def test_issues_lie_on_their_line_where_their_point_is(city):
    """The share of a line that a cell tells gives back the issue's point, and along defects their length."""
    tables, index, files, unit = city
    lines = lines_of(files, tables.crs)
    points = index.issues.geometry.to_numpy()
    for _, _, cell in cells_of(files):
        laterals = np.repeat(cell["lateral"], np.diff(index.first_issue)[cell["lateral"]])
        issues = np.concatenate([np.arange(index.first_issue[i], index.first_issue[i + 1]) for i in cell["lateral"]])
        for k, (lateral, issue) in enumerate(zip(laterals.tolist(), issues.tolist(), strict=True)):
            there = lines[lateral].interpolate(cell["place"][k] / 65_534, normalized=True)
            assert there.distance(points[issue]) * unit < FIVE_CM
        sigma = index.issues["sigma_m"].to_numpy()[issues]
        assert ((cell["sigma"] * FIVE_CM >= sigma - 1e-9) & (cell["sigma"] * FIVE_CM < sigma + FIVE_CM)).all()
        long = issues[cell["long_issue"]]
        assert np.array_equal(long, issues[index.issues["to_measure_m"].notna().to_numpy()[issues]])
        length = index.laterals["length_m"].to_numpy()[index.issue_lateral[long]]
        told = np.rint(index.issues["to_measure_m"].to_numpy()[long] / length * 65_534).clip(max=65_534)
        assert np.abs(cell["long_to"] - told).max(initial=0) <= 1


def test_a_cells_box_holds_all_its_lines(city):
    """The box that says when a cell must be loaded covers every vertex, also of a line that runs through other cells."""
    _, index, files, _ = city
    town = read(files["data/town.js"])[0]
    boxes = {(x, y): box for x, y, _, _, *box in town["cells"]["ids"]}
    counts = {(x, y): (laterals, issues) for x, y, laterals, issues, *_ in town["cells"]["ids"]}
    assert len(boxes) == sum(name.startswith("data/cell-") for name in files)
    for x, y, cell in cells_of(files):
        west, north, east, south = boxes[x, y]
        assert (west, north, east, south) == (cell["x"].min(), cell["y"].min(), cell["x"].max(), cell["y"].max())
        assert counts[x, y] == (len(cell["lateral"]), len(cell["place"]))
    long_one = int(index.lateral_rows(pd.Series([LONG_ONE]))[0])
    (box,) = [boxes[x, y] for x, y, cell in cells_of(files) if long_one in cell["lateral"]]
    assert box[2] - box[0] > CELL


def test_ground_cells_hold_every_ring_and_line(city):
    """Parcels, buildings (one with a hole) and the main's parts: all there, none twice, each inside its cell's box."""
    _, _, files, _ = city
    town = read(files["data/town.js"])[0]
    boxes = {(x, y): box for x, y, *box in town["cells"]["ground"]}
    parts = {"parcels": 0, "buildings": 0, "mains": 0}
    for x, y, cell in cells_of(files, "ground"):
        for name in parts:
            parts[name] += len(cell[f"{name}_vertices"])
            west, north, east, south = boxes[x, y]
            assert ((cell[f"{name}_x"] >= west) & (cell[f"{name}_x"] <= east)).all()
            assert ((cell[f"{name}_y"] >= north) & (cell[f"{name}_y"] <= south)).all()
    houses = invented_city.STREETS * invented_city.HOUSES
    assert parts == {"parcels": houses, "buildings": houses + 2, "mains": invented_city.STREETS}


def test_cells_are_web_tiles():
    """A cell's column and row are those of OpenStreetMap's wiki ("Slippy map tilenames", formula from memory)."""
    tables = city_tables()
    files = city_files.files(tables, site_index(tables))
    to_degrees = pyproj.Transformer.from_crs(METRES, 4326, always_xy=True)
    index = site_index(tables)
    for x, y, cell in cells_of(files):
        for lateral in cell["lateral"].tolist():
            middle = index.laterals.geometry.iloc[lateral].interpolate(0.5, normalized=True)
            lon, lat = to_degrees.transform(middle.x, middle.y)
            assert x == math.floor((lon + 180) / 360 * 2**15)
            assert y == math.floor((1 - math.asinh(math.tan(math.radians(lat))) / math.pi) / 2 * 2**15)


@pytest.mark.parametrize("seed", [1, 2])
def test_the_order_of_rows_means_nothing(seed):
    """The same tables in another order of rows give the same bytes in every file."""
    first, other = city_tables(), city_tables(shuffled_by=seed)
    assert city_files.files(first, site_index(first)) == city_files.files(other, site_index(other))


def test_city_columns_say_what_the_tables_say(city):
    """Grades, days, states, sides, dues, repeats and counts by lateral and issue are those of the tables, read one by one."""
    _, index, files, _ = city
    (packed,) = read(files["data/city.js"])
    columns = packing.unpacked(packed)
    laterals, issues = index.laterals, index.issues
    assert np.array_equal(columns["grade"], laterals["grade"].fillna(0))
    assert np.array_equal(columns["scoped"] == 0, laterals["last_run_on"].isna())
    assert np.array_equal(columns["n_issues"], laterals["lateral"].map(issues.groupby("lateral").size()))
    assert np.array_equal(columns["repeats"], laterals["repeats"])
    assert np.repeat(index.streets, columns["street_laterals"]).tolist() == laterals["street"].tolist()
    assert columns["due"][index.lateral_rows(pd.Series(["L-0", "L-1", "L-2"]))].tolist() == [2, 3, 0]
    assert columns["check_by"][index.lateral_rows(pd.Series(["L-0"]))[0]] == (
        np.datetime64("2026-02-01") - np.datetime64("1990-01-01")
    ).astype(int)
    assert [index.kinds[kind] for kind in columns["kind"]] == issues["kind"].tolist()
    assert np.array_equal(columns["look"] & 7, issues["grade"].fillna(0))
    assert [index.states[look >> 3 & 7] for look in columns["look"]] == issues["state"].tolist()
    assert [index.sides[look >> 6] for look in columns["look"]] == issues["side"].fillna("unknown").tolist()
    assert np.array_equal(columns["flags"] & 1, issues["is_repeat"])
    assert np.array_equal(columns["flags"] & 2 > 0, issues["kind"] == "cross-bore")
    assert np.array_equal(columns["along"] == 255, issues["lateral"] == WITHOUT_LINE)
    last = columns["first"].astype(int) + columns["seen_for"]
    assert np.array_equal(np.datetime64("1990-01-01") + last, issues["last_seen"].to_numpy("datetime64[D]"))


def test_city_places_are_those_of_the_lines(city):
    """The rounded place of each lateral is within a step of the frame of its line's middle."""
    tables, index, files, unit = city
    (packed,) = read(files["data/city.js"])
    columns = packing.unpacked(packed)
    steps = [packed["origin"][axis] + (columns[name] + 0.5) * 2 ** packed["shift"] for axis, name in enumerate("xy")]
    half = math.pi * 6378137
    back = pyproj.Transformer.from_crs(3857, tables.crs, always_xy=True)
    x, y = back.transform((steps[0] / STEPS * 2 - 1) * half, (1 - steps[1] / STEPS * 2) * half)
    middles = shapely.line_interpolate_point(index.laterals.geometry.to_numpy(), 0.5, normalized=True)
    off = np.hypot(x - shapely.get_x(middles), y - shapely.get_y(middles)) * unit
    assert np.isnan(off).sum() == 1
    assert np.nanmax(off) < 2 ** packed["shift"] * 0.04


def test_names_come_back_whatever_they_hold():
    """Backslashes, new lines and names within names are told apart; a street or lateral without a name replaces nothing."""
    odd = ["L\\1", "L\n2", "\\s", "ü\u2028<b>"]
    laterals = pd.DataFrame(
        {
            "lateral": odd,
            "street": ["Elm", None, "a\\", "Elm"],
            "address": ["1 Elm", "no street", "a\\ a\\", "Elm Elm"],
            "geometry": [None] * 4,
        }
    )
    issues = pd.DataFrame({"issue": [f"{name}/1" for name in odd], "lateral": odd, "geometry": [None] * 4})
    tables = site_tables({"laterals": laterals, "issues": issues}, crs=None, title="Odd", as_of=invented_city.AS_OF)
    index = site_index(tables)
    (texts,) = read(city_files.files(tables, index)["data/names.js"])
    lists = [packing.unpacked_bytes(text).decode("utf-8").split("\n") for text in texts]
    street, lateral = np.array(index.streets)[index.lateral_street], index.laterals["lateral"].to_numpy()

    def whole(text, street, lateral):
        parts = {"s": street, "l": lateral, "n": "\n", "\\": "\\"}
        said, i = "", 0
        while i < len(text):
            said, i = (said + parts[text[i + 1]], i + 2) if text[i] == "\\" else (said + text[i], i + 1)
        return said

    rows = range(4)
    assert [whole(lists[0][i], "", "") for i in rows] == lateral.tolist()
    assert [whole(lists[1][i], street[i], "") for i in rows] == index.laterals["address"].tolist()
    assert [whole(lists[2][i], "", lateral[index.issue_lateral[i]]) for i in rows] == index.issues["issue"].tolist()


def test_times_tell_what_was_known_on_each_day(city):
    """By brute force: on any day an issue is what the last of its events until then says, or unknown."""
    tables, index, files, _ = city
    (packed,) = read(files["data/times.js"])
    columns = packing.unpacked(packed)
    days = columns["days"].astype(np.int64)
    first_day, first_state = (np.concatenate([[0], np.cumsum(counts)]) for counts in (days, days[index.issue_lateral]))
    events = tables.issue_events.assign(on=days_since_epoch(tables.issue_events["day"]))
    for day in (events["on"].min() - 1, *np.percentile(events["on"], [10, 50, 90]).astype(int), events["on"].max()):
        for issue in range(0, len(index.issues), 7):
            lateral = index.issue_lateral[issue]
            known = int((columns["day"][first_day[lateral] : first_day[lateral + 1]] <= day).sum())
            word = int(columns["state"][first_state[issue] + known - 1]) if known else 0
            until = events[(events["issue"] == index.issues["issue"].iloc[issue]) & (events["on"] <= day)]
            if len(until) == 0:
                assert word == 0
                continue
            grade = until["grade"].iloc[-1]
            assert index.states[(word & 15) - 1] == until["state"].iloc[-1]
            assert word >> 4 == (0 if math.isnan(grade) else grade)


def test_an_empty_town_still_has_its_files():
    """A database without a row gives a town without cells and bounds, and no error."""
    tables = site_tables({}, crs=METRES, title="Nowhere", as_of=invented_city.AS_OF)
    files = city_files.files(tables, site_index(tables))
    assert set(files) == {"data/town.js", "data/city.js", "data/names.js", "data/times.js"}
    town = read(files["data/town.js"])[0]
    assert town["bounds"] is None
    assert town["counts"]["laterals"] == 0


def test_lines_of_no_known_place_are_refused():
    """Nobody guesses where a layer without a CRS lies; and a name that stands twice is told."""
    tables = city_tables()
    lost = site_tables({"laterals": tables.laterals}, crs=None, title="Lost", as_of=invented_city.AS_OF)
    with pytest.raises(SewermapError, match="do not say their CRS"):
        city_files.files(lost, site_index(lost))
    twice = site_tables(
        {"laterals": pd.concat([tables.laterals.head(1)] * 2)}, crs=METRES, title="Twice", as_of=invented_city.AS_OF
    )
    with pytest.raises(SewermapError, match=r"the lateral 'L-0' stands twice"):
        site_index(twice)


def test_a_line_of_300_vertices_keeps_them_all(city):
    """No limit to a line's vertices."""
    _, index, files, _ = city
    bent = int(index.lateral_rows(pd.Series([BENT_ONE]))[0])
    counts = [int(cell["vertices"][cell["lateral"] == bent][0]) for _, _, cell in cells_of(files) if bent in cell["lateral"]]
    assert counts == [300]
