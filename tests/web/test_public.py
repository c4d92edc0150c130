"""The public site: streets, never a house."""

import base64
import json
import re
import zlib
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
import shapely
from pyproj import Transformer

from sewermap.web.build_site import build_site, site_files
from sewermap.web.public_pages import street_rows
from tests.web.invented_city import city_tables

PACKED = re.compile(r"[A-Za-z0-9+/]{24,}={0,2}")
DECIMAL = re.compile(r"-?\d+\.\d{4,}")
PHONE = {"width": 360, "height": 740, "has_touch": True, "is_mobile": True}
LEAST_LETTERS = 3
"""A shorter text (a clock position, a unit) points at no house."""


def packed_texts(text):
    """What the packed parts of a file say: base64, inflated (RFC 1951); what is no such thing says nothing."""
    told = []
    for part in PACKED.findall(text):
        try:
            told.append(zlib.decompress(base64.b64decode(part), -zlib.MAX_WBITS).decode("utf-8", "replace"))
        except (ValueError, zlib.error):
            continue
    return told


def whole_text(files):
    """All that the data and pages of a site say, packed or not; the scripts and styles are the program's."""
    texts = [
        content if isinstance(content, str) else content.decode("utf-8", "replace")
        for name, content in files.items()
        if not name.startswith("static/") and name != "data/words.js"
    ]
    return "\n".join([*texts, *(packed for text in texts for packed in packed_texts(text))])


@pytest.fixture(scope="module")
def public_tables(sample_town):
    """The sample town's tables, for a public site."""
    return replace(sample_town.tables, public=True)


@pytest.fixture(scope="module")
def public_site(public_tables, tmp_path_factory):
    """The sample town's public site, built where the whole site was before."""
    folder = tmp_path_factory.mktemp("public")
    build_site(replace(public_tables, public=False), folder)
    build_site(public_tables, folder)
    return folder


def names_of_houses(tables):
    """Everything in the tables that points at a house: names, addresses, remarks, files, people."""
    columns = {
        "laterals": ("lateral", "address", "property", "property_line_note"),
        "placed_observations": ("observation", "run", "remark", "picture", "source_file"),
        "issues": ("issue",),
        "runs": ("run", "crew", "remark", "film"),
        "works": ("work", "by", "remark"),
        "due": ("warranty", "answerable", "left_to_look"),
        "referents": ("name",),
        "rejects": ("value", "reason", "path"),
    }
    texts = {
        str(text).strip() for table, names in columns.items() for name in names for text in getattr(tables, table)[name].dropna()
    }
    return {text for text in texts if len(text) >= LEAST_LETTERS and not text.isdigit()}


def test_no_file_points_at_a_house(public_tables, sample_town):
    """No address, name of a lateral, property, run, issue, work or warranty, no remark, crew or picture is in any file.

    That the check can fail is shown on the whole site of the same town.
    """
    secret = names_of_houses(public_tables) - set(public_tables.streets["street"])
    assert len(secret) > 300
    public, whole = whole_text(site_files(public_tables)), whole_text(site_files(sample_town.tables))
    bounded = [rf"(?<![\w-]){re.escape(text)}(?![\w-])" for text in sorted(secret)]
    assert [name for name in bounded if re.search(name, public)] == []
    assert sum(re.search(name, whole) is not None for name in bounded) > 100


def test_no_file_has_a_place_finer_than_the_street(public_tables):
    """No coordinate of a lateral, in the map's CRS or in degrees, to the metre; no figure with four decimals."""
    text = whole_text(site_files(public_tables))
    xy = shapely.get_coordinates(list(public_tables.laterals["geometry"].dropna()))
    degrees = np.array(Transformer.from_crs(public_tables.crs, 4326, always_xy=True).transform(*xy.T)).T
    for x, y in xy:
        assert f"{x:.0f}" not in text
        assert f"{y:.0f}" not in text
    assert DECIMAL.findall(text) == []
    assert not any(f"{lon:.4f}" in text or f"{lat:.4f}" in text for lon, lat in degrees)


def test_a_public_build_takes_away_what_the_whole_site_left(public_site):
    """Built over a whole site, no page, cell or picture of a house remains in the folder."""
    files = {path.relative_to(public_site).as_posix() for path in public_site.rglob("*") if path.is_file()}
    assert [name for name in files if name.endswith(".html")] == ["index.html"]
    assert {name for name in files if name.startswith("data/")} == {"data/files.txt", "data/public.js", "data/words.js"}
    assert not any(name.startswith(("pictures/", "dig/")) for name in files)


