"""The table that all list pages share: hostile text, many rows, pages of rows by keyboard."""

import time
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from sewermap.web.build_site import build_site
from tests.web.invented_city import city_tables

LONG = "x" * 10_000
HOSTILE = "<script>window.ran = 1</script><img src=x onerror='window.ran = 1'>\"'</script>\u2028\u202eRTL\u2067 & =1+1"
ROWS = 100_000
PHONE = {"width": 360, "height": 740, "has_touch": True, "is_mobile": True}


def hostile_town():
    """The invented city with hostile text in every field of text that a list page shows, in every list."""
    tables = city_tables()
    laterals = tables.laterals.head(8)
    names = laterals["lateral"].astype("str") + HOSTILE
    known = dict(zip(laterals["lateral"], names, strict=True))
    bad = pd.Series([HOSTILE] * 7 + [HOSTILE + LONG], dtype="str")
    house = {"lateral": names.to_numpy(), "street": bad, "address": bad}
    issues = tables.issues[tables.issues["lateral"].isin(laterals["lateral"])]
    issues = issues.assign(
        lateral=issues["lateral"].map(known), issue=issues["issue"] + HOSTILE, kind=HOSTILE, street=HOSTILE, address=HOSTILE,
        is_repeat=True, after_work_kind=HOSTILE, times_seen=2.0,
    )  # fmt: skip
    seen = tables.placed_observations.reindex(range(8)).assign(
        **house, kind=bad, reading=bad, unit=bad, run=bad, reason=bad, remark=bad, source_file=bad, source_row=2.0
    )
    due = tables.due.reindex(range(8)).assign(
        **house, warranty=bad, state="due", left_to_look=bad, answerable=bad, open_issues=1.0, days_left=3.0,
        check_by=pd.Timestamp("2026-02-03"), check_from=pd.Timestamp("2026-01-03"),
    )  # fmt: skip
    rejected = tables.rejects.reindex(range(8)).assign(section=bad, path=bad, row=3.0, field=bad, value=bad, reason=bad)
    runs = tables.run_coverages.head(8).assign(run=bad, lateral=names.to_numpy()[: len(tables.run_coverages.head(8))], notes=bad)
    events = tables.issue_events
    events = events.assign(issue=events["issue"] + HOSTILE)
    laterals = laterals.assign(**house, property_line_note=bad, accuracy_assumed=True)
    return replace(
        tables, title=HOSTILE, laterals=laterals, issues=issues, issue_events=events, placed_observations=seen, due=due,
        rejects=rejected, run_coverages=runs,
    )  # fmt: skip


@pytest.fixture(scope="module")
def hostile_site(tmp_path_factory):
    """The hostile city's site."""
    folder = tmp_path_factory.mktemp("hostile")
    build_site(hostile_town(), folder)
    return folder


