import re
from dataclasses import replace
from html.parser import HTMLParser

import pytest

from sewermap.errors import SewermapError
from sewermap.web.build_site import build_site, site_files
from sewermap.web.pages import PAGES, page
from sewermap.web.site_folder import MANIFEST, write_folder
from sewermap.web.words import Words

HOSTILE = "</title><script>alert(1)</script><img src=x onerror=alert(2)>\"'\u2028\u202e"
LISTS = ("due", "repeats", "changes", "quality")
PHONE = {"width": 360, "height": 740, "has_touch": True, "is_mobile": True}
PAIRS = [(ink, ground) for ink in ("--ink", "--soft", "--accent") for ground in ("--paper", "--panel", "--marked")]
PAIRS += [("--stop-ink", "--stop"), ("--ink", "--stop")]
EDGES = [("--edge", "--panel"), ("--edge", "--paper")]
TEXT_CONTRAST, EDGE_CONTRAST = 4.5, 3.0
"""WCAG 2.2: 1.4.3 Contrast (Minimum), 1.4.11 Non-text Contrast, level AA."""


class Tags(HTMLParser):
    """Each start tag of a page with its attributes."""

    def __init__(self):
        super().__init__()
        self.tags = []

    def handle_starttag(self, tag, attrs):
        """Keep it."""
        self.tags.append((tag, dict(attrs)))


def tags_of(text):
    parser = Tags()
    parser.feed(text)
    return parser.tags


