"""The page of one lateral: its numbers are those of ``sewermap history``, and odd laterals are told plainly."""

from dataclasses import replace

import pytest

from sewermap.web.build_site import build_site
from sewermap.web.property_page import files as property_files
from sewermap.web.site_index import site_index
from tests.web import odd_town

READY = "document.body.dataset.ready === 'true'"
PHONE = {"width": 360, "height": 740, "has_touch": True, "is_mobile": True}
PNG = b"\x89PNG\r\n\x1a\n" + b"\0" * 40
MOST_BACK, UNTIL_BORE = "L-0006", "L-0054"


@pytest.fixture(scope="module")
def odd_folder(sample_town, tmp_path_factory):
    """The site of the odd town."""
    folder = tmp_path_factory.mktemp("odd")
    build_site(odd_town.odd_tables(sample_town.tables), folder)
    return folder


@pytest.fixture
def open_lateral(open_page, sample_town):
    """Opens the page of a lateral: ``open_lateral(name, folder=None, more="", **options)``."""
    visits = []

    def opened(name, folder=None, more="", **options):
        visit = open_page(folder or sample_town.folder, name="property.html", link=f"#lateral={name}{more}", **options)
        visits.append(visit)
        visit.until(READY)
        return visit

    yield opened
    for visit in visits:
        assert (visit.failed, visit.messages) == ([], [])


def rows_of(page, title):
    """The rows of the table under a title, a row by the titles of its columns."""
    script = """(title) => {
        const sections = [...document.querySelectorAll('#lists section')];
        const section = sections.find((one) => one.querySelector('h2').textContent === title);
        const text = (cell) => (cell.querySelector('.signed bdi') || cell).textContent.trim();
        return [...section.querySelectorAll('tbody tr')].map((row) => Object.fromEntries(
            [...row.cells].map((cell) => [cell.dataset.title || '', text(cell)])));
    }"""
    return page.evaluate(script, title)


def feet(metres):
    """A length in feet as the page writes it; a foot is 0.3048 m by definition (international foot, 1959)."""
    return f"{metres / 0.3048:,.1f}\u00a0ft"


def test_issues_are_those_of_the_history(open_lateral, sample_town):
    """Each issue's kind, grade, state, measure with sigma in both units and times seen are those of ``history``."""
    told = sample_town.book.history(MOST_BACK)["issues"]
    shown = {row["Issue"]: row for row in rows_of(open_lateral(MOST_BACK).page, "Issues")}
    assert set(shown) == {issue["issue"] for issue in told}
    for issue in told:
        row = shown[issue["issue"]]
        assert row["Kind"] == issue["kind"]
        assert row["Grade"] == f"{issue['grade']} of 5"
        assert row["State"].startswith(issue["state"])
        assert f"{feet(issue['measure_m'])}\u00a0±\u00a0{feet(issue['sigma_m'])}" in row["From the tie-in"]
        assert f"{issue['measure_m']:.2f}\u00a0m\u00a0±\u00a0{issue['sigma_m']:.2f}\u00a0m" in row["From the tie-in"]
        assert row["Times seen"] == str(issue["times_seen"])


def test_every_observation_stands_with_its_reading_as_written(open_lateral, sample_town):
    """As many rows as ``history`` has observations, features too, each with the text of its reading."""
    told = sample_town.book.history(MOST_BACK)["observations"]
    shown = rows_of(open_lateral(MOST_BACK).page, "Everything that was seen")
    assert len(shown) == len(told) > 0
    readings = [row["Reading as written"] for row in shown]
    assert not [one["reading"] for one in told if not any(text.startswith(one["reading"]) for text in readings)]


def test_warranties_and_works_are_those_of_the_answers(open_lateral, sample_town):
    """The states and days of the warranties are those of ``due``, and the works those of ``history``."""
    page = open_lateral(MOST_BACK).page
    due = sample_town.book.due(sample_town.tables.as_of, all_states=True)
    due = due[due["lateral"] == MOST_BACK]
    shown = rows_of(page, "Warranties")
    assert sorted(row["Warranty"] for row in shown) == sorted(due["warranty"])
    works = sample_town.book.history(MOST_BACK)["works"]
    assert [row["Name"] for row in rows_of(page, "Works")] == [work["work"] for work in works]


