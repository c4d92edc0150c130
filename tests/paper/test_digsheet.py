"""The dig sheet as a crew gets it: one page, all that must stand on it, black and white, and no text that becomes markup."""

import html
import math
import re
from collections.abc import Iterator
from datetime import date
from html.parser import HTMLParser
from pathlib import Path

import pytest
import shapely
from playwright.sync_api import Browser, Page

from sewermap.answers.dig import DigFacts, dig_facts
from sewermap.book import Book
from sewermap.cautions import DIG, STOP
from sewermap.errors import SewermapError, UnknownNameError
from sewermap.paper import print_pdf as printing
from sewermap.paper.digsheet import NO_TIES, digsheet
from sewermap.paper.print_pdf import print_pdf
from tests.paper.dig_town import HOSTILE
from tests.paper.test_dig_facts import facts_of

DAY = date(2026, 2, 3)
PAPERS = {"letter": (612, 792), "a4": (595, 842)}
"""Points: 8½ by 11 inches, and 210 by 297 mm (ISO 216)."""

ISSUES = [
    ("A-1", "roots"), ("A-1", "crack"), ("A-1", "sag"), ("B-1", "cross-bore"), ("B-1", "crack"), ("C-1", "offset joint"),
    ("E-1", "crack"),
]  # fmt: skip


@pytest.fixture(scope="session")
def browser(chromium: Browser) -> Browser:
    """Debian's Chromium."""
    return chromium


@pytest.fixture
def page(browser: Browser) -> Iterator[Page]:
    """A fresh page, seen as a printer sees it; scripts of a test run in it although the sheet itself may hold none."""
    context = browser.new_context(bypass_csp=True, offline=True)
    page = context.new_page()
    page.emulate_media(media="print")
    yield page
    context.close()


def sheet(book: Book, lateral: str, kind: str, **more: object) -> str:
    facts = facts_of(book, lateral, kind)
    folders = [Path(book.store.where).parent / folder for folder in ("", *facts.folders)]
    return digsheet(facts, DAY, picture_folders=folders, **more)


def text_of(markup: str) -> str:
    """What is read on a page: without tags and styles, blanks made one."""
    body = re.sub(r"<style>.*?</style>", " ", markup, flags=re.DOTALL)
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", body)).split())


class Elements(HTMLParser):
    """All elements of a page with their attributes."""

    def __init__(self, markup: str) -> None:
        super().__init__()
        self.seen: list[tuple[str, dict[str, str | None]]] = []
        self.feed(markup)

    def handle_starttag(self, tag, attrs):
        """Note each element."""
        self.seen.append((tag, dict(attrs)))


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize(("lateral", "kind"), ISSUES)
def test_nothing_is_cut_off(dig_book: Book, page: Page, paper: str, lateral: str, kind: str):
    """Whatever stands on it, the sheet holds it: the cautions and the footer to their last line, on either paper, in feet too."""
    page.set_content(sheet(dig_book, lateral, kind, paper=paper, units="ft"))
    overflow = page.evaluate(
        """() => { const sheet = document.querySelector(".sheet").getBoundingClientRect();
        return [...document.querySelectorAll(".sheet *")].filter(e => !e.closest("svg") && e.getBoundingClientRect().height)
            .map(e => [e.className || e.tagName, e.getBoundingClientRect().bottom - sheet.bottom,
                       e.getBoundingClientRect().right - sheet.right]).filter(([, down, right]) => down > 1 || right > 1); }"""
    )
    assert overflow == []
    clipped = page.evaluate("""() => { const e = document.querySelector(".seen"); return e.scrollHeight - e.clientHeight; }""")
    assert clipped <= 1


@pytest.mark.parametrize("paper", PAPERS)
def test_a_sheet_is_one_page(dig_book: Book, tmp_path: Path, paper: str):
    """Printed by the browser, it is one page of the paper asked for: the richest sheet, and one with the order to stop."""
    for at, (lateral, kind) in enumerate((("A-1", "roots"), ("B-1", "crack"), ("E-1", "crack"))):
        out = tmp_path / f"{at}.pdf"
        print_pdf(sheet(dig_book, lateral, kind, paper=paper), out)
        content = out.read_bytes()
        assert len(re.findall(rb"/Type\s*/Page\b(?!s)", content)) == 1
        (box,) = set(re.findall(rb"/MediaBox\s*\[0 0 ([0-9.]+) ([0-9.]+)\]", content))
        assert [round(float(side)) for side in box] == pytest.approx(PAPERS[paper], abs=1)
    assert sorted(file.name for file in tmp_path.iterdir()) == ["0.pdf", "1.pdf", "2.pdf"]


