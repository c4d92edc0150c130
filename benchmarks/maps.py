"""How a city's map opens, pans and what it weighs, beside stock folium.GeoJson: prints a table, for docs/benchmarks.md.

Run it as ``python benchmarks/maps.py`` (makes and loads a town of 100,000 laterals with 5 observations each, which takes
minutes), with ``--laterals 10000`` for less, or with ``--db town.gpkg`` for a database that is there. Sizes: a hundredth, a
tenth and all of it. Stock folium gets lines and points as GeoJson with a style_function, until a size is not ready in time.

Each page is opened from the disk in a Chromium of its own that has settled (headless, 1280 × 800, no network), in turn, five
times (once where it takes over ten seconds); figures are medians. *Ready* is when all that the view shows is drawn, *first
drawing* the browser's first contentful paint; both from the start of navigation. *Pan* is the time between frames while the
map is moved by 12 pixels a frame, over the whole city and among houses (zoom 18); at 60 Hz 16.7 ms is the floor. Heap:
JavaScript's with its arrays, after a garbage collection. A map that failed to load is ready as well: so pixels that are not
background are counted in screenshots, before and after panning, and the run fails where there are too few. Ours is the town
map of the whole site, filters and list working. Data: all that it reads for ours, the page for stock.
"""

import argparse
import base64
import contextlib
import multiprocessing
import os
import shutil
import signal
import statistics
import tempfile
import time
from collections.abc import Callable
from datetime import date
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

import sqlalchemy as sa
from map_pages import a_house, ours, part_of, stock
from playwright.sync_api import Page, Playwright, sync_playwright
from playwright.sync_api import TimeoutError as OutOfTime

import sample_gis
import sewermap
from sewermap.answers.site_frames import COMPUTED, RECORDED, site_frames
from sewermap.store import bulk, recorded
from sewermap.store import tables as schema
from sewermap.store.session import Store
from sewermap.web.build_site import build_site
from sewermap.web.site_tables import SiteTables, site_tables

AS_OF = date(2026, 1, 31)
LIMIT_S, PATIENCE_S, FRAMES, FEWEST_PIXELS = 120, 60, 90, 2_000
REPEATS, LONG_MS, SETTLED_MS = 5, 10_000, 2_500
CHROMIUM = ["--headless", "--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking"]
WATCH = """(() => {
    const stands = (name) => document.body?.dataset[name] === "true";
    window.isReady ??= () => stands("ready") && stands("listed") && sewermap.tiles.quiet();
    const look = () => { if (window.isReady()) window.readyAt = performance.now(); else requestAnimationFrame(look); };
    requestAnimationFrame(look); })();"""
PAN = """async ([frames, place]) => {
    const town = window.map_town;
    if (place) town.setView(place, 18, { animate: false });
    await new Promise((done) => { const wait = () => (window.isReady() ? done() : requestAnimationFrame(wait)); wait(); });
    const times = [], start = performance.now(); let last = null;
    for (let i = 0; i < frames; i += 1) {
        const now = await new Promise(requestAnimationFrame);
        if (last !== null) times.push(now - last);
        last = now;
        if (now - start > 10000) break;
        town.panBy([i < frames / 2 ? 12 : -12, 4], { animate: false });
    }
    return times; }"""
FIRST = """async () => {
    await new Promise((done) => setTimeout(done, 200));
    return performance.getEntriesByName("first-contentful-paint")[0]?.startTime ?? window.readyAt; }"""
COUNT = """async (png) => {
    const image = new Image(); image.src = `data:image/png;base64,${png}`; await image.decode();
    const canvas = document.createElement("canvas"); canvas.width = image.width; canvas.height = image.height;
    const context = canvas.getContext("2d"); context.drawImage(image, 0, 0);
    const data = context.getImageData(0, 0, canvas.width, canvas.height).data, counts = new Map();
    for (let i = 0; i < data.length; i += 4) {
        const key = (data[i] << 16) | (data[i + 1] << 8) | data[i + 2];
        counts.set(key, (counts.get(key) || 0) + 1);
    }
    return canvas.width * canvas.height - Math.max(...counts.values()); }"""