VERDICTS = {"flatter than": "too flat", "over": "over the limit"}


@pytest.mark.parametrize("lateral", ["L-0001", "L-0043"])
def test_falls_are_those_of_the_history(open_lateral, sample_town, lateral):
    """Every finding of ``history`` but those that keep the rule of rodding: what, the verdict, the size, the table, the note."""
    told = [one for one in sample_town.book.history(lateral)["fall"] if one["verdict"] != "within"]
    wanted = {(one["what"], VERDICTS.get(one["verdict"], one["verdict"]), one["against"], one["note"]) for one in told}
    rows = rows_of(open_lateral(lateral).page, "Fall, sags and bends")
    dash = {"–": None}
    got = {
        (
            row["What"],
            row["Against the limit"],
            *(dash.get(row.get(name), row.get(name)) for name in ("By which table", "What was noted")),
        )
        for row in rows
    }
    assert got == wanted
    assert len(rows) == len(told)
    slopes = sorted(f"{one['value'] * 1000:.1f}".rstrip("0").rstrip(".") for one in told if one["what"] == "slope")
    assert sorted(row["Size"].split(" mm")[0] for row in rows if row["What"] == "slope") == slopes


def test_claims_are_those_of_the_answer(open_lateral, sample_town):
    """Laterals with something to claim tell it, by issue and warranty."""
    claims = sample_town.book.claims(sample_town.tables.as_of)
    lateral = claims["lateral"].iloc[0]
    shown = rows_of(open_lateral(lateral).page, "What may be claimed")
    of = claims[claims["lateral"] == lateral]
    assert sorted((row["Issue"], row["Warranty"]) for row in shown) == sorted(zip(of["issue"], of["warranty"], strict=True))


def test_a_suspected_cross_bore_says_stop(open_lateral):
    """The order to stop stands above all else where a cross-bore is suspected, and nowhere else."""
    page = open_lateral(UNTIL_BORE).page
    assert "STOP. No cutting, no jetting." in page.inner_text("#summary .bore")
    assert open_lateral(MOST_BACK).page.query_selector("#summary .bore") is None


def test_units_are_switched_and_stay_in_the_link(open_lateral):
    """The button turns lengths to metres first; the link says so, and the focus stays on the button."""
    page = open_lateral(MOST_BACK).page
    assert page.get_attribute(".strip .axis.first", "data-unit") == "ft"
    page.click("#units")
    assert "units=m" in page.url
    assert page.evaluate("document.activeElement.id") == "units"
    assert page.get_attribute(".strip .axis.first", "data-unit") == "m"
    first = rows_of(page, "Issues")[0]["From the tie-in"]
    assert first.index("\u00a0m") < first.index("\u00a0ft")


@pytest.mark.parametrize(
    ("lateral", "words"),
    [
        (odd_town.NEVER, ("Never looked at by a camera", "No camera has looked at this line.", "No issue is known")),
        (odd_town.NO_SIDE, ("No property line is known here: this page cannot say who owns", "whose side is whose is not known")),
        (odd_town.UNPLACED, ("not placed", odd_town.REASON)),
        (odd_town.NO_LENGTH, ("it cannot be drawn", odd_town.REASON)),
        (odd_town.CLEAN_OUT, ("private ends (clean-out)", "public (clean-out)")),
    ],
)
def test_odd_laterals_are_told_plainly(open_lateral, odd_folder, lateral, words):
    """What is not known is said in words, never left blank or guessed."""
    text = open_lateral(lateral, odd_folder).page.evaluate("document.querySelector('main').textContent")
    for one in words:
        assert one in text


