"""An invented town in mid-ocean, its map built into a folder, and Debian's Chromium that may open nothing but files."""

import shutil
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from playwright.sync_api import Browser, Page, Route, sync_playwright

from sewermap.web.site import TownTables, build

METRES = "+proj=tmerc +lat_0=40 +lon_0=-40 +k=1 +x_0=1000 +y_0=1000 +ellps=WGS84 +units=m"
FEET = "+proj=tmerc +lat_0=40 +lon_0=-40 +k=1 +x_0=1000 +y_0=1000 +ellps=WGS84 +units=ft"
CHROMIUM_ARGS = [
    *("--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run"),
    *("--disable-background-networking", "--disable-component-update", "--disable-sync"),
]
HOUSES = 6
PLOT_M = 18.0

OBSERVATIONS = pd.DataFrame(
    [
        # house, measure, kind, role, grade, sigma, reason
        (0, 3.0, "roots", "defect", 4, 0.4, None),
        (0, 9.0, "crack", "defect", 2, 0.5, None),
        (0, 12.0, "building", "feature", None, 0.3, "at end"),
        (1, 4.0, "roots", "defect", 5, 0.3, None),
        (1, 8.0, "offset joint", "defect", 3, 0.9, None),
        (2, 2.0, "grease", "defect", 1, 0.4, None),
        (2, 6.0, "clean-out", "feature", None, 0.1, None),
        (3, 5.0, "cross-bore", "defect", 5, 0.4, None),
        (4, 7.0, "under water", "look", None, 0.6, None),
        (4, 7.2, "sag", "defect", None, 0.6, None),
        (5, None, "roots", "defect", 3, None, "past the end of the line by 4.2 m"),
        (5, None, "property line", "feature", None, None, "the map has no line for this lateral"),
    ],
    columns=["house", "measure_m", "kind", "role", "grade", "sigma_m", "reason"],
)


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


def _frame(crs: str, geometries: list[Any], **columns: Any) -> gpd.GeoDataFrame:
    frame = gpd.GeoDataFrame(columns, geometry=geometries, crs=METRES)
    return frame.to_crs(crs)


def _observations(crs: str) -> gpd.GeoDataFrame:
    table = OBSERVATIONS.copy()
    house, measure = table["house"].to_numpy(), table["measure_m"].to_numpy(np.float64)
    points = shapely.points(1009 + PLOT_M * house, 1000 + np.nan_to_num(measure))
    table["geometry"] = np.where(np.isnan(measure), None, points)
    number = table.index.to_numpy() + 1
    table["lateral"] = pd.Series(house).map("L-{}".format)
    table["address"] = pd.Series(house * 2 + 2).map("{} Alder Lane".format)
    table["street"] = "Alder Lane"
    table["run"] = pd.Series(house).map("R-{}".format)
    table["ran_on"] = pd.to_datetime("2025-03-04")
    table["reading"] = pd.Series(np.round(50 - np.nan_to_num(measure) / 0.3048, 1)).astype("str")
    table.loc[0, "reading"] = "44' 6\""
    table["unit"] = "ft"
    table["grade"] = table["grade"].astype("float64")
    table["within_m"] = table["sigma_m"].astype("float64") * 2.0
    table["side"] = np.where(np.isnan(measure), None, np.where(measure > 6, "private", "public"))
    table["side_probability"] = np.where(np.isnan(measure), np.nan, np.where(measure > 6, 0.98, 0.03))
    table["accuracy_assumed"] = house < 3
    table["remark"] = "seen well"
    table["source_file"] = "logs/runs-2025.csv"
    table["source_row"] = number + 1
    frame = gpd.GeoDataFrame(table.drop(columns="house"), geometry="geometry", crs=METRES)
    return frame.to_crs(crs)


def _tables(crs: str = METRES, units: str = "ft") -> TownTables:
    number = np.arange(HOUSES)
    west = 1000 + PLOT_M * number
    lines = [shapely.LineString([(x + 9, 1000), (x + 9, 1012)]) for x in west]
    return TownTables(
        laterals=_frame(
            crs,
            lines,
            lateral=[f"L-{i}" for i in number],
            address=[f"{2 * i + 2} Alder Lane" for i in number],
            street=["Alder Lane"] * HOUSES,
            length_m=[12.0] * HOUSES,
            material=["clay"] * HOUSES,
            diameter=["4 in"] * HOUSES,
            map_accuracy_m=[0.3] * HOUSES,
            accuracy_assumed=[True] * HOUSES,
        ),
        placed_observations=_observations(crs),
        parcels=_frame(crs, [shapely.box(x, 1005, x + PLOT_M, 1035) for x in west], property=[f"P-{i}" for i in number]),
        streets=_frame(crs, [shapely.LineString([(980, 1000), (1130, 1000)])], street=["Alder Lane"]),
        mains=_frame(crs, [shapely.MultiLineString([[(980, 999), (1050, 999)], [(1050, 999), (1130, 999)]])], main=["M-1"]),
        buildings=_frame(crs, [shapely.box(x + 4, 1012, x + 14, 1022) for x in west], building=[f"B-{i}" for i in number]),
        title="Fernhollow",
        units=units,
    )


@pytest.fixture(scope="module")
def town_tables() -> Callable[..., TownTables]:
    """Makes the invented town's tables: ``town_tables(feet=False, units="ft", **layers to replace)``."""

    def make(*, feet: bool = False, units: str = "ft", **layers: Any) -> TownTables:
        return replace(_tables(FEET if feet else METRES, units), **layers)

    return make


@pytest.fixture(scope="module")
def site(town_tables: Callable[..., TownTables], tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The invented town's map as a folder."""
    folder = tmp_path_factory.mktemp("site")
    build(town_tables(), folder)
    return folder


@pytest.fixture(scope="session")
def chromium() -> Iterator[Browser]:
    """Debian's Chromium; without it the tests fail and say which package is missing."""
    program = shutil.which("chromium")
    if program is None:
        pytest.fail("the tests of the pages need the Debian package chromium")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=program, args=CHROMIUM_ARGS)
        yield browser
        browser.close()


@pytest.fixture
def open_page(chromium: Browser) -> Iterator[Callable[..., Visit]]:
    """Opens a folder's index.html: ``open_page(folder, width=1280, height=800)``. Only files of the disk are let through."""
    contexts = []

    def visit(folder: Path, width: int = 1280, height: int = 800, **options: Any) -> Visit:
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
        visit.page.goto((folder / "index.html").as_uri())
        return visit

    yield visit
    for context in contexts:
        context.close()
