"""The town map for everybody: keyboard, search, phone, paper, dark, and text that wants to be markup."""

import re
import zlib

import geopandas as gpd
import pandas as pd
import pytest
from playwright.sync_api import expect

from sewermap.web.build_site import build_site
from sewermap.web.site_index import site_index
from sewermap.web.site_tables import site_tables
from tests.web.invented_city import AS_OF, METRES, city_frames
from tests.web.town_words import ROWS, shown

FOCUS = "() => document.activeElement.id || document.activeElement.dataset.issue || document.activeElement.className"
HOSTILE = [
    '"><img src=x onerror=alert(1)>',
    "</script><script>alert(2)</script>",
    "\u2028' + alert(3) + '",
    "\u202eevil\u202c",
    "&lt;b&gt;",
    "x" * 10_000,
]


def inflated(stream):
    """A PDF's stream as it was before it was squeezed; empty where it was squeezed in another way."""
    try:
        return zlib.decompress(stream)
    except zlib.error:
        return b""


def test_search_by_address_lateral_and_street(open_town, sample_town):
    """Names are loaded on first use; Enter goes to the house, to the lateral, to the street."""
    visit = open_town()
    lateral = sample_town.index.laterals.iloc[17]
    for typed in (lateral["address"].lower(), lateral["lateral"]):
        visit.page.fill("#find", typed)
        expect(visit.page.locator("#find-list [role=option]").first).to_be_visible()
        visit.page.press("#find", "Enter")
        visit.at_rest()
        visit.until("document.querySelector('.card') !== null")
        assert lateral["address"] in visit.page.inner_text(".card")
        assert visit.page.evaluate("sewermap.url.get('lateral')") == lateral["lateral"]
        visit.page.keyboard.press("Escape")
        assert visit.page.evaluate(FOCUS) == "find"
    visit.page.fill("#find", "tallow")
    expect(visit.page.locator("#find-list [role=option]").first).to_contain_text("Tallowmere Row")
    visit.page.press("#find", "Enter")
    visit.at_rest()
    streets = set(sample_town.index.issues["street"].iloc[visit.page.evaluate(ROWS)])
    assert "Tallowmere Row" in streets


def test_the_search_is_a_combobox(open_town):
    """Arrows choose (aria-activedescendant names the choice), Escape closes, and what is not found is told."""
    visit = open_town()
    visit.page.fill("#find", "row")
    expect(visit.page.locator("#find-list [role=option]").nth(1)).to_be_visible()
    assert visit.page.get_attribute("#find", "aria-expanded") == "true"
    for step in ("ArrowDown", "ArrowDown", "ArrowUp"):
        visit.page.press("#find", step)
    active = visit.page.get_attribute("#find", "aria-activedescendant")
    assert visit.page.get_attribute(f"#{active}", "aria-selected") == "true"
    assert active == "find-0"
    visit.page.press("#find", "Escape")
    assert visit.page.get_attribute("#find", "aria-expanded") == "false"
    visit.page.fill("#find", "no such house")
    expect(visit.page.locator("#find-status")).to_have_text("Nothing is called that.")


def test_a_person_without_a_mouse_finds_and_reads_an_issue(open_town):
    """Tab alone reaches search, switch, filters, slider, map and list; Enter opens the card, Escape leads back to the row."""
    visit = open_town()
    met = []
    for _ in range(80):
        visit.page.keyboard.press("Tab")
        met.append(visit.page.evaluate(FOCUS))
        if met[-1].isdigit():
            break
    for control in ("find", "filter-street", "filter-due", "time", "map_town", "order", "whole-town"):
        assert control in met or any(control in name for name in met), control
    row = met[-1]
    visit.page.keyboard.press("Enter")
    visit.at_rest()
    visit.until("document.querySelector('.card') !== null")
    assert visit.page.evaluate("document.activeElement.className") == "card"
    visit.page.keyboard.press("Escape")
    visit.at_rest()
    assert visit.page.evaluate(FOCUS) == row
    visit.page.focus("#map_town")
    zoom = visit.page.evaluate("map_town.getZoom()")
    visit.page.keyboard.press("+")
    visit.page.wait_for_timeout(500)
    assert visit.page.evaluate("map_town.getZoom()") == zoom + 1


def test_the_focus_can_be_seen(open_town):
    """Every control that Tab reaches has an outline of 2 pixels or more (WCAG 2.2, 2.4.13)."""
    visit = open_town()
    for _ in range(25):
        visit.page.keyboard.press("Tab")
        width = visit.page.evaluate("() => parseFloat(getComputedStyle(document.activeElement).outlineWidth)")
        assert width >= 2, visit.page.evaluate(FOCUS)


