"""The filters of the town map, in Chromium from the disk, beside the answers that the command line gives."""

from datetime import date

import pytest

from sewermap.answers.defects import Filters, defects, ungraded
from tests.web.town_words import names_listed, shown, whole_town

ALONE = {
    "street": {"street": "Tallowmere Row"},
    "kind": {"kind": "roots"},
    "grade": {"grade": 4},
    "side": {"side": "private"},
    "state": {"state": "mended"},
    "all states": {"state": "all"},
    "since": {"since": date(2025, 1, 1)},
    "until": {"until": date(2024, 6, 30)},
    "three together": {"kind": "roots", "side": "private", "grade": 3},
    "all together": {
        "street": "Cobbleheron Walk",
        "since": date(2024, 1, 1),
        "until": date(2026, 1, 1),
        "state": "same",
        "grade": 2,
    },
}
"""Filters as the command line takes them; the page's controls bear the same names."""


def choose(visit, **filters):
    """Set the controls, as a person does."""
    for name, value in filters.items():
        control = visit.page.locator(f"#filter-{name}")
        if name in ("since", "until", "due"):
            control.fill(str(value))
            control.press("Tab")
        else:
            control.select_option(str(value))
    visit.at_rest()


@pytest.mark.parametrize("name", ALONE)
def test_filters_show_what_the_command_line_lists(open_town, sample_town, name):
    """Each filter alone and several together: the list and the count are those of ``sewermap defects`` with the same options."""
    visit = open_town()
    choose(visit, **ALONE[name])
    wanted = defects(sample_town.book.store, Filters(**ALONE[name]))
    assert 0 < len(wanted) < len(sample_town.index.issues) or name == "all states"
    assert names_listed(visit, sample_town) == sorted(wanted["issue"])
    assert shown(visit)[:2] == [len(wanted), len(sample_town.index.issues)]


def test_without_filters_mended_ones_are_left_out_and_told(open_town, sample_town):
    """As on the command line all but mended issues are shown, on all laterals; how many mended ones there are is said."""
    visit = open_town()
    wanted, mended = (defects(sample_town.book.store, Filters(state=state)) for state in (None, "mended"))
    assert names_listed(visit, sample_town) == sorted(wanted["issue"])
    laterals = len(sample_town.index.laterals)
    assert shown(visit) == [len(wanted), len(sample_town.index.issues), laterals, laterals]
    assert f"{len(mended)} mended are left out" in visit.page.inner_text("#left-out-note")


def test_only_laterals_with_a_shown_issue_are_shown(open_town, sample_town):
    """A filter of issues leaves the laterals that have one; a street leaves all laterals of it."""
    visit = open_town()
    choose(visit, kind="grease")
    assert shown(visit)[2] == defects(sample_town.book.store, Filters(kind="grease"))["lateral"].nunique()
    visit.page.click("#clear")
    choose(visit, street="Tallowmere Row")
    assert shown(visit)[2] == (sample_town.index.laterals["street"] == "Tallowmere Row").sum()


def test_repeats_only(open_town, sample_town):
    """With all states the repeats are those of ``sewermap repeats``."""
    visit = open_town()
    choose(visit, state="all")
    visit.page.check("#filter-repeats")
    visit.at_rest()
    assert names_listed(visit, sample_town) == sorted(sample_town.book.repeats()["issue"])


@pytest.mark.parametrize("within", [0, 60, 400])
def test_due_within_days(open_town, sample_town, within):
    """The laterals shown are those of ``sewermap due --within DAYS`` on the day that the site tells of."""
    visit = open_town()
    choose(visit, due=within)
    wanted = sample_town.book.due(sample_town.tables.as_of, within=within)["lateral"]
    assert wanted.nunique() > 0
    assert shown(visit)[2] == wanted.nunique()
    rows = visit.page.evaluate("() => [...sewermap.city.laterals.due.keys()]")
    assert len(rows) == len(sample_town.index.laterals)
    whole_town(visit)
    of = sample_town.index.issues["lateral"].iloc[
        visit.page.evaluate("() => [...document.querySelectorAll('[data-issue]')].map((row) => Number(row.dataset.issue))")
    ]
    assert set(of) <= set(wanted)


def test_ungraded_issues_that_a_grade_leaves_out_are_told(open_town, sample_town):
    """Unknown is no good news: the page says how many have no grade, as the command line does."""
    visit = open_town()
    choose(visit, grade=3)
    left_out = ungraded(sample_town.book.store, Filters(grade=3))
    assert (f"{left_out} without a grade" in visit.page.inner_text("#left-out-note")) == (left_out > 0)


def test_the_button_clears_all_filters(open_town):
    """It is off while nothing is filtered; after it, everything is as at first, and the focus is not lost."""
    visit = open_town()
    before = shown(visit)
    assert visit.page.is_disabled("#clear")
    choose(visit, kind="roots", grade=4, side="private", since="2024-01-01", due=60)
    visit.page.check("#filter-repeats")
    assert "6 on" in visit.page.inner_text("#filters-fold summary")
    visit.page.click("#clear")
    visit.at_rest()
    assert shown(visit) == before
    assert visit.page.evaluate("location.hash") == ""
    assert visit.page.evaluate("document.activeElement.id") == "filter-street"


def test_a_filter_that_lets_nothing_through_says_so(open_town):
    """An empty list is explained, and the map draws no issue."""
    visit = open_town()
    choose(visit, until="1995-01-01")
    assert shown(visit)[0] == 0
    assert visit.page.inner_text("#list-note") == "Nothing passes the filters."
    assert visit.drawn(".leaflet-overlay-pane") == 0


def test_every_control_has_a_name_and_is_native(open_town):
    """Selects, inputs and buttons alone, each with a label of its own."""
    missing = """() => [...document.querySelectorAll('main input, main select')]
        .filter((control) => !control.labels.length || !control.labels[0].textContent.trim()).map((control) => control.id)"""
    assert open_town().page.evaluate(missing) == []


def test_what_a_link_asks_for_wrongly_is_left_out(open_town):
    """A link with kinds, days and numbers that are none opens the map as it is without them."""
    plain = shown(open_town())
    link = "#kind=%3Cb%3E&grade=x&side=left&state=%00&since=yesterday&"
    link += "due=-4&colour=red&day=2024-13-45&at=1,2&issue=none&lateral=%E0%A4%A"
    assert shown(open_town(link)) == plain
