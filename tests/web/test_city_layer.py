"""The city on canvas, in Chromium from the disk: what is drawn, picked, loaded and told, beside the tables themselves."""

import json
from pathlib import Path

import numpy as np
import pandas as pd
import pyproj
import pytest
import shapely

from sewermap.web import bundled, city_files, packing
from sewermap.web.site_index import days_since_epoch, site_index
from tests.web.invented_city import LONG_ONE, METRES, WITHOUT_LINE, city_tables

POLICY = "default-src 'none'; script-src 'self' file:; style-src 'self' file:; img-src 'self' file: data:"
PAGE = """<!DOCTYPE html><html lang="en"><head><meta charset="utf-8"><title>City</title>
<meta http-equiv="Content-Security-Policy" content="{policy}">
<link rel="stylesheet" href="static/leaflet/leaflet.css"><link rel="stylesheet" href="page.css">
{scripts}</head><body><div id="map"></div><script src="page.js"></script></body></html>"""
SCRIPT = """"use strict";
(() => {
  const still = { zoomControl: false, attributionControl: false, fadeAnimation: false, zoomAnimation: false };
  const map = window.map = L.map("map", still);
  map.setView([40, -40], 13, { animate: false });
  sewermap.city.ready((city) => {
    const all = (table) => new Uint8Array(table.count).fill(1);
    window.look = { issues: all(city.issues), laterals: all(city.laterals), colour: "grade", marked: null };
    city.ground().addTo(map);
    window.layer = city.layer(window.look).addTo(map);
    map.createPane("labels");
    city.labels(map, map.getPane("labels"));
  });
})();"""
QUIET = "Boolean(window.layer) && sewermap.tiles.quiet()"
PICTURE = """() => [...document.querySelectorAll(".leaflet-overlay-pane canvas")].map((canvas) => {
    const data = canvas.getContext("2d").getImageData(0, 0, canvas.width, canvas.height).data;
    return data.reduce((hash, value) => (Math.imul(hash, 31) + value) | 0, 7); }).join()"""
PIXEL = """([lat, lon, dx, dy]) => {
    const at = map.latLngToContainerPoint([lat, lon]), box = map.getContainer().getBoundingClientRect();
    for (const canvas of document.querySelectorAll(".leaflet-overlay-pane canvas")) {
        const edge = canvas.getBoundingClientRect(), x = at.x + dx + box.x - edge.x, y = at.y + dy + box.y - edge.y;
        if (x < 0 || y < 0 || x >= edge.width || y >= edge.height) continue;
        return [...canvas.getContext("2d").getImageData(Math.floor(x), Math.floor(y), 1, 1).data];
    }
    return null; }"""


@pytest.fixture(scope="module")
def city():
    """The invented city's index."""
    return site_index(city_tables())


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """A page with nothing but the map of the invented city."""
    place = tmp_path_factory.mktemp("city")
    tables = city_tables()
    made = {name: text.encode() for name, text in city_files.files(tables, site_index(tables)).items()}
    for name, content in {**bundled.contents(), **made}.items():
        (place / name).parent.mkdir(parents=True, exist_ok=True)
        (place / name).write_bytes(content)
    names = [
        "static/leaflet/leaflet.js",
        *(f"static/{name}" for name in ("sewermap.js", *city_files.SCRIPTS)),
        "data/town.js",
        "data/city.js",
    ]
    scripts = "".join(f'<script src="{name}"></script>' for name in names)
    (place / "index.html").write_text(PAGE.format(policy=POLICY, scripts=scripts), encoding="utf-8")
    (place / "page.css").write_text(
        "html, body { margin: 0; height: 100%; } #map { position: absolute; inset: 0; }", encoding="utf-8"
    )
    (place / "page.js").write_text(SCRIPT, encoding="utf-8")
    return place


@pytest.fixture
def visit(open_page, folder):
    """The page, opened and at rest; afterwards it must have failed at nothing and said nothing."""
    page = open_page(folder)
    page.until(QUIET)
    yield page
    assert page.failed == []
    assert page.messages == []


