"""A page made for print into a PDF, by whichever browser of the Chromium family this machine has."""

import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

from sewermap.errors import SewermapError

BROWSERS = (
    "chromium", "chromium-browser", "google-chrome", "google-chrome-stable", "chrome", "microsoft-edge", "microsoft-edge-stable",
    "msedge", "brave-browser", "vivaldi",
)  # fmt: skip
"""Names under which browsers that print without a window are found on the path."""

OFF_THE_PATH = {
    "darwin": (
        "/Applications/Google Chrome.app/Contents/MacOS/Google Chrome",
        "/Applications/Chromium.app/Contents/MacOS/Chromium",
        "/Applications/Microsoft Edge.app/Contents/MacOS/Microsoft Edge",
    ),
    "win32": (
        r"C:\Program Files\Google\Chrome\Application\chrome.exe",
        r"C:\Program Files (x86)\Google\Chrome\Application\chrome.exe",
        r"C:\Program Files (x86)\Microsoft\Edge\Application\msedge.exe",
        r"C:\Program Files\Microsoft\Edge\Application\msedge.exe",
    ),
}
"""Where installers put them on systems whose path does not name them."""

PATIENCE_S = 90.0
INSTEAD = "write the page as .html, open it in any browser and print it from there"

FLAGS = (
    "--headless", "--disable-gpu", "--no-first-run", "--no-default-browser-check", "--disable-extensions", "--disable-sync",
    "--disable-background-networking", "--disable-component-update", "--disable-quic", "--no-pdf-header-footer",
    # The page brings all it needs: no name is ever looked up.
    "--host-resolver-rules=MAP * ~NOTFOUND",
)  # fmt: skip


def find_browser() -> str | None:
    """The program of a Chromium-like browser on this machine; None where there is none."""
    return next(_browsers(), None)


def print_pdf(html: str, out: Path, *, patience_s: float = PATIENCE_S) -> None:
    """Print a page, whose own ``@page`` rules say the paper, into the file ``out``, which is replaced as a whole.

    Raises SewermapError where there is no browser, where it does not come to an end, or where the file cannot be written.
    """
    browser = find_browser()
    if browser is None:
        raise SewermapError(f"a PDF needs a browser of the Chromium family, and none was found on this machine: {INSTEAD}")
    if not out.parent.is_dir():
        raise SewermapError(f"there is no folder '{out.parent}' to write '{out.name}' to; make it first")
    with tempfile.TemporaryDirectory(prefix="sewermap-print-", ignore_cleanup_errors=True) as folder:
        page, part = Path(folder) / "page.html", Path(folder) / "page.pdf"
        page.write_text(html, encoding="utf-8")
        said = _run(browser, page, part, Path(folder) / "profile", patience_s)
        if not part.is_file() or not part.read_bytes().startswith(b"%PDF"):
            raise SewermapError(f"the browser {browser} made no PDF ({said or 'it said nothing'}): {INSTEAD}")
        try:
            # Into the target's own folder first: a file that is half written must never stand under the name.
            beside = out.with_name(f".{out.name}.part")
            shutil.copyfile(part, beside)
            beside.replace(out)
        except OSError as error:
            raise SewermapError(f"'{out}' cannot be written: {error.strerror or error}") from error


def _browsers() -> Iterator[str]:
    yield from filter(None, map(shutil.which, BROWSERS))
    yield from (path for path in OFF_THE_PATH.get(sys.platform, ()) if Path(path).is_file())


def _run(browser: str, page: Path, part: Path, profile: Path, patience_s: float) -> str:
    """Run the browser without a window; returns the last thing it said."""
    as_root = hasattr(os, "geteuid") and os.geteuid() == 0
    command = [
        browser,
        *FLAGS,
        # The browser refuses its sandbox to root; the page is ours and holds no script.
        *(["--no-sandbox"] if as_root else []),
        f"--user-data-dir={profile}",
        f"--print-to-pdf={part}",
        page.as_uri(),
    ]
    try:
        done = subprocess.run(command, capture_output=True, timeout=patience_s, check=False)  # noqa: S603 - found by us
    except subprocess.TimeoutExpired as error:
        raise SewermapError(f"the browser {browser} did not print within {patience_s:.0f} s: {INSTEAD}") from error
    except OSError as error:
        raise SewermapError(f"the browser {browser} cannot be started ({error.strerror or error}): {INSTEAD}") from error
    lines = done.stderr.decode(errors="replace").strip().splitlines()
    return lines[-1] if lines else ""