def test_all_that_a_crew_needs_stands_on_it(dig_book: Book):
    """Issue, place, side, scale, measures, depth and how it is known, coordinates, sightings, works, blanks, cautions."""
    facts = facts_of(dig_book, "A-1", "roots")
    text = text_of(sheet(dig_book, "A-1", "roots"))
    for words in (
        f"Dig sheet {facts.issue['issue']}", "roots, grade 3, at 3 o'clock", "1 Gannet Row", "PRIVATE side",
        "property line by parcel",
        "Scale 1:", "in on paper is", "Locate ticket no.", "Ticket's date", "Who called",
        "interpolated between the tie-in (2.40 m deep)",
        "ground assumed level", "Quillfeather", "26' 5\"", "the house smells of it", "2025-06-07", "R-2", "cleaning W-1",
        "from the property line towards the building", "from the clean-out CO1 towards the main", "EPSG:26910", "WGS 84", "lat ",
        "Main M0 lies", "Street Gannet Row lies", "building HA", "south", "Swing ties", "and 3 earlier",
        "p13.png (not found here)",
        f"Printed {DAY.isoformat()}", "Database town.gpkg",
    ):  # fmt: skip
        assert words in text, words
    for caution in DIG:
        assert caution in text
    assert "WORK SINCE" not in text
    assert "STOP" not in text
    assert "DEPTH UNKNOWN" not in text
    assert "ACCURACY ASSUMED" not in text


def test_unknown_is_said_in_so_many_words(dig_book: Book):
    """DEPTH UNKNOWN, ACCURACY ASSUMED, no property line and no ties are told as such; a work since the last look is, too."""
    text = text_of(sheet(dig_book, "C-1", "offset joint"))
    for words in ("DEPTH UNKNOWN", "ACCURACY ASSUMED", "SIDE UNKNOWN: no property line is known here", NO_TIES, "none known"):
        assert words in text
    assert "its invert lies near" in text
    assert "WORK SINCE : W-3 was done here after this was last seen" in text_of(sheet(dig_book, "B-1", "crack"))


def test_a_cross_bore_stops_the_crew_before_anything_else(dig_book: Book):
    """STOP stands first on the sheet of the cross-bore, and on that of what lies near it, with its name."""
    cross_bore = facts_of(dig_book, "B-1", "cross-bore").issue["issue"]
    for kind in ("cross-bore", "crack"):
        body = text_of(sheet(dig_book, "B-1", kind).split("<body>")[1])
        assert body.startswith(f"{STOP} Suspected: {cross_bore}.")


def test_hostile_text_stays_text(dig_book: Book):
    """Markup in addresses, names, remarks, crews, pictures, buildings, parcels and works makes no element and no attribute."""
    markup = sheet(dig_book, "E-1", "crack")
    elements = Elements(markup).seen
    assert {tag for tag, _ in elements} <= {
        "html", "head", "meta", "title", "style", "body", "main", "header", "div", "section", "p", "h1", "h2", "b", "i", "br",
        "ul", "li",
        "table", "colgroup", "col", "tr", "td", "th", "figure", "figcaption", "img", "footer", "span", "svg", "g",
        "defs", "pattern", "clippath",
        "rect",
        "path", "line", "circle", "text",
    }  # fmt: skip
    assert not [tag for tag, given in elements for name in given if name.startswith("on") or name in ("href", "srcdoc")]
    assert all(given["src"].startswith("data:image/") for tag, given in elements if tag == "img")
    assert "\u202e" not in markup
    visible = html.unescape(re.sub(r"<style>.*?</style>", " ", markup, flags=re.DOTALL))
    for start in (
        f'<p class="what">{HOSTILE[:40]}',
        f"corner of building {HOSTILE[:40]}",
        f", {HOSTILE[:14]}",
        f"<td>{HOSTILE[:40]}",
    ):
        assert start in visible, start
    assert "default-src 'none'" in html.unescape(markup)


def test_no_script_runs(dig_book: Book, page: Page):
    """Opened in a browser, the hostile sheet shows no dialogue and asks for nothing."""
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    page.on("dialog", lambda dialog: asked.append(dialog.message))
    page.set_content(sheet(dig_book, "E-1", "crack"))
    page.wait_for_timeout(100)
    assert [url for url in asked if not url.startswith("data:")] == []


