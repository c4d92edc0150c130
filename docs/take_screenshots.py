"""Take the pictures of docs/screenshots: every page of the demo on a desk, on a phone and on paper.

Run it from the top of the source tree: ``python docs/take_screenshots.py [FOLDER]``. It needs the packages of the extra ``test``,
Debian's ``chromium`` and, for the pictures of paper, ``pdftoppm`` (``poppler-utils``). Nothing but the pages' own files is read.
"""

import io
import shutil
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import quote

from PIL import Image
from playwright.sync_api import Browser, Page, sync_playwright

from sewermap.book import open_book
from sewermap.cautions import CROSS_BORE
from sewermap.demo import make_demo

OUT = Path(__file__).parent / "screenshots"
DESK = {"width": 1280, "height": 800}
PHONE = {"width": 360, "height": 740}
COLOURS = 128
DOTS_PER_INCH = 60
STANDS = """document.body.dataset.ready === 'true' || document.querySelector('table.rows, main .none') !== null"""
TOWN_STANDS = "document.body.dataset.listed === 'true' && sewermap.tiles.quiet()"
WAIT_MS, TRIES = 100, 150


@dataclass(frozen=True)
class Shot:
    """One picture's name, and what is opened for it."""

    name: str
    file: Path
    link: str = ""

    @property
    def url(self) -> str:
        """The address on the disk."""
        return self.file.as_uri() + self.link


def main(out: Path) -> None:
    """Make the demo, build its sites, take all pictures."""
    program = shutil.which("chromium")
    if program is None:
        sys.exit("the pictures need the Debian package chromium")
    out.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        shots = _shots(Path(folder))
        browser = playwright.chromium.launch(executable_path=program, args=["--headless", "--no-sandbox", "--disable-gpu"])
        for shot in shots:
            print(shot.name, flush=True)
            _take(browser, shot, out)
        browser.close()
    total = sum(path.stat().st_size for path in out.glob("*.png"))
    print(f"{len(list(out.glob('*.png')))} pictures, {total / 1e6:.2f} MB in {out}")


def _shots(folder: Path) -> list[Shot]:
    """The demo's pages, with names that have much to show."""
    demo = make_demo(folder, print)
    book = open_book(demo.database, read_only=True)
    book.site(folder / "public", as_of=demo.day, title=demo.town, public=True)
    issues = book.answer("defects")
    most = quote(str(issues["lateral"].value_counts().idxmax()))
    bore = issues.loc[issues["kind"] == CROSS_BORE, "lateral"]
    site = demo.page.parent
    shots = [
        Shot("town", site / "index.html"),
        Shot("street", site / "street.html", f"#street={quote(demo.street)}"),
        Shot("property", site / "property.html", f"#lateral={most}"),
        Shot("due", site / "due.html"),
        Shot("repeats", site / "repeats.html"),
        Shot("changes", site / "changes.html", f"#since={demo.day.year - 1}-01-01"),
        Shot("quality", site / "quality.html"),
        Shot("public", folder / "public" / "index.html"),
    ]
    if len(bore):
        shots.append(Shot("cross-bore", site / "property.html", f"#lateral={quote(str(bore.iloc[0]))}"))
    return shots


def _take(browser: Browser, shot: Shot, out: Path) -> None:
    """A desk, a phone, and the first sheet of paper."""
    for device, size in (("desk", DESK), ("phone", PHONE)):
        context = browser.new_context(viewport=size, is_mobile=size is PHONE, has_touch=size is PHONE)
        page = context.new_page()
        page.goto(shot.url)
        _wait(page, shot)
        _save(page.screenshot(), out / f"{shot.name}-{device}.png")
        if size is DESK and shutil.which("pdftoppm"):
            _save(_first_sheet(page), out / f"{shot.name}-paper.png")
        context.close()


def _wait(page: Page, shot: Shot) -> None:
    stands = TOWN_STANDS if shot.name == "town" else STANDS
    for _ in range(TRIES):
        if page.evaluate(stands):
            page.wait_for_timeout(3 * WAIT_MS)
            return
        page.wait_for_timeout(WAIT_MS)
    sys.exit(f"{shot.url} does not stand after {TRIES * WAIT_MS / 1000:.0f} seconds")


def _first_sheet(page: Page) -> bytes:
    """The first page of what is printed, as PNG."""
    page.emulate_media(media="print")
    page.wait_for_timeout(5 * WAIT_MS)
    pdf = page.pdf(format="A4", print_background=True, margin=dict.fromkeys(("top", "right", "bottom", "left"), "12mm"))
    command = ["pdftoppm", "-r", str(DOTS_PER_INCH), "-png", "-f", "1", "-l", "1", "-singlefile", "-"]
    return subprocess.run(command, input=pdf, check=True, capture_output=True).stdout  # noqa: S603 - our own words


def _save(png: bytes, path: Path) -> None:
    """A picture of few colours takes a third of the room."""
    picture = (
        Image.open(io.BytesIO(png)).convert("RGB").quantize(COLOURS, method=Image.Quantize.MEDIANCUT, dither=Image.Dither.NONE)
    )
    picture.save(path, optimize=True)


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else OUT)
