"""The folder's pages from a server: the same bytes, silent in a browser, kept by their version, packed, in parts."""

import gzip
from pathlib import Path
from urllib.parse import unquote

import pytest
from playwright.sync_api import Browser, Route

from sewermap.answers.warranties_on import today
from sewermap.web.pages import PAGES


def test_every_file_is_that_of_the_folder(town, tmp_path: Path) -> None:
    """What is served is, byte for byte and file for file, what ``build_site`` writes on the same day."""
    folder = tmp_path / "site"
    files = town.book.site(folder, as_of=today(), title="Ottermarsh Quay", dig_sheets=False)
    base = town.page().removesuffix("index.html")
    names = {file.relative_to(folder).as_posix() for file in files}
    assert names == town.keeper.newest().names
    for name in names:
        answer = town.ask(base + name)
        assert (answer.status, answer.body) == (200, (folder / name).read_bytes()), name


@pytest.mark.parametrize("name", PAGES)
def test_a_page_opens_without_a_complaint(town, browser: Browser, name: str) -> None:
    """Each page type opens from the server: no failed request, no console message, nothing asked of anybody else."""
    context = browser.new_context()
    page = context.new_page()
    wrong: list[str] = []

    def gate(route: Route) -> None:
        if route.request.url.startswith(town.url):
            route.continue_()
        else:
            wrong.append(f"asked for {route.request.url}")
            route.abort()

    context.route("**/*", gate)
    page.on("console", lambda message: wrong.append(message.text))
    page.on("pageerror", lambda error: wrong.append(str(error)))
    page.on("requestfailed", lambda request: wrong.append(f"failed: {request.url}"))
    page.on("response", lambda answer: wrong.append(f"{answer.status}: {answer.url}") if answer.status >= 400 else None)
    page.goto(f"{town.url}{name}.html#lateral=L-0018", wait_until="load")
    page.wait_for_timeout(500)
    assert page.url.startswith(f"{town.url.rstrip('/')}{town.page(f'{name}.html')}#lateral=L-0018")
    assert page.locator("h1").first.inner_text().strip()
    assert page.locator("nav").first.is_visible()
    assert wrong == []
    context.close()


def test_a_known_page_is_not_sent_again(town) -> None:
    """A page with the ETag or the time that the asker knows is answered 304 without a body (RFC 9110, 13.1.2 and 13.1.3)."""
    path = town.page()
    first = town.ask(path)
    assert first.headers["cache-control"] == "no-cache"
    for known in (
        {"If_None_Match": first.headers["etag"]},
        {"If_None_Match": f'"other", W/{first.headers["etag"]}'},
        {"If_None_Match": "*"},
    ):
        again = town.ask(path, **known)
        assert (again.status, again.body, again.headers["etag"]) == (304, b"", first.headers["etag"])
    assert town.ask(path, If_Modified_Since=first.headers["last-modified"]).status == 304
    assert town.ask(path, If_None_Match='"other"', If_Modified_Since=first.headers["last-modified"]).status == 200
    assert town.ask(path, If_Modified_Since="yesterday").status == 200


def test_data_of_a_version_may_be_kept_for_ever(town) -> None:
    """A data file's address holds the version, so it may be kept (RFC 8246: immutable)."""
    base = town.page().removesuffix("index.html")
    assert "immutable" in town.ask(base + "data/words.js").headers["cache-control"]


def test_packed_is_the_same_when_unpacked(town) -> None:
    """Whoever takes gzip gets less, with an ETag of its own, and the same text (RFC 9110, 8.8.3.3)."""
    path = town.page().removesuffix("index.html") + "static/index-2.js"
    plain, packed = town.ask(path), town.ask(path, Accept_Encoding="br;q=1.0, gzip;q=0.8")
    assert packed.headers["content-encoding"] == "gzip"
    assert gzip.decompress(packed.body) == plain.body
    assert len(packed.body) < len(plain.body) / 2
    assert packed.headers["etag"] != plain.headers["etag"]
    assert packed.headers["vary"] == plain.headers["vary"] == "Accept-Encoding"
    assert "content-encoding" not in town.ask(path, Accept_Encoding="gzip;q=0").headers


def test_a_part_is_that_part(town) -> None:
    """Byte ranges of a file (RFC 9110, 14.2): the middle, the end, a stale If-Range, and one past the end."""
    path = town.page().removesuffix("index.html") + "static/index-2.js"
    whole = town.ask(path)
    size = len(whole.body)
    middle = town.ask(path, Range="bytes=100-199", Accept_Encoding="gzip")
    assert (middle.status, middle.headers["content-range"], middle.body) == (206, f"bytes 100-199/{size}", whole.body[100:200])
    assert town.ask(path, Range="bytes=-50").body == whole.body[-50:]
    assert town.ask(path, Range="bytes=0-9", If_Range=whole.headers["etag"]).status == 206
    stale = town.ask(path, Range="bytes=0-9", If_Range='"old"')
    assert (stale.status, stale.body) == (200, whole.body)
    assert town.ask(path, Range=f"bytes={size}-").status == 416


def test_head_says_what_get_would(town) -> None:
    """HEAD has the headers of GET and no body."""
    path = town.page()
    asked, told = town.ask(path), town.ask(path, method="HEAD")
    assert told.body == b""
    assert {**told.headers, "date": ""} == {**asked.headers, "date": ""}


def test_a_sheet_is_that_of_the_command(town) -> None:
    """``/digsheet/ISSUE`` is the sheet that ``sewermap digsheet`` makes, also for a name with a slash, written either way."""
    issue = town.book.defects().loc[0, "issue"]
    sheet = town.book.digsheet(issue, units="m")
    for written in (issue, issue.replace("/", "%2F")):
        answer = town.ask(f"/digsheet/{written}?units=m")
        assert (answer.status, answer.headers["content-type"]) == (200, "text/html; charset=utf-8")
        assert answer.body.decode() == sheet
        assert answer.headers["content-security-policy"].startswith(
            "default-src 'none'; style-src 'unsafe-inline'; img-src data:"
        )
    assert town.ask("/digsheet/no-such-issue").status == 404
    assert town.ask(f"/digsheet/{issue}?units=cubits").status == 400


def test_a_property_page_leads_to_live_sheets(town, browser: Browser, tmp_path: Path) -> None:
    """From the server each open issue of a lateral leads to its sheet as it is now, in the page's unit; a folder's page has no
    such link.
    """
    folder = town.book.site(tmp_path / "site", as_of=today(), dig_sheets=False)[0].parent
    defects = town.book.defects()
    lateral = defects.loc[defects["state"] != "mended", "lateral"].iloc[0]
    issues = defects[(defects["lateral"] == lateral) & (defects["state"] != "mended")]["issue"]
    page = browser.new_page()
    page.goto(f"{town.url}property.html#lateral={lateral}&units=m")
    page.wait_for_selector("body[data-ready=true]")
    links = page.locator("#lists a[href*=digsheet]").evaluate_all("found => found.map((one) => one.href)")
    assert {unquote(link.removeprefix(f"{town.url}digsheet/")) for link in links} == {f"{issue}?units=m" for issue in issues}
    page.goto(links[0])
    assert issues.iloc[0] in page.locator("body").inner_text()
    page.goto(f"{(folder / 'property.html').as_uri()}#lateral={lateral}")
    page.wait_for_selector("body[data-ready=true]")
    assert page.locator("#lists a[href*=digsheet]").count() == 0
    assert "sewermap digsheet" in page.locator("#lists").inner_text()
    page.close()