def test_ties_on_the_page_give_the_coordinates_on_the_page(dig_book: Book):
    """Who reads the two corners and two distances off the page finds the issue's coordinates to 1 cm; in feet to a half inch."""
    for lateral, kind in (("A-1", "roots"), ("A-1", "sag"), ("E-1", "crack")):
        facts = facts_of(dig_book, lateral, kind)
        rows = [given for _, given in Elements(sheet(dig_book, lateral, kind)).seen if "data-metres" in given]
        assert len(rows) == 2 * len(facts.ties) > 0
        for one, other in zip(rows[::2], rows[1::2], strict=True):
            rings = [
                shapely.Point(float(row["data-x"]), float(row["data-y"]))
                .buffer(float(row["data-metres"]), quad_segs=4096)
                .exterior
                for row in (one, other)
            ]
            meets = [(point.x, point.y) for point in shapely.get_parts(shapely.intersection(*rings))]
            spot = (facts.issue["x"], facts.issue["y"])
            assert min(math.dist(spot, meet) for meet in meets) <= 0.0101
    text = text_of(sheet(dig_book, "A-1", "roots", units="ft"))
    told = re.findall(r"(\d+) ft (\d+)(½?) in \((\d+\.\d\d) m\)", text)
    assert len(told) >= 8
    for feet, inches, half, metres in told:
        assert abs((int(feet) * 12 + int(inches) + (0.5 if half else 0.0)) * 0.0254 - float(metres)) <= 0.0127 + 0.005 + 1e-9


def test_units_are_the_users(dig_book: Book):
    """In metres no foot is told; in feet the metres stand beside; without a word it is what the last run counted in."""
    metric = text_of(sheet(dig_book, "A-1", "roots", units="m"))
    assert re.search(r"\d ft", metric.split("What was seen")[0]) is None
    assert "Scale 1:" in metric
    assert sheet(dig_book, "A-1", "roots") == sheet(dig_book, "A-1", "roots", units="ft")
    assert sheet(dig_book, "C-1", "offset joint") == sheet(dig_book, "C-1", "offset joint", units="m")
    with pytest.raises(UnknownNameError, match="units are ft or m"):
        sheet(dig_book, "A-1", "roots", units="furlong")
    with pytest.raises(UnknownNameError, match="paper is letter or a4"):
        sheet(dig_book, "A-1", "roots", paper="a3")


@pytest.mark.parametrize("units", ["ft", "m"])
def test_the_plan_is_to_scale(dig_book: Book, page: Page, units: str):
    """A millimetre on paper is what the stated scale says: the drawn lateral, the scale bar and the sheet's ties agree."""
    markup = sheet(dig_book, "A-1", "roots", units=units)
    scale = int(next(given["data-scale"] for _, given in Elements(markup).seen if "data-scale" in given))
    page.set_content(markup)
    ties = page.evaluate(
        """() => { const svg = document.querySelector("svg");
        const mm = svg.viewBox.baseVal.width / svg.getBoundingClientRect().width;
        return [...svg.querySelectorAll("line.tie")].map(e => Math.hypot(e.x1.baseVal.value - e.x2.baseVal.value,
            e.y1.baseVal.value - e.y2.baseVal.value)).concat([96 / 25.4 * mm]); }"""
    )
    assert ties.pop() == pytest.approx(1.0, rel=1e-3)  # a unit of the drawing is a millimetre of paper (96 CSS px to the inch)
    told = [tie.distance_m for pair in facts_of(dig_book, "A-1", "roots").ties for tie in (pair.first, pair.second)]
    assert ties == pytest.approx([distance * 1000 / scale for distance in told], abs=0.01 * 1000 / scale)
    bar = sum(
        float(given["width"])
        for _, given in Elements(markup).seen
        if given.get("class") == "bar" and given.get("height") == "1.6"
    )
    length = float(re.search(r">([\d.]+) (?:ft|m)</text>", markup)[1])
    assert bar == pytest.approx(length * (0.3048 if units == "ft" else 1.0) * 1000 / scale, abs=0.05)


def test_it_is_legible_in_black_and_white(dig_book: Book, page: Page):
    """Every colour is a grey, pictures are turned grey, and no writing is smaller than 7 points."""
    for lateral, kind in (("A-1", "roots"), ("B-1", "cross-bore")):
        markup = sheet(dig_book, lateral, kind)
        for colour in re.findall(r"#([0-9a-fA-F]{3,8})\b(?=[;\"'} ])", re.sub(r"data:image[^\"]+", "", markup)):
            assert len(colour) in (3, 6)
            part = len(colour) // 3
            assert colour[:part] == colour[part : 2 * part] == colour[2 * part :], colour
        assert re.search(r"\b(?:rgb|hsl|lab|color-mix)\(|\b(?:red|green|blue|orange|yellow)\b", markup.split("<body>")[0]) is None
        page.set_content(markup)
        smallest = page.evaluate(
            """() => Math.min(...[...document.querySelectorAll(".sheet *")].filter(e => [...e.childNodes].some(
                n => n.nodeType === 3 && n.textContent.trim())).map(e => { const svg = e.closest("svg");
                const mm = svg ? svg.getBoundingClientRect().width / svg.viewBox.baseVal.width : 1;
                return parseFloat(getComputedStyle(e).fontSize) * mm; }))"""
        )
        assert smallest >= 7 * 96 / 72


