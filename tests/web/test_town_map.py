"""The town map as a person meets it, in Chromium from the disk: the map, its list, its cards, its links."""

import pandas as pd
import pyproj
import pytest

from sewermap.answers.defects import Filters, defects
from tests.web.town_words import ROWS, listed, shown, whole_town

PICTURE = """() => [...document.querySelectorAll(".leaflet-overlay-pane canvas")].map((canvas) => {
    const data = canvas.getContext("2d").getImageData(0, 0, canvas.width, canvas.height).data;
    return data.reduce((hash, value) => (Math.imul(hash, 31) + value) | 0, 7); }).join()"""
VIEW = """() => { const box = map_town.getBounds(); return [box.getSouth(), box.getWest(), box.getNorth(), box.getEast()]; }"""


def degrees(town):
    """Longitude and latitude of each issue, by pyproj from the map's CRS."""
    change = pyproj.Transformer.from_crs(town.tables.crs, 4326, always_xy=True)
    return change.transform(town.index.issues["x"].to_numpy(), town.index.issues["y"].to_numpy())


def on_screen(visit, lon, lat):
    """Where a place is in the window, by pyproj's EPSG:3857: 256 × 2^zoom pixels around the world."""
    x, y = pyproj.Transformer.from_crs(4326, 3857, always_xy=True).transform(lon, lat)
    zoom, west, north, left, top = visit.page.evaluate(
        """() => { const box = map_town.getContainer().getBoundingClientRect(), corner = map_town.getBounds().getNorthWest();
        return [map_town.getZoom(), corner.lng, corner.lat, box.left, box.top]; }"""
    )
    x0, y0 = pyproj.Transformer.from_crs(4326, 3857, always_xy=True).transform(west, north)
    per_metre = 256 * 2**zoom / 40_075_016.685578
    return left + (x - x0) * per_metre, top + (y0 - y) * per_metre


def test_the_map_opens_drawn_and_silent(open_town):
    """Ground, laterals and issues have pixels, streets their names; nothing but files of the folder was asked for."""
    visit = open_town()
    assert visit.drawn(".leaflet-ground-pane") > 100_000
    assert visit.drawn(".leaflet-overlay-pane") > 2_000
    labels = visit.page.evaluate("() => [...document.querySelectorAll('.street-name')].map((label) => label.textContent)")
    assert "Tallowmere Row" in labels
    assert all(url.startswith("file://") for url in visit.requests)


@pytest.mark.parametrize(
    ("colour", "words"),
    [("grade", "grade 5, the worst"), ("scoped", "never scoped"), ("due", "check due now"), ("repeat", "3 or more came back")],
)
def test_the_switch_draws_anew_with_its_legend(open_town, colour, words):
    """One switch, one legend: each choice has its own strokes in both, and the address bar says which."""
    visit = open_town("#colour=scoped" if colour == "grade" else "")
    before = visit.page.evaluate(PICTURE)
    visit.page.check(f'input[name="colour"][value="{colour}"]')
    visit.at_rest()
    assert visit.page.evaluate(PICTURE) != before
    assert words in visit.page.inner_text("#legend-laterals")
    assert visit.page.evaluate("sewermap.url.get('colour')") == (None if colour == "grade" else colour)


def test_the_legend_shows_a_shape_for_each_grade_and_every_mark(open_town):
    """Five grades, none, cross-bore, the 95 % band, the property line with its side, main and parcel: each with a picture."""
    legend = """() => [...document.querySelectorAll('#legend-signs li, #legend-marks li')]
        .map((item) => [item.innerText.trim(), Boolean(item.querySelector('canvas'))])"""
    told = open_town().page.evaluate(legend)
    assert all(picture for _, picture in told)
    text = " ".join(words for words, _ in told)
    for words in (
        "grade 5",
        "grade 4",
        "grade 3",
        "grade 2",
        "grade 1",
        "no grade",
        "cross-bore",
        "95 %",
        "private side",
        "public main",
    ):
        assert words in text


