import re

import pandas as pd

from sewermap.web.site import build

HOSTILE = "<img src=x onerror='window.hit=1'><b>bold</b>"
TEXTS = ("lateral", "street", "address", "run", "reading", "unit", "kind", "side", "reason", "remark", "source_file")


def opened(visit, name):
    """Open the first row of the list that holds a name and read its popup."""
    visit.page.locator("#list button", has_text=re.compile(name)).first.click()
    return " ".join(visit.page.inner_text(".popup").split())


def click_sign(visit, row):
    """Click on the map where an observation lies."""
    place = visit.page.evaluate(
        """(row) => { const seen = sewermap.town.observations, box = map_town.getContainer().getBoundingClientRect();
            const at = map_town.latLngToContainerPoint([seen.lat[row] / 1e7, seen.lon[row] / 1e7]);
            return [box.x + at.x, box.y + at.y]; }""",
        row,
    )
    visit.page.mouse.click(*place)


def test_a_popup_says_all_there_is(site, open_page):
    """Kind, reading as written with its run and day, measure with sigma in both units, circle, side, grade, remark, source."""
    said = opened(open_page(site), "Roots, grade 4")
    for words in (
        "Roots",
        "2 Alder Lane · lateral L-0",
        "44' 6\" (run counts in ft)",
        "R-0, 2025-03-04",
        "9.8 ft ± 1.3 ft (3.00 m ± 0.40 m)",  # 3 / 0.3048 = 9.84, 0.4 / 0.3048 = 1.31
        "within 2.6 ft (0.80 m) of the sign; map accuracy assumed",
        "public side, 97 % sure",
        "grade 4 of 5",
        "seen well",
        "logs/runs-2025.csv, row 2",
        "Not a utility locate",
    ):
        assert words in said


def test_map_accuracy_is_called_assumed_only_where_it_was(site, open_page):
    """A lateral whose accuracy was given says nothing of an assumption."""
    assert "assumed" not in opened(open_page(site), "Cross-bore")


def test_metres_come_first_where_the_town_counts_in_metres(town_tables, open_page, tmp_path):
    """The town's own unit leads, the other stands in brackets."""
    build(town_tables(units="m"), tmp_path)
    assert "3.00 m ± 0.40 m (9.8 ft ± 1.3 ft)" in opened(open_page(tmp_path), "Roots, grade 4")


def test_a_cross_bore_says_stop(site, open_page):
    """In the popup and already in the list: no cutting, no jetting, call the gas utility."""
    visit = open_page(site)
    assert "Stop. No cutting, no jetting. Call the gas utility." in opened(visit, "Cross-bore")
    assert (
        "Stop: no cutting, no jetting, call the gas utility" in visit.page.locator("#list li", has_text="Cross-bore").inner_text()
    )


def test_a_click_on_a_sign_opens_it_and_marks_its_row(site, open_page):
    """Map to list: the sign's row is marked, and only that."""
    visit = open_page(site)
    click_sign(visit, 0)
    assert "Roots" in visit.page.inner_text(".popup h2")
    marked = visit.page.locator("#list [aria-current]")
    assert marked.count() == 1
    assert "Roots, grade 4" in marked.inner_text()


def test_a_click_on_a_bare_lateral_tells_of_it(site, open_page):
    """A lateral without a placed observation says its name, length, pipe and how often it was seen."""
    visit = open_page(site)
    place = visit.page.evaluate(
        """() => { const line = sewermap.town.laterals.line, box = map_town.getContainer().getBoundingClientRect();
            const sum = (steps, n) => steps.slice(0, n).reduce((a, b) => a + b, 0) / 1e7;
            const middle = (steps) => (sum(steps, 11) + sum(steps, 12)) / 2;
            const at = map_town.latLngToContainerPoint([middle(line.lat), middle(line.lon)]);
            return [box.x + at.x, box.y + at.y]; }"""
    )
    visit.page.mouse.click(*place)
    said = " ".join(visit.page.inner_text(".popup").split())
    for words in ("Lateral L-5", "39.4 ft (12.00 m)", "clay, 4 in", "2 observations", "assumed"):
        assert words in said


def test_several_at_one_place_can_all_be_reached(town_tables, open_page, tmp_path):
    """Two observations on the same spot: the popup says 1 of 2 and leads to the other."""
    table = (
        town_tables().placed_observations.iloc[[0, 0]].assign(kind=["roots", "grease"], run=["R-1", "R-2"]).reset_index(drop=True)
    )
    build(town_tables(placed_observations=table), tmp_path)
    visit = open_page(tmp_path)
    assert "1 of 2 here" in opened(visit, "Roots")
    visit.page.get_by_role("button", name="Next here").click()
    assert visit.page.inner_text(".popup h2") == "Grease"
    assert "2 of 2 here" in visit.page.inner_text(".popup")


def test_text_from_the_data_never_becomes_markup(town_tables, open_page, tmp_path):
    """Markup in every text field of every layer is shown as text; no image, no bold, no script."""
    tables = town_tables()
    seen = tables.placed_observations.copy()
    for name in TEXTS:
        seen[name] = pd.Series([HOSTILE] * len(seen))
    laterals = tables.laterals.assign(**dict.fromkeys(("address", "street", "material", "diameter"), HOSTILE))
    laterals["lateral"] = pd.Series([HOSTILE] * len(laterals))
    streets = tables.streets.assign(street=HOSTILE)
    build(town_tables(placed_observations=seen, laterals=laterals, streets=streets, title=HOSTILE), tmp_path)
    visit = open_page(tmp_path)
    said = opened(visit, "img")
    assert said.count(HOSTILE) >= 5
    assert HOSTILE in visit.page.inner_text("#kinds")
    assert visit.page.inner_text("h1") == HOSTILE
    visit.page.locator("#unplaced button").first.click()
    assert HOSTILE in visit.page.inner_text(".popup h2")
    assert visit.page.locator("img, b").count() == 0
    assert visit.page.evaluate("window.hit") is None
    assert visit.messages == []


def test_markup_that_got_in_could_not_run(site, open_page):
    """The second fence: a handler put into the page by force is stopped by the page's policy."""
    visit = open_page(site)
    visit.page.evaluate("document.getElementById('list').innerHTML = \"<img src='x' onerror='window.hit=1'>\"")
    visit.page.wait_for_timeout(300)
    assert visit.page.evaluate("window.hit") is None
    assert any("Content Security Policy" in message for message in visit.messages)
