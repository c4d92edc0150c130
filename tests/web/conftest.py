"""An invented town in mid-ocean, its map built into a folder, and Debian's Chromium that may open nothing but files."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from datetime import date
from pathlib import Path
from typing import Any
from urllib.parse import quote

import pytest
from playwright.sync_api import Browser, Page, Route

from etl.plan import read_plan
from sample_gis import plan_names
from sewermap.answers.site_frames import site_frames
from sewermap.book import Book, create_book
from sewermap.demo import copy_town
from sewermap.web.build_site import build_site
from sewermap.web.site_index import SiteIndex, site_index
from sewermap.web.site_tables import SiteTables, site_tables


@dataclass
class Visit:
    """A page that was opened, and all it asked for or complained about."""

    page: Page
    requests: list[str] = field(default_factory=list)
    failed: list[str] = field(default_factory=list)
    messages: list[str] = field(default_factory=list)

    def until(self, script: str) -> None:
        """Wait until a script says true: Playwright's own waiting needs eval, which the page's policy forbids."""
        for _ in range(60):
            if self.page.evaluate(script):
                return
            self.page.wait_for_timeout(50)
        pytest.fail(f"after three seconds still not true: {script}")

    def at_rest(self) -> None:
        """Wait until the town map stands, and its list with it."""
        settled = "document.body.dataset.ready === 'true' && sewermap.tiles.quiet() && document.body.dataset.listed === 'true'"
        for _ in range(300):
            if self.page.evaluate(settled):
                return
            self.page.wait_for_timeout(50)
        pytest.fail("after fifteen seconds the town map does not stand")

    def drawn(self, pane: str) -> int:
        """Count the pixels of a pane's canvases that are not see-through."""
        script = """(pane) => [...document.querySelectorAll(`${pane} canvas`)].reduce((sum, canvas) => {
            const data = canvas.getContext("2d").getImageData(0, 0, canvas.width, canvas.height).data;
            for (let i = 3; i < data.length; i += 4) sum += data[i] > 0;
            return sum;
        }, 0)"""
        return int(self.page.evaluate(script, pane))

    def colours(self, pane: str) -> int:
        """Count the different colours that a pane's canvases show."""
        script = """(pane) => { const all = new Set();
            for (const canvas of document.querySelectorAll(`${pane} canvas`)) {
                const data = canvas.getContext("2d").getImageData(0, 0, canvas.width, canvas.height).data;
                for (let i = 0; i < data.length; i += 4) all.add(`${data[i]},${data[i + 1]},${data[i + 2]}`);
            }
            return all.size; }"""
        return int(self.page.evaluate(script, pane))


@pytest.fixture
def open_page(chromium: Browser) -> Iterator[Callable[..., Visit]]:
    """Opens a folder's index.html: ``open_page(folder, width=1280, height=800)``. Only files of the disk are let through."""
    contexts = []

    def visit(
        folder: Path, width: int = 1280, height: int = 800, link: str = "", *, name: str = "index.html", **options: Any
    ) -> Visit:
        context = chromium.new_context(viewport={"width": width, "height": height}, **options)
        contexts.append(context)
        visit = Visit(context.new_page())

        def gate(route: Route) -> None:
            if route.request.url.startswith("file://"):
                route.continue_()
            else:
                route.abort()

        context.route("**/*", gate)
        visit.page.on("request", lambda request: visit.requests.append(request.url))
        visit.page.on("requestfailed", lambda request: visit.failed.append(request.url))
        visit.page.on("console", lambda message: visit.messages.append(message.text))
        visit.page.on("pageerror", lambda error: visit.messages.append(str(error)))
        visit.page.goto((folder / name).as_uri() + link)
        return visit

    yield visit
    for context in contexts:
        context.close()


@dataclass(frozen=True)
class SampleTown:
    """The invented town of sample_gis: its database, the tables of its site, their numbering, and the site as a folder."""

    book: Book
    tables: SiteTables
    index: SiteIndex
    folder: Path


@pytest.fixture(scope="session")
def sample_town(tmp_path_factory: pytest.TempPathFactory) -> SampleTown:
    """The invented town, loaded and built once for all tests; nobody writes to it."""
    place = tmp_path_factory.mktemp("sample-town")
    copy_town(place)
    plans = [place / name for name in plan_names()]
    book = create_book(place / "town.gpkg", str(read_plan(plans[0]).crs))
    for plan in plans:
        book.load(plan)
    as_of = date(2026, 1, 31)
    tables = site_tables(site_frames(book.store, as_of), crs=book.store.crs, title="Ottermarsh Quay", as_of=as_of)
    build_site(tables, place / "site")
    return SampleTown(book, tables, site_index(tables), place / "site")


@pytest.fixture
def open_town(open_page: Callable[..., Visit], sample_town: SampleTown) -> Iterator[Callable[..., Visit]]:
    """Opens the sample town's map: ``open_town("#grade=4", width=…)``. Afterwards no page may have failed or complained."""
    visits = []

    def opened(link: str = "", folder: Path | None = None, **options: Any) -> Visit:
        visit = open_page(folder or sample_town.folder, link=link, **options)
        visits.append(visit)
        visit.at_rest()
        return visit

    yield opened
    for visit in visits:
        assert visit.failed == []
        assert visit.messages == []


@pytest.fixture(scope="session")
def public_folder(sample_town: SampleTown, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The invented town's public site."""
    folder = tmp_path_factory.mktemp("public")
    build_site(replace(sample_town.tables, public=True), folder)
    return folder


@pytest.fixture(scope="session")
def town_names(sample_town: SampleTown) -> dict[str, str]:
    """Names for links to pages that have much to show: the lateral with most issues, one with a cross-bore, its street."""
    issues = sample_town.tables.issues
    bore = issues.loc[issues["kind"] == "cross-bore", "lateral"].iloc[0]
    most = issues["lateral"].value_counts().idxmax()
    return {"lateral": str(most), "bore": str(bore), "street": quote(str(issues["street"].iloc[0]))}
