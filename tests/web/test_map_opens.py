import time

import geopandas as gpd
import numpy as np
import pytest
import shapely

from sewermap.web.site import build

LAYERS = ("laterals", "placed_observations", "parcels", "streets", "mains", "buildings")


def test_nothing_but_files_is_asked_for_and_nothing_complains(site, open_page):
    """The page opens from the disk: only its own files, none missing, no message in the console."""
    visit = open_page(site)
    assert len(visit.requests) > 10
    assert all(url.startswith(site.as_uri()) for url in visit.requests)
    assert (visit.failed, visit.messages) == ([], [])


def test_ground_laterals_and_signs_are_drawn(site, open_page):
    """Pixels, not promises: the ground shows several colours, laterals and signs cover part of the view."""
    visit = open_page(site)
    assert visit.drawn(".leaflet-signs-pane") > 2000
    assert visit.colours(".leaflet-tile-pane") > 8
    assert visit.page.locator(".leaflet-control-scale-line").count() == 2
    assert "Alder Lane" in visit.page.locator(".street-name").all_inner_texts()


def test_counts_say_what_is_shown_and_what_is_not(site, open_page):
    """Shown n of m, and what could not be placed is counted, reachable and listed with reason and source."""
    visit = open_page(site)
    assert visit.page.inner_text("#count") == "Shown 10 of 10 observations on the map."
    assert visit.page.inner_text("#rest") == "2 more could not be placed"
    assert visit.page.inner_text("#unplaced-title") == "Not on the map (2)"
    rows = visit.page.locator("#unplaced li").all_inner_texts()
    assert "past the end of the line by 4.2 m" in rows[0]
    assert "logs/runs-2025.csv, row 12" in rows[0]
    assert "the map has no line for this lateral" in rows[1]


def test_cautions_stand_on_the_page(site, open_page):
    """What may hurt someone is said, and to whose word the map defers."""
    page = open_page(site).page
    said = page.inner_text("footer")
    for words in (
        "not a utility locate",
        "one place in twenty lies outside its circle",
        "no legal survey",
        "Local code and licensed practice rule",
        "stop. No cutting, no jetting. Call the gas utility",
    ):
        assert words in " ".join(said.split())
    assert "Have utilities located before digging" in page.inner_text("header")
    footer = page.locator("footer").bounding_box()
    assert footer["y"] + footer["height"] <= 800, "the cautions must be seen without scrolling"


def test_a_map_in_feet_shows_the_same_town(site, town_tables, open_page, tmp_path):
    """A CRS in feet moves nothing: places agree to a step or two, circles stay true metres, as many pixels are drawn."""
    build(town_tables(feet=True), tmp_path)
    metres, feet = open_page(site), open_page(tmp_path)
    read = "sewermap.town.observations"
    for axis in ("lon", "lat"):
        ours, theirs = (np.array(visit.page.evaluate(f"{read}.{axis}"), float) for visit in (metres, feet))
        assert np.array_equal(np.isnan(ours), np.isnan(theirs))
        assert np.nanmax(np.abs(ours - theirs)) <= 2
    assert metres.page.evaluate(f"{read}.within_m") == feet.page.evaluate(f"{read}.within_m")
    assert feet.drawn(".leaflet-signs-pane") == pytest.approx(metres.drawn(".leaflet-signs-pane"), rel=0.02)


def test_an_empty_town_opens_and_says_so(town_tables, open_page, tmp_path):
    """Nothing loaded yet is no fault: the page opens without a complaint and says that nothing is there."""
    empty = gpd.GeoDataFrame({"geometry": []}, geometry="geometry", crs=26910)
    build(town_tables(**dict.fromkeys(LAYERS, empty)), tmp_path)
    visit = open_page(tmp_path)
    assert visit.page.inner_text("#count") == "Shown 0 of 0 observations on the map."
    assert "No observation is on the map" in visit.page.inner_text("#list")
    assert (visit.failed, visit.messages) == ([], [])


def test_a_town_of_two_thousand_laterals_opens_in_seconds(town_tables, open_page, tmp_path):
    """10,000 observations are built, opened and counted quickly; the list holds only a part of them at a time."""
    number = np.arange(10_000)
    lateral = number // 5
    west, south = (lateral % 50) * 18.0, (lateral // 50) * 45.0
    crs = town_tables().laterals.crs
    lines = [shapely.LineString([(x, y), (x, y + 12)]) for x, y in zip(west[::5], south[::5], strict=True)]
    kinds = np.array(["roots", "crack", "grease", "sag", "deposits"])[number % 5]
    seen = {"lateral": lateral.astype(str), "kind": kinds, "role": "defect", "grade": 1.0 + number % 5, "within_m": 1.0}
    tables = town_tables(
        laterals=gpd.GeoDataFrame({"lateral": lateral[::5].astype(str)}, geometry=lines, crs=crs),
        placed_observations=gpd.GeoDataFrame(seen, geometry=list(shapely.points(west, south + 2 * (number % 5))), crs=crs),
    )
    build(tables, tmp_path)
    start = time.monotonic()
    visit = open_page(tmp_path)
    assert time.monotonic() - start < 10  # 0.7 s on two quiet cores; room for a busy machine
    assert visit.page.inner_text("#count") == "Shown 10,000 of 10,000 observations on the map."
    assert visit.page.locator("#list li").count() == 100
    assert visit.messages == []