def test_the_page_tells_the_roll_up_of_the_command_line(public_site, sample_town, open_page):
    """Each street's counts are those of ``streets``; the page opens without a complaint and links to no other."""
    visit = open_page(public_site)
    visit.until("document.querySelector('table.rows') !== null")
    rows = sample_town.book.streets(sample_town.tables.as_of)
    assert (rows["laterals"] >= 5).all()
    script = "[...document.querySelectorAll('table.rows tbody tr')].map((row) => [...row.cells].map((cell) => cell.textContent))"
    shown = visit.page.evaluate(script)
    expected = [
        [
            row.street, *(str(int(value)) for value in (row.laterals, row.scoped, row.issues)),
            f"{int(row.worst_grade)} of 5" if row.worst_grade > 0 else "–",
            *(str(int(value)) for value in (row.repeats, row.due)), f"{row.per_100_m:.1f}",
        ]
        for row in rows.itertuples()
    ]  # fmt: skip
    assert shown == expected
    assert [link.get_attribute("href") for link in visit.page.locator("a").all()] == ["#main", "static/THIRD_PARTY.md"]
    assert (visit.failed, visit.messages) == ([], [])


def test_the_footer_says_what_is_left_out_and_by_whose_choice(public_site, open_page):
    """A reader learns that houses are left out by choice, and that small streets are told together."""
    said = open_page(public_site).page.inner_text("#left-out")
    assert "By choice of whoever built this page, nothing of a single house is shown" in said
    assert "fewer than 5 laterals are told together, or not at all" in said


def test_the_plan_draws_streets_with_a_width_for_each_grade(public_site, public_tables, open_page):
    """Each street is drawn, named, and as wide as its worst grade; a phone needs no sideways scrolling."""
    visit = open_page(public_site, **PHONE)
    visit.until("document.querySelector('table.rows') !== null")
    drawn = visit.page.locator(".plan > svg path")
    assert drawn.count() == len(public_tables.streets)
    assert set(visit.page.locator(".plan > svg title").all_text_contents()) == set(public_tables.streets["street"])
    widths = visit.page.evaluate(
        "[...document.querySelectorAll('.plan li path')].map((path) => parseFloat(getComputedStyle(path).strokeWidth))"
    )
    assert widths == sorted(widths, reverse=True)
    assert visit.page.evaluate("document.documentElement.scrollWidth") <= 360


def city(houses, **about):
    """The invented city with so many laterals in each street, for a public site."""
    tables = city_tables()
    number = pd.Series(range(len(tables.laterals))) // 12
    rank = pd.Series(range(len(tables.laterals))) % 12
    kept = tables.laterals[(rank < number.map(dict(enumerate(houses)))).to_numpy()]
    return replace(tables, laterals=kept.reset_index(drop=True), public=True, **about)


def test_small_streets_are_told_together(open_page, tmp_path):
    """Streets of 4 and 3 laterals make one row of 7 without a name; their names are drawn as not told."""
    tables = city([12, 4, 3, 8, 5])
    rows = street_rows(tables)
    assert rows["street"].tolist() == ["Alder Lane 0", "Alder Lane 3", "Alder Lane 4", ""]
    assert rows["laterals"].tolist() == [12, 8, 5, 7]
    build_site(tables, tmp_path)
    visit = open_page(tmp_path)
    visit.until("document.querySelector('table.rows') !== null")
    assert "smaller streets, together" in visit.page.inner_text("table.rows")
    assert visit.page.locator(".plan > svg .untold").count() == 2


def test_too_few_even_together_are_not_told():
    """Four laterals in small streets point at houses: they stand in no row, and no sum tells them."""
    rows = street_rows(city([12, 3, 1, 8, 5]))
    assert rows["laterals"].tolist() == [12, 8, 5]
    files = site_files(city([12, 3, 1, 8, 5]))
    told = json.loads(next(text for text in packed_texts(files["data/public.js"]) if "laterals" in text))
    assert told["streets"]["count"] == 3


def test_how_few_are_too_few_is_the_builders_choice():
    """With a least of 10 only the street of 12 stands alone; with 1 each street does."""
    assert street_rows(city([12, 4, 3, 8, 5], public_least=10))["laterals"].tolist() == [12, 20]
    assert street_rows(city([12, 4, 3, 8, 5], public_least=1))["laterals"].tolist() == [12, 4, 3, 8, 5]


def test_laterals_without_a_street_are_told_with_the_small_ones():
    """No row bears an empty street of its own."""
    tables = city([12, 12, 0, 0, 0])
    laterals = tables.laterals.assign(street=tables.laterals["street"].where(tables.laterals["street"] != "Alder Lane 1"))
    rows = street_rows(replace(tables, laterals=laterals))
    assert rows["street"].tolist() == ["Alder Lane 0", ""]
    assert rows["laterals"].tolist() == [12, 12]


def test_an_empty_town_has_a_public_page_that_says_so(open_page, tmp_path):
    """Nothing loaded yet is no fault."""
    tables = city([0, 0, 0, 0, 0])
    build_site(replace(tables, streets=tables.streets.head(0), issues=tables.issues.head(0)), tmp_path)
    visit = open_page(tmp_path)
    visit.until("document.querySelector('.none') !== null")
    assert "No street has enough laterals" in visit.page.inner_text(".none")
    assert (visit.failed, visit.messages) == ([], [])
