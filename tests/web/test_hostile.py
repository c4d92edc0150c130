"""A town whose every text is hostile, loaded from its files: all pages show text, and its CSV answers run nothing."""

import csv
import io
from datetime import date
from types import SimpleNamespace
from urllib.parse import quote

import pytest
from click.testing import CliRunner
from hypothesis import given
from hypothesis import strategies as st

from etl.sources.sheets import read_sheet
from sewermap.cli import main
from sewermap.plain import as_written, csv_text, plain, shielded
from tests.web import hostile_town as town
from tests.web.every_page import LINKS, stood

PHONE = {"width": 360, "height": 740, "has_touch": True, "is_mobile": True}
DESK = {"width": 1280, "height": 800}
STRANGE = """() => ({
    scripts: [...document.scripts].filter((one) => !one.src).length,
    handlers: [...document.querySelectorAll("*")].flatMap((one) => one.getAttributeNames()).filter((at) => /^on/.test(at)).length,
    pictures: document.querySelectorAll("img[src='x'], iframe, object, embed").length,
    links: [...document.links].filter((one) => one.protocol !== "file:" && !one.href.startsWith("https://leafletjs")).length,
    title: document.title === "broken" })"""
NOTHING = {"scripts": 0, "handlers": 0, "pictures": 0, "links": 0, "title": False}
SHOWN = {
    "the town": (town.hostile("address"), town.STREETS[0]),
    "all streets": tuple(town.STREETS),
    "a street": (town.STREETS[0], town.hostile("address")),
    "a property": (
        *(town.NAMES[0], town.STREETS[0], town.RUNS[0], town.WORK, town.WARRANTY),
        *(town.hostile(what) for what in ("address", "material", "crew", "film", "remark", "by", "answerable")),
    ),
    "due": (town.NAMES[0], town.WARRANTY, town.hostile("answerable")),
    "quality": (town.hostile("reading"), town.hostile("kind"), town.NAMES[0]),
}
"""Texts of the files that must stand on a page, by what is opened."""


@pytest.fixture(scope="module")
def bad_town(tmp_path_factory):
    """The town, its site, and its public site."""
    folder = tmp_path_factory.mktemp("hostile")
    book = town.load_hostile(folder)
    about = {"as_of": date(2026, 5, 1), "title": town.hostile("title")}
    book.site(folder / "site", **about)
    book.site(folder / "public", public=True, public_least=1, **about)
    return SimpleNamespace(book=book, folder=folder, site=folder / "site", public=folder / "public")


def visited(open_page, folder, kind, link, **options):
    """A page that stands, with all that it said; a dialog would be a message."""
    visit = open_page(folder, name=f"{kind}.html", link=link, **options)
    visit.page.on("dialog", lambda dialog: (visit.messages.append(dialog.message), dialog.dismiss()))
    return visit


@pytest.mark.parametrize("what", LINKS)
@pytest.mark.parametrize("size", [DESK, PHONE], ids=["desk", "phone"])
def test_hostile_text_is_text_on_every_page(bad_town, open_page, what, size):
    """No element, handler or link is made of it, nothing runs, nothing is said on the console, nothing scrolls sideways."""
    kind, link = LINKS[what]
    names = {"lateral": quote(town.NAMES[0]), "bore": quote(town.NAMES[4]), "street": quote(town.STREETS[0])}
    visit = visited(open_page, bad_town.site, kind, link.format(**names), **size)
    page = stood(visit, kind)
    assert page.evaluate(STRANGE) == NOTHING
    shown = page.evaluate("document.body.textContent")
    assert [text for text in SHOWN.get(what, ()) if text not in shown] == []
    assert town.hostile("title") in page.title()
    assert page.evaluate("document.documentElement.scrollWidth") <= size["width"]
    assert (visit.messages, visit.failed) == ([], [])


def test_hostile_text_is_text_on_the_public_page(bad_town, open_page):
    """The same for the page of streets; of a house it says nothing."""
    visit = visited(open_page, bad_town.public, "index", "", **PHONE)
    page = stood(visit, "public")
    assert page.evaluate(STRANGE) == NOTHING
    assert town.STREETS[0] in page.evaluate("document.body.textContent")
    assert town.hostile("crew") not in page.content()
    assert (visit.messages, visit.failed) == ([], [])