def test_on_a_phone_the_map_comes_first(open_town):
    """360 pixels wide: nothing scrolls sideways, the map stands above folded filters and the list, targets are 40 pixels high."""
    visit = open_town(width=360, height=740, has_touch=True, is_mobile=True)
    assert visit.page.evaluate("document.documentElement.scrollWidth") <= 360
    tops = [visit.page.locator(name).bounding_box()["y"] for name in (".map", ".panel", ".lists")]
    assert tops == sorted(tops)
    assert tops[0] < 400
    assert not visit.page.is_visible("#filter-kind")
    small = """() => [...document.querySelectorAll('main button, main select, main input, main summary')]
        .filter((control) => control.offsetParent && !/radio|checkbox/.test(control.type))
        .filter((control) => control.getBoundingClientRect().height < 36)
        .map((control) => control.id || control.className)"""
    assert visit.page.evaluate(small) == []
    visit.page.tap("#list [data-issue]")
    visit.at_rest()
    card = visit.page.locator(".leaflet-popup").bounding_box()
    assert card["x"] >= 0
    assert card["x"] + card["width"] <= 360
    assert -5 <= card["y"] < 740


def test_on_paper_the_legend_stays_and_the_map_fits(open_town):
    """In print the legend of the switch and of signs is there, controls are not, and the map shows all that the screen did."""
    visit = open_town("#colour=due")
    view = visit.page.evaluate(
        "() => { const b = map_town.getBounds(); return [b.getSouth(), b.getWest(), b.getNorth(), b.getEast()]; }"
    )
    visit.page.emulate_media(media="print")
    visit.until("document.querySelector('.map.printing') !== null && sewermap.tiles.quiet()")
    south, west, north, east = visit.page.evaluate(
        "() => { const b = map_town.getBounds(); return [b.getSouth(), b.getWest(), b.getNorth(), b.getEast()]; }"
    )
    pixel = 2e-5  # degrees; the map stands on whole pixels
    assert south <= view[0] + pixel
    assert west <= view[1] + pixel
    assert north >= view[2] - pixel
    assert east >= view[3] - pixel
    assert visit.drawn(".leaflet-overlay-pane") > 1_000
    for name in ("#legend-laterals", "#legend-signs", ".bottom"):
        assert visit.page.is_visible(name)
    for name in ("#find", "#filter-kind", "#time", ".top nav"):
        assert not visit.page.is_visible(name)
    visit.page.emulate_media(media="screen")
    visit.until("document.querySelector('.map.printing') === null")
    assert visit.page.evaluate("() => map_town.getBounds().getSouth()") == pytest.approx(view[0])


def test_a_printed_file_holds_the_map(open_town):
    """Chromium's own PDF draws parcels, buildings, mains and signs in their colours (ISO 32000: "r g b RG"), no tile over them.

    The window is so tall that the paper needs another zoom: its tiles are made while the page goes to print.
    """
    visit = open_town(height=1700)
    visit.page.evaluate(
        """() => window.addEventListener('beforeprint', () => {
            window.tiles = document.querySelectorAll('.leaflet-ground-pane canvas').length; })"""
    )
    streams = re.findall(rb"stream\r?\n(.*?)endstream", visit.page.pdf(), re.DOTALL)
    drawn = b"".join(map(inflated, streams))
    for colour in ("#c3bfb3", "#dcdad5", "#6d7f8c", "#35105e"):
        levels = [f"{int(colour[i : i + 2], 16) / 255:.4f}".lstrip("0").rstrip("0") for i in (1, 3, 5)]
        assert f"{' '.join(levels)} RG".encode() in drawn, colour
    # Whole tiles are filled by the ground alone, once each: a white one over it would hide it.
    assert drawn.count(b"512 512 re") == visit.page.evaluate("window.tiles") > 0
    visit.at_rest()
    assert visit.page.evaluate("document.querySelector('.map.printing')") is None


def test_light_and_dark(open_town):
    """The panels follow the system's choice; the map keeps its pale ground, on which the signs are made to be seen."""
    grounds = {}
    for scheme in ("light", "dark"):
        visit = open_town(color_scheme=scheme)
        grounds[scheme] = visit.page.evaluate(
            "() => ['.panel', '.map .folium-map'].map((name) => getComputedStyle(document.querySelector(name)).backgroundColor)"
        )
    assert grounds["light"][0] != grounds["dark"][0]
    assert grounds["light"][1] == grounds["dark"][1]