@pytest.fixture(scope="module")
def crowded_site(tmp_path_factory):
    """A site with 100,000 checks of warranties."""
    number = np.arange(ROWS)
    names = pd.Series(number).astype("str")
    due = pd.DataFrame(
        {
            "warranty": "G-" + names,
            "lateral": "L-" + names,
            "street": "Alder Lane " + pd.Series(number // 500).astype("str"),
            "address": pd.Series(number % 500 + 1).astype("str") + " Alder Lane " + pd.Series(number // 500).astype("str"),
            "state": np.array(["due", "not yet", "checked", "lapsed"], dtype=object)[number % 4],
            "check_from": np.datetime64("2026-01-01"),
            "check_by": np.datetime64("2026-02-01") + (number * 7919) % 1000,
            "days_left": ((number * 7919) % 1000).astype(float),
            "open_issues": 1.0,
            "answerable": "Fennimole",
        }
    )
    folder = tmp_path_factory.mktemp("crowded")
    build_site(replace(city_tables(), due=city_tables().due.reindex(range(ROWS)).assign(**due)), folder)
    return folder


@pytest.mark.parametrize("size", [{}, PHONE], ids=["desk", "phone"])
@pytest.mark.parametrize("name", ["due", "repeats", "changes", "quality"])
def test_hostile_text_shows_as_text(hostile_site, open_page, name, size):
    """Nothing of the data runs or becomes an element, each value is isolated from its row, and nothing grows sideways."""
    visit = open_page(hostile_site, name=f"{name}.html", link="#since=2000-01-01", **size)
    visit.until("document.querySelector('table.rows tbody tr') !== null")
    page = visit.page
    assert page.evaluate("window.ran") is None
    assert page.locator("main img, main script").count() == 0
    assert page.locator("main bdi").filter(has_text="<script>window.ran = 1</script>").count() > 0
    loose = """[...document.querySelectorAll("table.rows td")].filter((cell) => [...cell.childNodes].some(
        (node) => node.nodeType === Node.TEXT_NODE && /[\\u202e\\u2067<]/.test(node.textContent))).length"""
    assert page.evaluate(loose) == 0
    assert page.evaluate("getComputedStyle(document.querySelector('table.rows bdi')).unicodeBidi") == "isolate"
    assert page.evaluate("document.documentElement.scrollWidth") <= (size.get("width") or 1280)
    assert (visit.failed, visit.messages) == ([], [])


def test_a_long_text_is_folded_and_whole(hostile_site, open_page):
    """Ten thousand letters do not push the other rows away; unfolded, all of them are there."""
    visit = open_page(hostile_site, name="due.html")
    visit.until("document.querySelector('table.rows tbody tr') !== null")
    folded = visit.page.locator("table.rows tbody tr").last.locator("details.long").first
    assert visit.page.locator("table.rows tbody tr").last.bounding_box()["height"] < 700
    folded.locator("summary").focus()
    visit.page.keyboard.press("Enter")
    assert LONG in folded.locator("bdi").last.text_content()


def test_many_rows_stay_quick(crowded_site, open_page):
    """100,000 rows: sorted and searched in moments, with only a page of them in the document."""
    visit = open_page(crowded_site, name="due.html", link="#state=all")
    visit.until("document.querySelectorAll('table.rows tbody tr').length === 100")
    assert visit.page.inner_text("table.rows caption") == "100,000 checks (rows 1 to 100 on this page)"
    start = time.monotonic()
    for key in ("check_by", "-check_by", "place"):
        visit.page.evaluate("(key) => sewermap.url.replace({ sort: key })", key)
    visit.page.evaluate("sewermap.url.replace({ find: 'alder 199 l-99999' })")
    assert visit.page.inner_text("table.rows caption") == "Shown 1 of 100,000 checks"
    assert time.monotonic() - start < 12  # 1.6 s on two quiet cores; room for a busy machine
    assert (visit.failed, visit.messages) == ([], [])


def test_addresses_sort_as_a_person_does(crowded_site, open_page):
    """House 2 comes before house 10."""
    visit = open_page(crowded_site, name="due.html", link="#state=all&street=Alder%20Lane%203&sort=place")
    visit.until("document.querySelectorAll('table.rows tbody tr').length === 100")
    places = visit.page.locator("table.rows tbody td:first-child").all_inner_texts()
    assert places == [f"{house} Alder Lane 3" for house in range(1, 101)]


def test_pages_of_rows_turn_by_keyboard(crowded_site, open_page):
    """Next keeps the focus, says which rows are shown, and is a step of the browser's history; First goes nowhere on page 1."""
    visit = open_page(crowded_site, name="due.html", link="#state=all")
    visit.until("document.querySelectorAll('table.rows tbody tr').length === 100")
    page = visit.page
    assert page.get_by_role("button", name="First").get_attribute("aria-disabled") == "true"
    page.get_by_role("button", name="Next").focus()
    page.keyboard.press("Enter")
    assert page.inner_text("[role=status]") == "100,000 checks (rows 101 to 200 on this page)"
    assert page.evaluate("document.activeElement.textContent") == "Next"
    assert page.locator("table.rows tbody tr").first.inner_text().startswith("101 Alder Lane 0")
    page.go_back()
    assert page.locator("table.rows tbody tr").first.inner_text().startswith("1 Alder Lane 0")
    page.get_by_role("button", name="Last").click()
    assert "page 1,000 of 1,000" in page.inner_text("nav.pager")


def test_paper_gets_more_than_a_page(crowded_site, open_page):
    """Printing shows up to two thousand rows, and says how many of how many; afterwards the page is as it was."""
    visit = open_page(crowded_site, name="due.html", link="#state=all")
    visit.until("document.querySelectorAll('table.rows tbody tr').length === 100")
    visit.page.evaluate("window.dispatchEvent(new Event('beforeprint'))")
    assert visit.page.locator("table.rows tbody tr").count() == 2000
    assert visit.page.text_content("table.rows caption") == "100,000 checks (rows 1 to 2,000 on this page)"
    visit.page.evaluate("window.dispatchEvent(new Event('afterprint'))")
    assert visit.page.locator("table.rows tbody tr").count() == 100