def degrees(point):
    """Latitude and longitude of a point of the map's CRS, by pyproj."""
    lon, lat = pyproj.Transformer.from_crs(METRES, 4326, always_xy=True).transform(point.x, point.y)
    return [lat, lon]


def go(visit, place, zoom):
    """Take the map there and wait until all is drawn."""
    visit.page.evaluate("([place, zoom]) => { map.setView(place, zoom, { animate: false }); }", [place, zoom])
    visit.until(QUIET)


def pick(visit, place):
    """What is picked at a place."""
    return visit.page.evaluate("(place) => sewermap.city.pick(map, map.latLngToContainerPoint(place), look)", place)


def cells_asked(visit):
    """The cells' files that the page has asked for."""
    return [Path(url).name for url in visit.requests if "/cell-" in url]


@pytest.mark.parametrize("zoom", [13, 16, 19])
def test_something_is_drawn_at_every_zoom(visit, city, zoom):
    """From far, nearer and near the canvases of laterals and of the ground bear pixels where the city lies."""
    go(visit, degrees(city.laterals.geometry.iloc[5].centroid), zoom)
    assert visit.drawn(".leaflet-overlay-pane") > 50
    assert visit.colours(".leaflet-tile-pane") > 2


def test_nothing_shown_is_nothing_drawn(visit, city):
    """Without a shown lateral or issue the canvases are empty; they fill again."""
    go(visit, degrees(city.laterals.geometry.iloc[5].centroid), 17)
    before = visit.drawn(".leaflet-overlay-pane")
    visit.page.evaluate("() => { look.issues.fill(0); look.laterals.fill(0); layer.redraw(); }")
    visit.until(QUIET)
    assert visit.drawn(".leaflet-overlay-pane") == 0
    visit.page.evaluate("() => { look.issues.fill(1); look.laterals.fill(1); layer.redraw(); }")
    visit.until(QUIET)
    assert visit.drawn(".leaflet-overlay-pane") == before


def test_each_colour_gives_another_picture(visit, city):
    """By grade, last scoped, due and repeat the same laterals look different."""
    go(visit, degrees(city.laterals.geometry.iloc[1].centroid), 18)
    pictures = set()
    for colour in ("grade", "scoped", "due", "repeat"):
        visit.page.evaluate("(colour) => { look.colour = colour; layer.redraw(); }", colour)
        visit.until(QUIET)
        pictures.add(visit.page.evaluate(PICTURE))
    assert len(pictures) == 4


