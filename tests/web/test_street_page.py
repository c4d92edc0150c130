"""The street page: its figures are those of ``sewermap streets``, its laterals stand in the order of houses."""

from dataclasses import replace

import pandas as pd
import pytest

from sewermap.web.site_index import site_index
from sewermap.web.street_files import files, values_of
from sewermap.web.street_page import files as page_files
from sewermap.web.street_rollup import COLUMNS, rollup

READY = "document.body.dataset.ready === 'true'"
STREET = "Spindrift Way"
PHONE = {"width": 360, "height": 740, "has_touch": True, "is_mobile": True}


@pytest.fixture
def open_street(open_page, sample_town):
    """Opens the page of a street, or of all where no link is given."""
    visits = []

    def opened(link="", **options):
        visit = open_page(sample_town.folder, name="street.html", link=link, **options)
        visits.append(visit)
        visit.until(READY)
        return visit

    yield opened
    for visit in visits:
        assert (visit.failed, visit.messages) == ([], [])


def test_the_rollup_is_the_answer_of_the_command(sample_town):
    """The table behind the page equals ``book.streets`` on the site's day, column by column."""
    told = sample_town.book.streets(sample_town.tables.as_of)
    pd.testing.assert_frame_equal(rollup(sample_town.tables, sample_town.index)[list(COLUMNS)], told, check_dtype=False)


def test_figures_on_the_page_are_those_of_the_answer(open_street, sample_town):
    """Each figure of a street that a person reads is that of its row."""
    row = sample_town.book.streets(sample_town.tables.as_of).set_index("street").loc[STREET]
    page = open_street("#street=Spindrift%20Way").page
    shown = page.evaluate(
        """Object.fromEntries([...document.querySelectorAll('[data-figure]')].map(
            (one) => [one.dataset.figure, one.querySelector('dd').textContent]))"""
    )
    for name in ("laterals", "scoped", "issues", "ungraded", "roots", "repeats", "due"):
        assert shown[name] == str(int(row[name]))
    assert shown["worst_grade"] == f"{int(row['worst_grade'])} of 5"
    assert shown["per_100_m"] == f"{row['per_100_m']:.1f}"
    assert f"{row['scoped_m']:.2f}\u00a0m" in shown["scoped_m"]
    assert shown["repeat_rate"] == f"{round(row['repeat_rate'] * 100)} %"


def test_laterals_stand_in_the_order_of_houses_with_their_numbers(open_street, sample_town):
    """Rows go by house, 3 before 11; grade, open issues and repeats are those of lateral_states."""
    page = open_street("#street=Spindrift%20Way").page
    shown = page.evaluate(
        """[...document.querySelector('#lists section').querySelectorAll('tbody tr')].map(
            (row) => [...row.cells].map((cell) => cell.textContent.trim()))"""
    )
    states = sample_town.book.layer("lateral_states").set_index("lateral")
    names = [row[1] for row in shown]
    assert set(names) == set(states.index[states["street"] == STREET])
    houses = [int(row[0].split()[0]) for row in shown]
    assert houses == sorted(houses)
    for row in shown:
        state = states.loc[row[1]]
        assert row[4:6] == [str(int(state["issues"])), str(int(state["repeats"]))]
        assert ("none given" in row[2]) == pd.isna(state["grade"])
        assert pd.isna(state["grade"]) or row[2].endswith(f"{int(state['grade'])} of 5")


def test_all_streets_lead_to_each(open_street, sample_town):
    """Without a street in the link every street is listed with its numbers; a click opens its page, back returns."""
    visit = open_street()
    page = visit.page
    told = sample_town.book.streets(sample_town.tables.as_of)
    assert page.inner_text("#all caption").startswith(f"{len(told)} streets")
    page.click(f"#all a:has-text('{STREET}')")
    visit.until("document.querySelector('#heading').textContent === 'Spindrift Way'")
    page.click("#lists a >> nth=0")
    visit.until("location.pathname.endsWith('property.html') && document.body.dataset.ready === 'true'")
    assert page.inner_text("#heading").endswith(STREET)


def test_an_unknown_street_is_said(open_street):
    """A name that is no street is said, and all streets are listed."""
    page = open_street("#street=%3Cb%3Enowhere").page
    assert page.inner_text("#told") == "No street is called <b>nowhere."
    assert page.is_visible("#all table")


def test_a_phone_does_not_scroll_sideways(open_street):
    """At 360 px all of the page stands within its width, and the map is there."""
    visit = open_street("#street=Spindrift%20Way", **PHONE)
    assert visit.page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]
    visit.until("sewermap.tiles.quiet()")
    assert visit.drawn("#map_town") > 5000


def test_the_same_tables_give_the_same_files(sample_town):
    """The order of rows in the tables changes nothing, for those whose order says nothing."""
    tables = sample_town.tables
    names = ("laterals", "placed_observations", "runs", "works", "referents", "issue_sightings", "run_coverages", "due", "claims")
    mixed = replace(tables, **{name: getattr(tables, name).sample(frac=1, random_state=7) for name in names})
    assert files(mixed, site_index(mixed)) == files(tables, sample_town.index)


def test_a_public_site_has_no_street_files(sample_town):
    """Street files tell of houses: a public site has none."""
    tables = replace(sample_town.tables, public=True)
    assert page_files(tables, site_index(tables)) == {}


@pytest.mark.parametrize(
    ("column", "told"),
    [
        (pd.Series([1.0, None], name="grade"), [1, None]),
        (pd.Series([-0.0001, 2.5], name="measure_m"), [0.0, 2.5]),
        (pd.Series(pd.to_datetime(["2025-03-04", None])), ["2025-03-04", None]),
        (pd.Series([True, None], dtype=object), [True, None]),
        (pd.Series(["a", None], dtype="str"), ["a", None]),
    ],
)
def test_values_are_plain(column, told):
    """Numbers, days, flags and texts are what JSON takes; what is missing is null."""
    assert values_of(column).tolist() == told
