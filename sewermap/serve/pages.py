"""The site's files as answers: every page with the files of its own version of the data, whatever was loaded since."""

from __future__ import annotations

import html
import re
from email.utils import formatdate, parsedate_to_datetime
from pathlib import Path
from typing import TYPE_CHECKING

from starlette.concurrency import run_in_threadpool
from starlette.responses import FileResponse, PlainTextResponse, RedirectResponse, Response

if TYPE_CHECKING:
    from starlette.requests import Request

    from sewermap.serve.site_keeper import Built, SiteKeeper

TYPES = {
    ".html": "text/html; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".css": "text/css; charset=utf-8",
    ".md": "text/plain; charset=utf-8",
    ".txt": "text/plain; charset=utf-8",
    ".png": "image/png",
    ".jpg": "image/jpeg",
    ".gif": "image/gif",
    ".webp": "image/webp",
    ".svg": "image/svg+xml",
    ".mp4": "video/mp4",
    ".webm": "video/webm",
}
"""By suffix, said by us: what the machine's own lists say differs, and with ``nosniff`` a wrong one shows nothing."""

FOR_EVER = "private, max-age=31536000, immutable"
"""For files whose address holds the data's version: they never change."""

_POLICY = re.compile(r'<meta http-equiv="Content-Security-Policy" content="([^"]*)"')
_HEAD = 4096
_VERSION = re.compile(r"[0-9a-f]{16}-\d{8}")


class Pages:
    """Answers for the files of the kept sites."""

    def __init__(self, keeper: SiteKeeper) -> None:
        self._keeper = keeper

    async def enter(self, request: Request) -> Response:
        """Lead from ``/`` or ``/due.html`` to that page of the newest version; a browser keeps what stands after ``#``."""
        name = request.path_params.get("page", "index.html")
        site = await run_in_threadpool(self._keeper.newest)
        return _led_to(request, site, name) if name in site.names else _unknown()

    async def file(self, request: Request) -> Response:
        """One file of a version. A page of an old version leads to the newest; the data it reads stays that of its version."""
        version, name = request.path_params["version"], request.path_params["name"]
        # A page is where one comes in, so only there is the data looked after.
        newest = await run_in_threadpool(self._keeper.newest)
        if name.endswith(".html") and version != newest.version and name in newest.names:
            return _led_to(request, newest, name)
        site = self._keeper.of(version)
        if site is None and _VERSION.fullmatch(version):
            return PlainTextResponse("the data has changed since this page was opened: open it again\n", 410)
        # Only what the build named is a file: no path leads anywhere else, however it is written.
        if site is None or name not in site.names:
            return _unknown()
        return await run_in_threadpool(_answer, request, site, name)


def _answer(request: Request, site: Built, name: str) -> Response:
    plain = site.folder / name
    wants_part = "range" in request.headers
    packed = None if wants_part or not takes_gzip(request) else site.packed(name)
    mark = f'"{site.mark(name)}{"-gz" if packed else ""}"'
    headers = {
        "ETag": mark,
        "Last-Modified": formatdate(int(site.made_at), usegmt=True),
        "Cache-Control": "no-cache" if name.endswith(".html") else FOR_EVER,
        "Vary": "Accept-Encoding",
    }
    if name.endswith(".html"):
        headers["Content-Security-Policy"] = policy_of(plain.read_text(encoding="utf-8")[:_HEAD])
    if is_known(request, mark, site.made_at):
        return Response(status_code=304, headers=headers)
    if packed:
        headers["Content-Encoding"] = "gzip"
        headers["Accept-Ranges"] = "none"
    return FileResponse(packed or plain, headers=headers, media_type=TYPES.get(Path(name).suffix, "application/octet-stream"))


def policy_of(head: str) -> str:
    """The policy that a page states of itself, as a header, which also forbids others to show it in a frame."""
    found = _POLICY.search(head)
    own = html.unescape(found[1]) if found else "default-src 'none'"
    return f"{own}; frame-ancestors 'none'"


def is_known(request: Request, mark: str, changed_at: float | None = None) -> bool:
    """Whether the asker has this content already, by its ETag or else by its time (RFC 9110, section 13.2.2)."""
    asked = request.headers.get("if-none-match")
    if asked is not None:
        # The comparison is the weak one (section 8.8.3.2).
        return asked.strip() == "*" or mark.removeprefix("W/") in {tag.strip().removeprefix("W/") for tag in asked.split(",")}
    since = request.headers.get("if-modified-since")
    if since is None or changed_at is None:
        return False
    try:
        return parsedate_to_datetime(since).timestamp() >= int(changed_at)
    except ValueError:
        return False


def takes_gzip(request: Request) -> bool:
    """Whether the asker takes gzip (RFC 9110, section 12.5.3)."""
    offers = [part.replace(" ", "").lower().split(";q=") for part in request.headers.get("accept-encoding", "").split(",")]
    weights = {offer[0]: offer[1] if len(offer) > 1 else "1" for offer in offers}
    return weights.get("gzip", "0").strip("0.") != ""


def _led_to(request: Request, site: Built, name: str) -> Response:
    root = request.scope.get("root_path", "")
    return RedirectResponse(f"{root}/v/{site.version}/{name}", 307, {"Cache-Control": "no-store"})


def _unknown() -> Response:
    return PlainTextResponse("there is no such page\n", 404)