def test_a_click_on_an_issue_picks_it(visit, city):
    """At the place that pyproj gives an issue's point, the issue and its lateral are picked, wherever in the city it is."""
    placed = np.flatnonzero(city.issues["lateral"] != WITHOUT_LINE)
    for issue in placed[:: len(placed) // 12].tolist():
        place = degrees(city.issues.geometry.iloc[issue])
        go(visit, place, 20)
        assert pick(visit, place) == {"issue": issue, "lateral": int(city.issue_lateral[issue])}


def test_a_click_beside_the_signs_picks_the_lateral(visit, city):
    """Near its building end a lateral is picked, also the one that ends in another cell than its middle; off it, nothing."""
    for lateral in (0, 20, int(city.lateral_rows(pd.Series([LONG_ONE]))[0])):
        line = city.laterals.geometry.iloc[lateral]
        place = degrees(line.interpolate(0.97, normalized=True))
        go(visit, place, 20)
        assert pick(visit, place) == {"issue": -1, "lateral": lateral}
    nowhere = degrees(shapely.Point(1300, 1400))
    go(visit, nowhere, 20)
    assert pick(visit, nowhere) == {"issue": -1, "lateral": -1}


def test_a_hidden_issue_is_not_picked(visit, city):
    """What a filter hides is not in the way: the lateral under it is picked."""
    place = degrees(city.issues.geometry.iloc[0])
    visit.page.evaluate("() => { look.issues.fill(0); }")
    go(visit, place, 20)
    assert pick(visit, place) == {"issue": -1, "lateral": 0}


def test_cells_are_loaded_only_where_somebody_looks(visit, city):
    """None from far; near a street its cell (and that of the line that runs through the view) and no other, each once."""
    assert cells_asked(visit) == []
    first, last = (degrees(city.laterals.geometry.iloc[i].centroid) for i in (5, 55))
    go(visit, first, 19)
    here = cells_asked(visit)
    every = {path.name for path in (Path(visit.page.url.removeprefix("file://")).parent / "data").glob("cell-*.js")}
    assert 1 <= len(here) < len(every)
    go(visit, last, 19)
    assert len(cells_asked(visit)) > len(here)
    go(visit, first, 19)
    assert len(cells_asked(visit)) == len(set(cells_asked(visit)))


def test_a_line_is_drawn_far_from_the_cell_it_belongs_to(visit, city):
    """The end of the 2 km line, two cells from its middle, has pixels though no other lateral is near."""
    line = city.laterals.geometry.iloc[int(city.lateral_rows(pd.Series([LONG_ONE]))[0])]
    place = degrees(line.interpolate(0.99, normalized=True))
    go(visit, place, 19)
    assert visit.page.evaluate(PIXEL, [*place, 0, 0])[3] > 0


def test_the_stretch_of_95_percent_is_a_band_along_the_line(visit, city):
    """A sigma and a half from an issue, beside the line: a band at zoom 22; none where the issue is hidden or 3 sigma away."""
    issue = int(np.flatnonzero((city.issue_lateral == 20) & city.issues["to_measure_m"].isna().to_numpy())[0])
    row, line = city.issues.iloc[issue], city.laterals.geometry.iloc[20]
    beside = {sigmas: degrees(line.interpolate(row["measure_m"] + sigmas * row["sigma_m"])) for sigmas in (1.5, 3.0)}
    go(visit, beside[1.5], 22)
    assert visit.page.evaluate(PIXEL, [*beside[1.5], 0, 6])[3] > 0
    assert visit.page.evaluate(PIXEL, [*beside[3.0], 0, 6])[3] == 0
    visit.page.evaluate("(issue) => { look.issues[issue] = 0; layer.redraw(); }", issue)
    visit.until(QUIET)
    assert visit.page.evaluate(PIXEL, [*beside[1.5], 0, 6])[3] == 0


def test_the_marked_issue_stands_out(visit, city):
    """Marking an issue changes the picture, and unmarking it gives the old one."""
    go(visit, degrees(city.issues.geometry.iloc[0]), 19)
    before = visit.page.evaluate(PICTURE)
    visit.page.evaluate("() => { look.marked = { issue: 0, lateral: 0 }; layer.redraw(); }")
    visit.until(QUIET)
    assert visit.page.evaluate(PICTURE) != before
    visit.page.evaluate("() => { look.marked = null; layer.redraw(); }")
    visit.until(QUIET)
    assert visit.page.evaluate(PICTURE) == before


@pytest.mark.parametrize("bounds", [[[40.0005, -40.001], [40.0012, -39.985]], [[39.9, -40.1], [40.1, -39.9]]])
def test_rows_in_view_are_those_within_its_bounds(visit, city, bounds):
    """By brute force over the columns: shown issues whose place is in the bounds, or in those of all, in order, and no other."""
    said = visit.page.evaluate(
        """([southWest, northEast]) => { const bounds = L.latLngBounds(southWest, northEast), { issues } = sewermap.city;
        for (let i = 0; i < issues.count; i += 3) look.issues[i] = 0;
        const inside = (place, row) => place && bounds.contains(place);
        const brute = (table, shown, place) => [...Array(table.count).keys()].filter((row) => shown[row] && inside(place(row)));
        const found = sewermap.city.inBounds(bounds, look);
        return [[...found], brute(issues, look.issues, sewermap.city.issuePlace)]; }""",
        bounds,
    )
    assert said[0] == said[1]
    assert 0 < len(said[0]) < len(city.issues)


def test_names_and_addresses_come_when_asked_for(visit, city):
    """names.js is not loaded with the page; asked for, it names every lateral, address and issue as the tables do."""
    assert not any("data/names.js" in url for url in visit.requests)
    visit.page.evaluate("() => { sewermap.city.names((names) => { window.names = names; }); }")
    visit.until("Boolean(window.names)")
    told = visit.page.evaluate(
        """() => { const { laterals, issues } = sewermap.city, rows = (count) => [...Array(count).keys()];
        const [of, issue] = [rows(laterals.count), rows(issues.count)];
        return [of.map(names.lateral), of.map(names.address), issue.map(names.issue)]; }"""
    )
    assert told == [city.laterals["lateral"].tolist(), city.laterals["address"].tolist(), city.issues["issue"].tolist()]


def test_the_state_of_a_day_is_that_of_the_last_event(visit, city):
    """By brute force over the events: what was known of each issue at the end of a day in the middle."""
    events = city_tables().issue_events
    day = int(np.median(days_since_epoch(events["day"])))
    visit.page.evaluate("() => { sewermap.city.times((times) => { window.times = times; }); }")
    visit.until("Boolean(window.times)")
    told = visit.page.evaluate(
        "(day) => Object.fromEntries(Object.entries(times.at(day)).map(([name, all]) => [name, [...all]]))", day
    )
    until = events[days_since_epoch(events["day"]) <= day].drop_duplicates("issue", keep="last").set_index("issue")
    last = until.reindex(city.issues["issue"])
    known = last["state"].notna().to_numpy()
    assert 0 < known.sum() < len(known)
    assert np.array_equal(told["known"], known)
    assert [city.states[state] for state in np.array(told["state"])[known]] == last["state"][known].tolist()
    assert np.array_equal(np.array(told["grade"])[known], last["grade"].fillna(0)[known])
    scoped = days_since_epoch(city.laterals["last_run_on"])
    assert np.array_equal(told["scoped"], np.where(scoped <= day, scoped, 0))


def test_a_line_is_told_as_latitude_and_longitude(visit, city):
    """sewermap.city.line gives every vertex of a lateral to 3 cm, also when its cell was not looked at before."""
    line = city.laterals.geometry.iloc[40]
    visit.page.evaluate("() => { sewermap.city.line(40, (points) => { window.points = points; }); }")
    visit.until("Boolean(window.points)")
    told = visit.page.evaluate("() => points.map((point) => [point.lat, point.lng])")
    there = pyproj.Transformer.from_crs(4326, METRES, always_xy=True).transform(*np.array(told).T[::-1])
    assert np.hypot(*(np.array(there).T - shapely.get_coordinates(line)).T).max() < 0.03


def test_javascript_unpacks_what_python_packs(visit):
    """Every type, as it is and as differences, with the ends of its range: the same numbers in the browser."""
    rng = np.random.default_rng(5)
    columns = {
        name: np.array(
            [np.iinfo(name).min, np.iinfo(name).max, 0, *rng.integers(np.iinfo(name).min, np.iinfo(name).max, 50)], dtype=name
        )
        for name in packing.TYPES
        if name != "float32"
    }
    columns["float32"] = rng.normal(size=20).astype(np.float32)
    for steps in (frozenset(), frozenset(columns) - {"float32"}):
        packed = json.loads(json.dumps(packing.packed(columns, steps)))
        told = visit.page.evaluate(
            """async (packed) => { const columns = Object.entries(await sewermap.unpack(packed));
            return Object.fromEntries(columns.map(([name, all]) => [name, [...all]])); }""",
            packed,
        )
        assert {name: np.array(all_, dtype=columns[name].dtype).tobytes() for name, all_ in told.items()} == {
            name: column.tobytes() for name, column in columns.items()
        }


def test_streets_bear_their_names(visit, city):
    """At zoom 17 a street's name is written on the map, as text; near houses their numbers are."""
    go(visit, degrees(city.laterals.geometry.iloc[5].centroid), 17)
    labels = visit.page.evaluate("() => [...document.querySelectorAll('.street-name')].map((label) => label.textContent)")
    assert labels == ["Alder Lane 0"]
    go(visit, degrees(city.laterals.geometry.iloc[0].centroid), 20)
    visit.until("document.querySelectorAll('.map-label.address').length > 0")
    numbers = visit.page.evaluate("() => [...document.querySelectorAll('.map-label.address')].map((label) => label.textContent)")
    assert "2" in numbers