def test_a_card_on_the_map_shows_hostile_text_as_text(bad_town, open_page):
    """An issue chosen in the list opens a card; its words are text, and its link leads to the lateral's page."""
    visit = visited(open_page, bad_town.site, "index", "", **DESK)
    page = stood(visit, "index")
    page.locator("#list button").first.click()
    page.wait_for_timeout(300)
    assert page.evaluate(STRANGE) == NOTHING
    assert "/ C calc" not in page.title()
    page.locator(".card a[href^='property.html']").first.click()
    stood(visit, "property")
    assert page.evaluate(STRANGE) == NOTHING
    assert (visit.messages, visit.failed) == ([], [])


def test_every_dig_sheet_shows_hostile_text_as_text(bad_town, open_page):
    """The sheets beside the pages hold no element made of data."""
    sheets = sorted((bad_town.site / "dig").glob("*.html"))
    assert sheets
    for sheet in sheets:
        visit = visited(open_page, sheet.parent, sheet.stem, "")
        assert visit.page.evaluate(STRANGE) == NOTHING
        assert (visit.messages, visit.failed) == ([], [])


COMMANDS = [
    *(["defects"], ["repeats"], ["streets"], ["due", "--all", "--as-of", "2026-05-01"], ["claims", "--as-of", "2026-05-01"]),
    ["where", town.NAMES[0], "3.0", "--run", town.RUNS[0]],
]
TABLES = ("laterals", "runs", "observations", "placed_observations", "works", "warranties", "rejects", "issues")


def cells(text):
    """All cells of a CSV, as Python's reader takes them."""
    return list(csv.reader(io.StringIO(text, newline=""), strict=True))


def dangers(rows):
    """Cells that a spreadsheet would run: they begin with a sign of a formula and are no number."""
    return [
        cell
        for row in rows
        for cell in row
        if cell.lstrip()[:1] in set("=+-@\t\r") - {""} and not cell[1:].replace(".", "").isdigit()
    ]


@pytest.mark.parametrize("command", COMMANDS, ids=lambda command: command[0])
def test_no_csv_answer_runs_a_formula(bad_town, command):
    """No cell begins with a sign that a spreadsheet runs (OWASP, CSV Injection), and every row has all its cells."""
    result = CliRunner().invoke(main, ["--db", str(bad_town.folder / "town.gpkg"), *command, "--format", "csv"])
    assert result.exit_code == 0, result.output
    header, *rows = cells(result.stdout)
    assert {len(row) for row in rows} <= {len(header)}
    assert dangers(rows) == []


@pytest.mark.parametrize("table", TABLES)
def test_no_exported_csv_runs_a_formula_and_nothing_is_lost(bad_town, tmp_path, table):
    """No cell runs; with the apostrophe taken off each is what the answer says; numbers stand as they are."""
    bad_town.book.export(tmp_path / "out.csv", table)
    header, *rows = cells((tmp_path / "out.csv").read_bytes().decode())
    assert dangers(rows) == []
    told = plain(bad_town.book.answer(table))
    assert header == list(told.columns)
    wanted = [["" if value is None else str(value) for value in row] for row in told.to_numpy(object)]
    assert [[as_written(cell) for cell in row] for row in rows] == wanted
    assert any(cell.startswith("'=") for row in rows for cell in row)


def test_a_csv_of_ours_is_loaded_as_it_was_written(bad_town, tmp_path):
    """Runs exported as CSV and read as a sheet are the same texts again."""
    bad_town.book.export(tmp_path / "runs.csv", "runs")
    again = read_sheet(tmp_path / "runs.csv").cells
    told = plain(bad_town.book.layer("runs"))
    for column in ("run", "lateral", "crew", "remark", "film"):
        assert again[column].tolist() == [text.strip() for text in told[column]]


def test_a_negative_number_is_no_formula():
    """A column of numbers stays numbers, below zero too; so does a text that is one."""
    import pandas as pd  # noqa: PLC0415

    frame = pd.DataFrame({"x": [-1.5, 2.0], "reading": ["-3.2", "-3,2"], "remark": ["-x", "- 1"]})
    assert csv_text(frame) == "x,reading,remark\n-1.5,-3.2,'-x\n2.0,\"-3,2\",'- 1\n"


@given(st.lists(st.text(alphabet=st.sampled_from("=+-@'\t\r\n,;\" ab1.\u2028\uff1d"), max_size=8), min_size=1, max_size=6))
def test_any_text_comes_back(texts):
    """Whatever the text: shielded it runs nothing, read again it is the same; a lone CR breaks no row."""
    import pandas as pd  # noqa: PLC0415

    rows = cells(csv_text(pd.DataFrame({"number": range(len(texts)), "text": pd.Series(texts, dtype=object)})))
    assert [as_written(row[1]) for row in rows[1:]] == texts
    assert all(as_written(shielded(text)) == text for text in texts)