def test_hostile_text_shows_as_text(open_lateral, odd_folder):
    """Markup in any field stays text: no element of it, no dialog, no wider page."""
    visit = open_lateral(odd_town.HOSTILE, odd_folder)
    page = visit.page
    assert page.evaluate("document.querySelectorAll('main script, main img[src=x]').length") == 0
    assert "<script>alert(1)</script>" in page.evaluate("document.querySelector('#heading').textContent")
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")


def test_a_lateral_that_is_none_is_searched_for(open_lateral):
    """An unknown name is said, and a search by address leads to a page."""
    visit = open_lateral("nowhere")
    page = visit.page
    assert "No lateral is called nowhere." in page.inner_text("#told")
    page.fill("#find-lateral", "11 spindrift")
    page.click(".found a >> nth=0")
    visit.until("document.querySelector('#heading').textContent === '11 Spindrift Way'")
    assert page.inner_text("#heading") == "11 Spindrift Way"


def test_pictures_are_copied_as_they_are_and_missing_ones_named(open_lateral, sample_town, tmp_path):
    """A picture that was found is a file of the site, byte for byte; one that was not is named with its reading."""
    seen = sample_town.tables.placed_observations
    named = seen[seen["picture"].notna() & (seen["lateral"] == seen.loc[seen["picture"].notna(), "lateral"].iloc[0])]
    lateral, name = named["lateral"].iloc[0], named["picture"].iloc[0]
    (tmp_path / "one.png").write_bytes(PNG)
    tables = replace(sample_town.tables, pictures={name: tmp_path / "one.png"}, dig_sheets={})
    made = property_files(tables, site_index(tables))
    assert PNG in [content for file, content in made.items() if file.startswith("pictures/")]
    page = open_lateral(lateral).page
    captions = page.inner_text(".pictures")
    assert "The picture is not in this folder." in captions
    assert name in captions


def test_a_dig_sheet_is_linked_or_its_command_shown(open_lateral, sample_town, tmp_path):
    """An issue with a sheet links to it; without one the command to make it is shown."""
    issue = sample_town.book.history(UNTIL_BORE)["issues"][0]["issue"]
    assert f"sewermap digsheet '{issue}'" in open_lateral(UNTIL_BORE).page.inner_text("#lists")
    build_site(replace(sample_town.tables, dig_sheets={issue: "<!DOCTYPE html><title>sheet</title>"}), tmp_path)
    page = open_lateral(UNTIL_BORE, tmp_path).page
    page.click("a[href^='dig/']")
    assert page.title() == "sheet"


@pytest.mark.parametrize("lateral", [MOST_BACK, "L-0056"])
def test_a_phone_scrolls_the_strip_in_its_own_box(open_lateral, lateral):
    """At 360 px the page itself does not scroll sideways; the strip does."""
    page = open_lateral(lateral, **PHONE).page
    assert page.evaluate("document.documentElement.scrollWidth") <= 360
    assert page.evaluate(
        "(() => { const box = document.querySelector('.strip-box'); return box.scrollWidth > box.clientWidth; })()"
    )


def test_print_shows_the_whole_strip_and_no_tools(open_lateral):
    """On paper the strip fits the sheet's width, and switches and searches are gone."""
    visit = open_lateral("L-0056")
    page = visit.page
    page.emulate_media(media="print")
    assert page.evaluate("document.querySelector('svg.strip').getBoundingClientRect().right <= innerWidth + 1")
    assert not page.is_visible("#units")
    assert not page.is_visible(".table-tools")
    assert page.is_visible(".bottom .stop")


def test_the_map_shows_this_lateral(open_lateral):
    """The map beside the strip has drawn ground and line, and says its name."""
    visit = open_lateral(MOST_BACK)
    visit.until("sewermap.tiles.quiet()")
    assert visit.drawn("#map_town") > 5000
    assert visit.page.get_attribute("#map_town", "aria-label").startswith("Map.")


def test_a_public_site_has_no_such_page(sample_town):
    """Nothing of a house is made for a public site."""
    tables = replace(sample_town.tables, public=True)
    assert property_files(tables, site_index(tables)) == {}