def test_labels_of_the_plan_do_not_cover_each_other(dig_book: Book, page: Page):
    """No two labels of one drawing overlap by more than a sliver, and none leaves its drawing."""
    for lateral, kind in ISSUES:
        page.set_content(sheet(dig_book, lateral, kind))
        overlaps = page.evaluate(
            """() => [...document.querySelectorAll("svg")].flatMap(svg => { const out = [];
            const flat = [...svg.querySelectorAll("text.label")].filter(e => !e.getAttribute("transform"));
            const boxes = flat.map(e => e.getBoundingClientRect());
            boxes.forEach((a, i) => boxes.slice(i + 1).forEach((b, j) => {
                const w = Math.min(a.right, b.right) - Math.max(a.left, b.left);
                const h = Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top);
                if (w > 3 && h > 5) out.push([flat[i].textContent, flat[i + 1 + j].textContent, w, h]); }));
            return out; })"""
        )
        assert overlaps == [], (lateral, kind)


def test_pictures_are_on_the_page_or_named(dig_book: Book, tmp_path: Path):
    """A picture found and small is in the page; one missing, too large, no picture, or outside the folder is named with why."""
    facts = facts_of(dig_book, "A-1", "roots")
    markup = sheet(dig_book, "A-1", "roots")
    assert markup.count("data:image/png;base64,") == 2
    (tmp_path / "one.png").write_bytes(b"\x89PNG\r\n\x1a\n" + bytes(2_000_001))
    (tmp_path / "p14.png").write_text("<svg onload='alert(1)'/>", encoding="utf-8")
    (tmp_path / "film").symlink_to(Path(dig_book.store.where).parent / "logs" / "film")
    text = text_of(digsheet(facts, DAY, picture_folders=[tmp_path]))
    for words in ("one.png (too large to be put on the sheet)", "film/two.png (not found here)", "p14.png (no picture"):
        assert words in text or "more" in text
    assert "film/two.png (not found here)" in text
    assert "data:image" not in digsheet(facts, DAY, picture_folders=[tmp_path])


def test_the_same_facts_give_the_same_sheet(dig_book: Book):
    """Text for text, so that a sheet can be compared with the one of last week."""
    name = dig_book.layer("issues")["issue"].iloc[0]
    assert digsheet(dig_facts(dig_book.store, name), DAY) == digsheet(dig_facts(dig_book.store, name), DAY)
    assert dig_book.digsheet(name, as_of=DAY, units="m").count("2026-02-03") == 1


def test_without_a_browser_the_page_still_helps(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """No browser, one that hangs, or one that makes nothing: an error that says to print the page from any browser."""
    monkeypatch.setattr(printing, "find_browser", lambda: None)
    with pytest.raises(SewermapError, match=r"none was found on this machine.*open it in any browser and print it"):
        print_pdf("<p>x</p>", tmp_path / "x.pdf")
    for name, program, said in (("slow", "exec sleep 30", "did not print within"), ("idle", "echo no display >&2", "no display")):
        fake = tmp_path / name
        fake.write_text(f"#!/bin/sh\n{program}\n", encoding="utf-8")
        fake.chmod(0o755)
        monkeypatch.setattr(printing, "find_browser", lambda fake=fake: str(fake))
        with pytest.raises(SewermapError, match=said):
            print_pdf("<p>x</p>", tmp_path / "x.pdf", patience_s=0.5)
    assert not (tmp_path / "x.pdf").exists()
    with pytest.raises(SewermapError, match="there is no folder"):
        print_pdf("<p>x</p>", tmp_path / "nowhere" / "x.pdf")


def facts_with(facts: DigFacts, **changes: object) -> DigFacts:
    return DigFacts(**(facts.__dict__ | changes))


def test_the_fullest_sheet_still_fits(dig_book: Book, page: Page):
    """Stop, three warnings, long names everywhere, many works and sightings, in feet on letter: nothing is cut off."""
    facts = facts_of(dig_book, "E-1", "crack")
    many = facts_of(dig_book, "A-1", "roots").sightings.assign(remark="W" * 300, crew="M" * 90, kind="W" * 60, run="W" * 50)
    works = facts_of(dig_book, "A-1", "roots").works
    works = works.loc[[0, 0, 0, 0]].assign(work="W" * 80, by="W" * 80, kind="W" * 80, done_on=many["ran_on"].max())
    full = facts_with(
        facts, cross_bores=("W" * 60,) * 9, sightings=many, works=works, lateral=facts.lateral | {"accuracy_assumed": True}
    )
    page.set_content(digsheet(full, DAY, units="ft"))
    low = page.evaluate(
        """() => { const end = document.querySelector(".sheet").getBoundingClientRect().bottom;
        const over = name => document.querySelector(name).getBoundingClientRect().bottom - end;
        return [".cautions", "footer", ".ticket", ".stop"].map(over); }"""
    )
    assert max(low) <= 1