def made_town(folder: Path, laterals: int) -> Path:
    """A loaded database of an invented city."""
    sample_gis.write_big(folder, laterals, laterals * 22 // 10, laterals * 5)
    book = sewermap.create(folder / "town.gpkg", "EPSG:26910")
    book.load(folder / "SOURCES.toml")
    return folder / "town.gpkg"


def read_all(store: Store) -> None:
    """What building a site cannot do without: all its tables out of the database, every column."""
    with store.reading() as conn:
        for name in (*COMPUTED, "laterals", "lateral_states"):
            bulk.read(conn, sa.select(getattr(schema, name)))
        for name in RECORDED:
            recorded.current(conn, getattr(schema, name))


def seconds(job: Callable[[], Any]) -> tuple[float, Any]:
    """How long a job takes, and what it gives."""
    start = time.perf_counter()
    given = job()
    return time.perf_counter() - start, given


def built(store: Store, folder: Path) -> SiteTables:
    """The whole way from the database to the site: its map, lists, street and property pages."""
    tables = site_tables(site_frames(store, AS_OF), crs=store.crs, title="Ottermarsh Quay", as_of=AS_OF)
    build_site(tables, folder)
    return tables


def of_map(folder: Path) -> list[Path]:
    """The data files that the town map reads, at once or when it needs them."""
    others = ("street-*.js", "streets.js", "due.js", "repeats.js", "quality.js", "changes.js", "files.txt")
    every = [file for file in (folder / "data").iterdir() if file.is_file()]
    return [file for file in every if not any(file.match(other) for other in others)]


def pixels(page: Page, counter: Page) -> int:
    """Pixels of a screenshot that are not of its commonest colour."""
    picture = base64.b64encode(page.screenshot(timeout=LIMIT_S * 1000)).decode("ascii")
    return int(counter.evaluate(COUNT, picture))


def measured(playwright: Playwright, folder: Path, house: list[float]) -> dict[str, float] | None:
    """Open a page and measure it, among houses at ``house``; None where it is not ready in time.

    Raises RuntimeError where it draws nothing.
    """
    # A browser of its own for each page: one that is still busy cannot close a page, but it can be ended.
    browser = playwright.chromium.launch(executable_path=shutil.which("chromium"), args=CHROMIUM)
    context = browser.new_context(viewport={"width": 1280, "height": 800}, bypass_csp=True)  # waiting needs eval
    context.set_offline(True)  # not by a route: asking us about each file would slow pages of many
    try:
        page, counter = context.new_page(), context.new_page()
        page.add_init_script(WATCH)
        page.bring_to_front()
        page.wait_for_timeout(SETTLED_MS)
        page.goto((folder / "index.html").as_uri(), wait_until="commit", timeout=LIMIT_S * 1000)
        page.wait_for_function("window.readyAt", timeout=LIMIT_S * 1000)
        times = {"ready": page.evaluate("readyAt"), "first": page.evaluate(FIRST)}
        drawn = [pixels(page, counter)]
        for name, place in (("city pan", None), ("street pan", house)):
            frames = sorted(page.evaluate(PAN, [FRAMES, place]))
            times |= {f"{name} p50": statistics.median(frames), f"{name} p95": frames[int(0.95 * len(frames))]}
            drawn.append(pixels(page, counter))
        if min(drawn) < FEWEST_PIXELS:
            raise RuntimeError(f"{folder.name} draws next to nothing: {drawn} pixels")
        session = context.new_cdp_session(page)
        session.send("HeapProfiler.collectGarbage")
        heap = session.send("Runtime.getHeapUsage")
        return times | {"heap": (heap["usedSize"] + heap.get("backingStorageSize", 0)) / 1e6, "pixels": min(drawn)}
    except OutOfTime:
        return None
    finally:
        browser.close()


def in_time(folder: Path, house: list[float]) -> dict[str, float] | None:
    """``measured`` in a process of its own: a page that is too much for the browser answers nobody, but it can be ended."""
    context = multiprocessing.get_context("spawn")
    mine, theirs = context.Pipe(duplex=False)
    process = context.Process(target=_measure, args=(folder, house, theirs))
    process.start()
    theirs.close()
    try:
        if not mine.poll(LIMIT_S + PATIENCE_S):
            return None
        found: dict[str, float] | RuntimeError | None = mine.recv()
    finally:
        with contextlib.suppress(ProcessLookupError):
            os.killpg(process.pid or 0, signal.SIGKILL)
        process.join()
    if isinstance(found, RuntimeError):
        raise found
    return found


def _measure(folder: Path, house: list[float], answer: Connection) -> None:
    os.setsid()  # so that the browser ends with this process
    with sync_playwright() as playwright:
        try:
            answer.send(measured(playwright, folder, house))
        except RuntimeError as error:
            answer.send(error)


def medians(folder: Path, house: list[float]) -> dict[str, float] | None:
    """The medians of some openings; None where one is not ready in time."""
    found: list[dict[str, float]] = []
    while len(found) < REPEATS:
        one = in_time(folder, house)
        if one is None:
            return None
        found.append(one)
        if one["ready"] > LONG_MS:
            break
    return {name: statistics.median(one[name] for one in found) for name in found[0]}


def told(way: str, count: int, kilobytes: float, found: dict[str, float] | None) -> str:
    """A line of the table."""
    if found is None:
        return f"| {way} | {count:,} | not within {LIMIT_S} s | | | | | {kilobytes:,.0f} |"
    pans = " | ".join(f"{found[f'{name} pan p50']:.0f} / {found[f'{name} pan p95']:.0f}" for name in ("city", "street"))
    return (
        f"| {way} | {count:,} | {found['first']:,.0f} | {found['ready']:,.0f} | {pans} | {found['heap']:.1f} | {kilobytes:,.0f} |"
    )


def compare(tables: SiteTables, sizes: list[int]) -> None:
    """Open both maps at each size and print the table."""
    pan = "pan p50 / p95 ms"
    print(f"| way | laterals | first drawing ms | ready ms | city {pan} | street {pan} | JS heap MB | data kB |")
    print("| --- " * 8 + "|")
    gone_too_far = set()
    with tempfile.TemporaryDirectory() as place:
        for count in sizes:
            part = part_of(tables, count)
            house = a_house(part)
            for way, make in (("stock folium.GeoJson", stock), ("ours", ours)):
                if way in gone_too_far:
                    continue
                folder = Path(place) / f"{make.__name__}-{count}"
                make(part, folder)
                data = of_map(folder) if make is ours else [folder / "index.html"]
                size = sum(file.stat().st_size for file in data) / 1000
                found = medians(folder, house)
                print(told(way, count, size, found), flush=True)
                if found is None:
                    gone_too_far.add(way)


def main() -> None:
    """Make or open the town, time reading and building, and compare the maps."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--laterals", type=int, default=100_000)
    parser.add_argument("--db", type=Path)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        store = sewermap.open(asked.db or made_town(folder / "town", asked.laterals), read_only=True).store
        reading = min(seconds(lambda: read_all(store))[0] for _ in range(2))
        building, tables = seconds(lambda: built(store, folder / "site"))
        laterals, files = len(tables.laterals), of_map(folder / "site")
        size = sum(file.stat().st_size for file in files)
        whole = sum(file.stat().st_size for file in (folder / "site").rglob("*") if file.is_file())
        print(f"{laterals:,} laterals, {len(tables.placed_observations):,} observations, {len(tables.issues):,} issues")
        print(f"bytes per lateral with its observations: {size / laterals:.0f} (in {len(files)} files)")
        print(f"bytes per lateral of the whole site, street and property pages with it: {whole / laterals:.0f}")
        print(f"reading the tables {reading:.1f} s, building from the database {building:.1f} s: {building / reading:.1f} times")
        compare(tables, sorted({max(laterals // 100, 1), max(laterals // 10, 1), laterals}))


if __name__ == "__main__":
    main()