@pytest.fixture(scope="module")
def hostile_town(tmp_path_factory):
    """The invented city whose every name wants to be markup."""
    frames = city_frames()
    evil = pd.Series(HOSTILE)
    laterals, issues = frames["laterals"].iloc[: len(evil)].copy(), frames["issues"].iloc[: len(evil)].copy()
    laterals["lateral"] = [f"{text}·{i}" for i, text in enumerate(HOSTILE)]
    laterals["address"], laterals["street"] = evil.to_numpy(), evil.to_numpy()
    issues["lateral"], issues["issue"] = laterals["lateral"].to_numpy(), [f"{text}/1" for text in HOSTILE]
    issues["kind"] = evil.to_numpy()
    frames = {name: frames[name] for name in ("parcels", "buildings", "mains")} | {"laterals": laterals, "issues": issues}
    frames["streets"] = gpd.GeoDataFrame({"street": HOSTILE[:5]}, geometry=city_frames()["streets"].geometry, crs=METRES)
    folder = tmp_path_factory.mktemp("hostile")
    tables = site_tables(frames, crs=METRES, title=HOSTILE[0], as_of=AS_OF)
    build_site(tables, folder)
    return folder, site_index(tables)


def test_text_never_becomes_markup(open_town, hostile_town):
    """Names in list, filters, search, card and title show as they are; no element, dialog or message comes of them."""
    folder, index = hostile_town
    visit = open_town("#state=all", folder=folder)
    visit.page.check("#whole-town")
    dialogs = []
    visit.page.on("dialog", lambda dialog: (dialogs.append(dialog.message), dialog.dismiss()))
    assert shown(visit)[0] == len(HOSTILE)
    assert visit.page.title().endswith(HOSTILE[0])
    options = visit.page.evaluate("() => [...document.querySelectorAll('#filter-kind option')].map((option) => option.value)")
    assert {text.strip() for text in HOSTILE} <= set(options)
    for row in visit.page.evaluate(ROWS):
        visit.page.click(f'[data-issue="{row}"]')
        visit.at_rest()
        visit.until("document.querySelector('.card') !== null")
        assert index.issues["issue"].iloc[row].strip() in visit.page.evaluate("document.querySelector('.card').textContent")
    visit.page.fill("#find", "<img")
    expect(visit.page.locator("#find-list [role=option]").first).to_be_visible()
    assert HOSTILE[0] in visit.page.evaluate("document.querySelector('#find-list').textContent")
    assert dialogs == []
    assert visit.page.evaluate("document.querySelectorAll('main img:not(.sign), main script').length") == 0
    assert visit.page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")


def test_nothing_is_loaded_from_a_background_before_somebody_asks(open_page, tmp_path):
    """With a background the policy names its host; no request goes there until the switch is on."""
    frames = city_frames()
    tiles = "https://tiles.example.org/{z}/{x}/{y}.png"
    build_site(site_tables(frames, crs=METRES, title="Fernhollow", as_of=AS_OF, background=tiles), tmp_path)
    visit = open_page(tmp_path)
    visit.at_rest()
    assert not [url for url in visit.requests if not url.startswith("file://")]
    assert "tiles.example.org" in visit.page.inner_text("#background-fold")
    visit.page.check("#background")
    visit.page.wait_for_timeout(300)
    asked = [url for url in visit.requests if not url.startswith("file://")]
    assert asked
    assert all(url.startswith("https://tiles.example.org/") for url in asked)
    visit.page.uncheck("#background")
    assert visit.drawn(".leaflet-ground-pane") > 0


def test_what_has_no_place_is_told(open_town, tmp_path):
    """Unplaced observations lead to the page of data quality; issues without a place stand in the list and say so."""
    frames = city_frames()
    frames["placed_observations"] = pd.DataFrame({"observation": ["O-1", "O-2"], "geometry": [None, None]})
    build_site(site_tables(frames, crs=METRES, title="Fernhollow", as_of=AS_OF), tmp_path)
    visit = open_town("#state=all", folder=tmp_path)
    link = visit.page.locator(".unplaced a")
    assert link.inner_text() == "2 observations could not be placed"
    assert link.get_attribute("href") == "quality.html"
    assert "3 have no place on the map" in visit.page.inner_text("#left-out-note")
    visit.page.check("#whole-town")
    row = visit.page.locator("#list [data-issue]", has_text="no place on the map").first
    row.click()
    visit.at_rest()
    assert visit.page.locator('#list [aria-current="true"]').count() == 1
    assert visit.page.evaluate("document.querySelector('.card')") is None