def test_the_list_holds_what_is_in_view(open_town, sample_town):
    """Zoomed in, the list is exactly the open issues whose place lies in the window; the switch gives the whole town."""
    visit = open_town()
    lon, lat = degrees(sample_town)
    visit.page.evaluate("([lat, lon]) => { map_town.setView([lat, lon], 19, { animate: false }); }", [lat[40], lon[40]])
    visit.at_rest()
    south, west, north, east = visit.page.evaluate(VIEW)
    inside = (lat > south) & (lat < north) & (lon > west) & (lon < east)
    wanted = sample_town.index.issues[inside & (sample_town.index.issues["state"] != "mended").to_numpy()]
    assert 0 < len(wanted) < 60
    assert sample_town.index.issues["issue"].iloc[listed(visit)].tolist() == wanted["issue"].tolist()
    assert visit.page.inner_text("#list-count").startswith(f"{len(wanted)} shown in view")
    whole_town(visit)
    assert len(listed(visit)) == shown(visit)[0]


@pytest.mark.parametrize(
    ("order", "column", "rising"),
    [("grade", "grade", False), ("last", "last_seen", False), ("measure", "measure_m", True), ("street", "street", True)],
)
def test_the_list_sorts(open_town, sample_town, order, column, rising):
    """Worst grade first (none last), latest first, nearest to the tie-in first, by street."""
    visit = open_town()
    whole_town(visit)
    visit.page.select_option("#order", order)
    rows = listed(visit)
    values = sample_town.index.issues[column].iloc[rows].fillna(-1 if column == "grade" else pd.NA)
    assert len(rows) == shown(visit)[0]
    assert values.is_monotonic_increasing if rising else values.is_monotonic_decreasing


def test_a_row_leads_to_its_place_on_the_map(open_town, sample_town):
    """A chosen row: the map moves there, the card opens with what the tables say, the row is marked, the link names it."""
    visit = open_town("#kind=cross-bore")
    row = visit.page.evaluate(ROWS)[0]
    issue = sample_town.index.issues.iloc[row]
    visit.page.click(f'[data-issue="{row}"]')
    visit.at_rest()
    card = visit.page.inner_text(".card")
    assert "STOP" in card
    for fact in (
        issue["address"],
        issue["issue"],
        f"{issue['measure_m']:.2f} m",
        f"{issue['measure_m'] / 0.3048:.1f} ft",
        f"± {issue['sigma_m']:.2f} m",
        "grade 5",
    ):
        assert fact in card.replace("\u00a0", " ")
    assert visit.page.get_attribute(f'[data-issue="{row}"]', "aria-current") == "true"
    assert visit.page.evaluate("sewermap.url.get('issue')") == issue["issue"]
    lon, lat = degrees(sample_town)
    south, west, north, east = visit.page.evaluate(VIEW)
    assert south < lat[row] < north
    assert west < lon[row] < east
    assert visit.page.evaluate("map_town.getZoom()") >= 18


def test_a_sign_on_the_map_leads_to_its_row(open_town, sample_town):
    """A click where EPSG:3857 puts an issue opens its card, marks its row, wherever in the list, and scrolls to it."""
    visit = open_town("#state=all")
    visit.page.select_option("#order", "measure")
    lon, lat = degrees(sample_town)
    row = int(sample_town.index.issues["measure_m"].argmax())
    visit.page.mouse.click(*on_screen(visit, lon[row], lat[row]))
    visit.at_rest()
    chosen = visit.page.locator('#list [aria-current="true"]')
    visit.page.wait_for_timeout(100)
    assert visit.page.evaluate("document.querySelector('.card').dataset.card") == "issue"
    marked = int(chosen.get_attribute("data-issue"))
    assert sample_town.index.issues["lateral"].iloc[marked] == sample_town.index.issues["lateral"].iloc[row]
    pane, box = (visit.page.locator(name).bounding_box() for name in (".lists", '#list [aria-current="true"]'))
    assert pane["y"] - 1 <= box["y"]
    assert box["y"] + box["height"] <= pane["y"] + pane["height"] + 1