def luminance(red, green, blue):
    """Relative luminance, WCAG 2.2."""
    parts = [part / 255 for part in (red, green, blue)]
    red, green, blue = (part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


@pytest.mark.parametrize("name", LISTS)
def test_a_page_opens_from_the_disk_without_a_complaint(sample_town, open_page, name):
    """Only files of the folder are asked for, none fails, and the console stays silent."""
    visit = open_page(sample_town.folder, name=f"{name}.html")
    visit.until("document.querySelector('table.rows') !== null")
    assert all(url.startswith(sample_town.folder.as_uri()) for url in visit.requests)
    assert (visit.failed, visit.messages) == ([], [])


@pytest.mark.parametrize("name", LISTS)
def test_the_shell_says_where_one_is_and_what_to_beware_of(sample_town, open_page, name):
    """Language, title, one heading, the current page marked, the other pages linked, and the cautions in sight of print."""
    shown = open_page(sample_town.folder, name=f"{name}.html").page
    assert shown.evaluate("document.documentElement.lang") == "en"
    assert shown.title() == f"{Words('en').t(f'page.{name}')} – Ottermarsh Quay"
    assert shown.locator("h1").count() == 1
    assert shown.locator("nav [aria-current=page]").get_attribute("href") == f"{name}.html"
    links = [link.get_attribute("href") for link in shown.locator("header nav a").all()]
    assert links == [f"{other}.html" for other in PAGES]
    said = " ".join(shown.inner_text("footer").split())
    for words in (
        "not a utility locate",
        "no legal survey",
        "STOP. No cutting, no jetting. Call the gas utility",
        "licensed practice",
    ):
        assert words in said
    assert "Have utilities located before digging" in shown.inner_text("header")


@pytest.mark.parametrize("name", LISTS)
def test_nothing_runs_that_stands_in_the_page(sample_town, name):
    """The policy names this folder alone; no script, style or handler stands in the markup, and nothing leads to a network."""
    text = (sample_town.folder / f"{name}.html").read_text(encoding="utf-8")
    tags = tags_of(text)
    policy = next(given["content"] for tag, given in tags if given.get("http-equiv") == "Content-Security-Policy")
    assert policy.startswith("default-src 'none'; script-src 'self' file:; style-src 'self' file:; img-src 'self' file: data:")
    assert all("src" in given for tag, given in tags if tag == "script")
    assert not any(tag == "style" or name.startswith("on") or name == "style" for tag, given in tags for name in given)
    assert not re.search(r"https?:", text)
    assert "<noscript>" in text


def test_a_hostile_title_stays_text(sample_town):
    """A town's title is text in every place of the shell."""
    text = page("due", Words("en"), replace(sample_town.tables, title=HOSTILE), ())
    tags = [tag for tag, _ in tags_of(text)]
    assert "img" not in tags
    assert tags.count("script") == text.count("<script src=")


def test_the_keyboard_can_skip_to_the_content(sample_town, open_page):
    """The first Tab shows a link past the navigation; Enter goes there; what has the focus is outlined."""
    shown = open_page(sample_town.folder, name="due.html").page
    shown.keyboard.press("Tab")
    assert shown.evaluate("document.activeElement.className") == "skip"
    assert shown.locator(".skip").bounding_box()["x"] >= 0
    assert shown.evaluate("getComputedStyle(document.activeElement).outlineWidth") == "3px"
    shown.keyboard.press("Enter")
    assert shown.evaluate("document.activeElement.id") == "main"


@pytest.mark.parametrize("name", LISTS)
def test_a_phone_needs_no_sideways_scrolling(sample_town, open_page, name):
    """360 pixels are wide enough for every page, whatever is in it."""
    visit = open_page(sample_town.folder, name=f"{name}.html", **PHONE)
    visit.until("document.querySelector('table.rows') !== null")
    assert visit.page.evaluate("document.documentElement.scrollWidth") <= 360


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_colours_can_be_read(sample_town, open_page, scheme):
    """Text on its ground has a contrast of 4.5, the edge of a control 3 (WCAG 2.2, AA), in light and in dark."""
    shown = open_page(sample_town.folder, name="due.html", color_scheme=scheme).page
    # The canvas turns any colour into three bytes.
    read = """(name) => { const value = getComputedStyle(document.documentElement).getPropertyValue(name).trim();
        const pen = document.createElement("canvas").getContext("2d");
        pen.fillStyle = value; pen.fillRect(0, 0, 1, 1);
        return [...pen.getImageData(0, 0, 1, 1).data.slice(0, 3)]; }"""
    for pairs, least in ((PAIRS, TEXT_CONTRAST), (EDGES, EDGE_CONTRAST)):
        for pair in pairs:
            dark, light = sorted(luminance(*shown.evaluate(read, name)) for name in pair)
            assert (light + 0.05) / (dark + 0.05) >= least, (scheme, pair)


@pytest.mark.parametrize("name", LISTS)
def test_a_printed_page_keeps_the_cautions_and_drops_the_controls(sample_town, open_page, name):
    """On paper: dark ink on white, no navigation, no search; the list and what to beware of stay."""
    visit = open_page(sample_town.folder, name=f"{name}.html", color_scheme="dark")
    visit.until("document.querySelector('table.rows') !== null")
    visit.page.emulate_media(media="print")
    assert not visit.page.locator("header nav").is_visible()
    assert not any(box.is_visible() for box in visit.page.locator("input[type=search]").all())
    assert visit.page.evaluate("getComputedStyle(document.body).backgroundColor") == "rgb(255, 255, 255)"
    assert visit.page.locator("footer").is_visible()
    assert len(visit.page.pdf()) > 5000


def test_the_address_bar_holds_the_state(sample_town, open_page):
    """get, set, replace and the back button; listeners hear each change once; what means something in a link is escaped."""
    shown = open_page(sample_town.folder, name="repeats.html").page
    shown.evaluate("window.heard = 0; sewermap.url.listen(() => { window.heard += 1; })")
    shown.evaluate("sewermap.url.set({ street: 'A&B=C #1/ü', at: '1.5,-2,17' })")
    assert shown.evaluate("[sewermap.url.get('street'), sewermap.url.get('at'), sewermap.url.get('kind')]") == [
        *("A&B=C #1/ü", "1.5,-2,17"),
        None,
    ]
    assert shown.url.endswith("#street=A%26B%3DC%20%231%2F%C3%BC&at=1.5,-2,17")
    shown.evaluate("sewermap.url.replace({ at: null, repeats: true })")
    assert shown.evaluate("[sewermap.url.get('at'), sewermap.url.get('repeats')]") == [None, "1"]
    assert shown.evaluate("window.heard") == 2
    shown.go_back()
    assert shown.evaluate("sewermap.url.get('street')") is None
    assert shown.evaluate("sewermap.url.href('property', { lateral: 'L 1' })") == "property.html#lateral=L%201"


def test_the_same_tables_give_the_same_bytes(sample_town):
    """No clock and no chance: two builds are equal, byte for byte."""
    assert site_files(sample_town.tables) == site_files(sample_town.tables)


def test_progress_is_told_in_order(sample_town, tmp_path):
    """A long build says what it makes, and how far it is."""
    told = []
    build_site(sample_town.tables, tmp_path / "site", lambda *step: told.append(step))
    assert [done for _, done, _ in told] == list(range(len(told)))
    assert {of for _, _, of in told} == {len(told)}


def test_a_later_build_removes_what_it_no_longer_makes_and_no_strangers_file(tmp_path):
    """Our own old files go, empty folders with them; a file that no build made stays, also beside ours."""
    write_folder({"index.html": "1", "data/cell-1-1.js": "x", "pictures/a.png": b"p"}, tmp_path)
    (tmp_path / "data" / "notes.txt").write_text("mine")
    files = write_folder({"index.html": "2", "data/city.js": "y"}, tmp_path)
    there = {path.relative_to(tmp_path).as_posix() for path in tmp_path.rglob("*") if path.is_file()}
    assert there == {"index.html", "data/city.js", "data/notes.txt", MANIFEST}
    assert not (tmp_path / "pictures").exists()
    assert files[0] == tmp_path / "index.html"
    assert files[0].read_text() == "2"


def test_a_strangers_file_is_never_overwritten(tmp_path):
    """Where somebody's own file has the name of one of ours, nothing is written and the error names it."""
    (tmp_path / "index.html").write_text("my own page")
    with pytest.raises(SewermapError, match=r"index\.html' is there already.*choose another folder"):
        write_folder({"index.html": "ours", "data/city.js": "y"}, tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == ["index.html"]
    assert (tmp_path / "index.html").read_text() == "my own page"


def test_a_list_of_files_leads_nowhere_else(tmp_path):
    """A tampered list of files removes nothing outside the folder."""
    outside = tmp_path / "precious.txt"
    outside.write_text("keep")
    site = tmp_path / "site"
    write_folder({"index.html": "1"}, site)
    (site / MANIFEST).write_text(f"index.html\n{MANIFEST}\n../precious.txt\n{outside}\n")
    write_folder({"index.html": "2"}, site)
    assert outside.read_text() == "keep"


def test_a_build_that_fails_leaves_the_folder_as_it_was(tmp_path):
    """All files are written beside their places first: a name that cannot be written changes nothing."""
    write_folder({"index.html": "1", "data/city.js": "x"}, tmp_path)
    with pytest.raises(SewermapError, match="choose another folder"):
        write_folder({"index.html": "2", f"data/{'n' * 300}.js": "y"}, tmp_path)
    there = {path.relative_to(tmp_path).as_posix(): path.read_text() for path in tmp_path.rglob("*") if path.is_file()}
    assert there == {"index.html": "1", "data/city.js": "x", MANIFEST: f"data/city.js\n{MANIFEST}\nindex.html\n"}


def test_a_folder_that_is_a_file_is_told_in_a_sentence(tmp_path):
    """Where a file stands in the way, the error names the folder and says what to do."""
    (tmp_path / "taken").write_text("a file")
    with pytest.raises(SewermapError, match=r"taken.*choose another folder"):
        write_folder({"index.html": "1"}, tmp_path / "taken")
