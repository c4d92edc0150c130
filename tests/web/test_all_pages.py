"""All pages of the demo's site and of a larger generated town, opened from the disk and followed link by link."""

import collections
from datetime import date
from pathlib import Path
from types import SimpleNamespace
from urllib.parse import unquote, urlsplit

import numpy as np
import pytest

from etl.plan import read_plan
from sample_gis import make_town, plan_names, write
from sewermap.book import create_book
from sewermap.web.pages import PAGES
from tests.web.contrast import picture
from tests.web.every_page import LINKS, stood

LATERALS = 400
PHONE = {"width": 360, "height": 740, "has_touch": True, "is_mobile": True}
SHELL = """() => ({
    lang: document.documentElement.lang, title: document.title.length > 3, headings: document.querySelectorAll("h1").length,
    heading: document.querySelector("h1").textContent.trim().length > 0, main: document.querySelectorAll("main").length,
    top: document.querySelectorAll("body > header").length, foot: document.querySelectorAll("body > footer").length })"""
SOUND = {"lang": "en", "title": True, "headings": 1, "heading": True, "main": 1, "top": 1, "foot": 1}
SCREENS = {"desk": {"width": 1280, "height": 800}, "half": {"width": 900, "height": 800}, "phone": PHONE}
MOST_FOLLOWED = 40


@pytest.fixture(scope="module")
def large_folder(tmp_path_factory):
    """The site of a generated town of some hundred laterals, loaded by the real loader."""
    place = tmp_path_factory.mktemp("large")
    write(make_town(laterals=LATERALS), place)
    plans = [place / name for name in plan_names()]
    book = create_book(place / "town.gpkg", str(read_plan(plans[0]).crs))
    for plan in plans:
        book.load(plan)
    book.site(place / "site", as_of=date(2026, 1, 31), title="A larger town")
    laterals = book.layer("laterals")
    names = {"lateral": laterals["lateral"].iloc[0], "bore": laterals["lateral"].iloc[-1], "street": laterals["street"].iloc[0]}
    return SimpleNamespace(folder=place / "site", names=names)


@pytest.fixture
def towns(sample_town, town_names, large_folder):
    """Each town's folder, and names for links into it."""
    return {"demo": SimpleNamespace(folder=sample_town.folder, names=town_names), "large": large_folder}


@pytest.mark.parametrize("screen", SCREENS)
@pytest.mark.parametrize("what", LINKS)
@pytest.mark.parametrize("town", ["demo", "large"])
def test_every_page_opens_whole_and_silent(towns, open_page, town, what, screen):
    """No failed request, no word on the console, title, one heading, language, landmarks; nothing scrolls sideways."""
    (kind, link), there = LINKS[what], towns[town]
    visit = open_page(there.folder, name=f"{kind}.html", link=link.format(**there.names), **SCREENS[screen])
    page = stood(visit, kind)
    assert (visit.failed, visit.messages) == ([], [])
    assert all(url.startswith(there.folder.as_uri()) for url in visit.requests)
    assert page.evaluate(SHELL) == SOUND
    assert page.evaluate("document.documentElement.scrollWidth") <= SCREENS[screen]["width"]


def test_the_public_page_opens_whole_and_silent(public_folder, open_page):
    """The same for the page of streets alone."""
    visit = open_page(public_folder, **PHONE)
    page = stood(visit, "public")
    assert (visit.failed, visit.messages) == ([], [])
    assert page.evaluate(SHELL) == SOUND
    assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]


def file_of(url):
    """The file that an address from the disk names."""
    return Path(unquote(urlsplit(url).path))


def test_every_link_leads_to_a_page_that_is_there(sample_town, open_page):
    """From index.html on, by ordinary links alone, every page type is reached; each link's file is there, inside the folder;
    of links that differ only in what stands behind the # some of each kind are opened.
    """
    folder = sample_town.folder
    visit = open_page(folder)
    stood(visit, "index")
    waiting, known, followed = collections.deque([visit.page.url]), {visit.page.url}, collections.Counter()
    while waiting:
        url = waiting.popleft()
        kind = file_of(url).stem
        if followed[kind] >= MOST_FOLLOWED // len(PAGES):
            continue
        followed[kind] += 1
        visit.page.goto("about:blank")
        visit.page.goto(url)
        stood(visit, kind)
        for link in visit.page.evaluate("[...document.links].map((one) => one.href)"):
            if not link.startswith("file:"):
                # The map library names itself; nothing else leads to a network.
                assert link.startswith("https://leafletjs.com")
                continue
            assert file_of(link).is_file(), (url, link)
            assert file_of(link).is_relative_to(folder), (url, link)
            if file_of(link).parent == folder and link not in known:
                known.add(link)
                waiting.append(link)
    assert set(followed) == set(PAGES)
    assert (visit.failed, visit.messages) == ([], [])


@pytest.mark.parametrize("what", LINKS)
def test_a_printed_page_is_not_blank(sample_town, town_names, open_page, what):
    """As for paper: heading and cautions are seen, what the page is about as well, and there is ink."""
    kind, link = LINKS[what]
    visit = open_page(sample_town.folder, name=f"{kind}.html", link=link.format(**town_names))
    page = stood(visit, kind)
    page.emulate_media(media="print")
    page.wait_for_timeout(300)
    assert page.locator("h1").is_visible()
    assert page.locator("footer").is_visible()
    assert len(page.inner_text("main").strip()) > 20
    drawn = picture(page)
    assert np.mean(np.ptp(drawn.reshape(-1, 3), axis=0)) > 150
    assert len(page.pdf(format="A4")) > 5_000
    assert (visit.failed, visit.messages) == ([], [])


def test_a_printed_town_keeps_its_map_and_legend(sample_town, open_page):
    """On paper the map has pixels and its legend says what the colours mean."""
    visit = open_page(sample_town.folder)
    page = stood(visit, "index")
    page.emulate_media(media="print")
    page.wait_for_timeout(500)
    assert page.locator("#legend-laterals").is_visible()
    assert page.locator(".leaflet-container").bounding_box()["height"] > 200
    assert visit.drawn(".leaflet-overlay-pane") > 1_000