def test_the_card_of_a_lateral(open_town, sample_town):
    """By a link: address, grade, last scoped, the check with its day, and links to its pages."""
    due = sample_town.tables.due
    name = due[due["state"] == "due"]["lateral"].iloc[0]
    lateral = sample_town.index.laterals.set_index("lateral").loc[name]
    visit = open_town(f"#lateral={name}")
    visit.until("document.querySelector('.card') !== null")
    card = visit.page.inner_text(".card")
    assert lateral["address"] in card
    assert "due now, by" in card
    by = pd.Timestamp(due[(due["lateral"] == name) & (due["state"] == "due")]["check_by"].min())
    assert f"{by.day} {by:%b} {by.year}" in card.replace("Sept", "Sep")
    links = visit.page.evaluate(
        "() => [...document.querySelectorAll('.card a[href*=html]')].map((link) => link.getAttribute('href'))"
    )
    assert links == [f"property.html#lateral={name}", f"street.html#street={lateral['street'].replace(' ', '%20')}"]


def test_a_link_gives_the_same_view_again(open_town):
    """Filters, colour, day, place, zoom and the chosen issue: the address opened anew shows the same picture, list and card."""
    visit = open_town()
    visit.page.select_option("#filter-side", "private")
    visit.page.select_option("#filter-grade", "3")
    visit.page.check('input[name="colour"][value="due"]')
    visit.at_rest()
    visit.page.click("#list [data-issue]")
    visit.at_rest()
    visit.page.mouse.move(5, 5)
    again = open_town(visit.page.evaluate("location.hash"))
    again.until("document.querySelector('.card') !== null")
    for told in (
        "() => location.hash",
        VIEW,
        PICTURE,
        ROWS,
        "() => document.getElementById('shown').textContent",
        "() => document.querySelector('.card').innerText",
    ):
        assert again.page.evaluate(told) == visit.page.evaluate(told)
    assert again.page.input_value("#filter-side") == "private"
    assert again.page.is_checked('input[name="colour"][value="due"]')


def test_the_back_button_goes_back(open_town, sample_town):
    """Step by step: the card, then the filter; each time counts, controls and view are as they were."""
    visit = open_town()
    all_shown, view = shown(visit), visit.page.evaluate(VIEW)
    visit.page.select_option("#filter-kind", "roots")
    visit.at_rest()
    roots = shown(visit)
    assert roots[0] == len(defects(sample_town.book.store, Filters(kind="roots"))) < all_shown[0]
    visit.page.click("#list [data-issue]")
    visit.at_rest()
    assert visit.page.evaluate(VIEW) != view
    visit.page.go_back()
    visit.at_rest()
    assert visit.page.evaluate("document.querySelector('.card')") is None
    assert visit.page.evaluate(VIEW) == pytest.approx(view)
    assert shown(visit) == roots
    visit.page.go_back()
    visit.at_rest()
    assert shown(visit) == all_shown
    assert visit.page.input_value("#filter-kind") == ""
    visit.page.go_forward()
    visit.at_rest()
    assert shown(visit) == roots


def test_a_click_beside_everything_closes_the_card(open_town):
    """And the address no longer names it."""
    visit = open_town()
    visit.page.click("#list [data-issue]")
    visit.at_rest()
    box = visit.page.locator("#map_town").bounding_box()
    visit.page.mouse.click(box["x"] + 8, box["y"] + box["height"] / 2)
    visit.at_rest()
    assert visit.page.evaluate("document.querySelector('.card')") is None
    assert visit.page.evaluate("sewermap.url.get('issue')") is None
    assert visit.page.evaluate("document.querySelector('#list [aria-current]')") is None


def test_the_online_background_is_not_offered_without_one(open_town):
    """A site built without a background names no host in its policy and shows no switch."""
    visit = open_town()
    assert not visit.page.is_visible("#background")
    policy = visit.page.get_attribute('meta[http-equiv="Content-Security-Policy"]', "content")
    assert "http" not in policy


def test_a_lateral_with_a_cross_bore_says_stop_whatever_is_filtered(open_town, sample_town):
    """The card of the lateral, and of its other issues, says STOP, though the filter hides the cross-bore itself."""
    issues = sample_town.index.issues
    bored = issues[issues["kind"] == "cross-bore"].iloc[0]
    visit = open_town(f"#kind=grease&lateral={bored['lateral']}")
    visit.until("document.querySelector('.card') !== null")
    assert "STOP" in visit.page.inner_text(".card")
    assert "0 issues shown here" in visit.page.inner_text(".card")
