"""The whole server as one ASGI application: which address leads where."""

from __future__ import annotations

from contextlib import asynccontextmanager
from typing import TYPE_CHECKING, Any

from starlette.applications import Starlette
from starlette.routing import Route

from sewermap.answers.warranties_on import today
from sewermap.serve.guard import Guard, is_loopback, names_of
from sewermap.serve.live import Live
from sewermap.serve.ogc import ogc_routes
from sewermap.serve.pages import Pages
from sewermap.serve.site_keeper import SiteKeeper
from sewermap.store.data_version import data_version

if TYPE_CHECKING:
    from collections.abc import AsyncIterator, Callable, Collection
    from pathlib import Path

    from starlette.types import ASGIApp

    from sewermap.book import Book


def application(
    book: Book, *, host: str, names: Collection[str] = (), complain: Callable[[str], None], **about: Any
) -> tuple[ASGIApp, SiteKeeper]:
    """The application, and the keeper of its sites, whose ``close`` must be called at the end (its shutdown does so too).

    ``host`` is the address it will be bound to, ``names`` what else it is called by; ``about`` goes to ``Book.site``.
    The first site is built here. Raises SewermapError.
    """

    def version() -> str:
        # Checks and what is due are told as of today: a new day is a new site.
        return f"{data_version(book.store)}-{today():%Y%m%d}"

    def build(folder: Path) -> list[Path]:
        # No sheets for digging: /digsheet makes them when they are asked for.
        return book.site(folder, as_of=today(), dig_sheets=False, **about)

    keeper = SiteKeeper(version, build, complain)
    pages, live = Pages(keeper), Live(book, version)

    @asynccontextmanager
    async def life(_app: Starlette) -> AsyncIterator[None]:
        yield
        keeper.close()

    routes = [
        Route("/", pages.enter),
        Route("/v/{version}/{name:path}", pages.file),
        Route("/features/{layer}.geojson", live.layer),
        Route("/digsheet/{issue:path}", live.sheet),
        *ogc_routes(book, version),
        Route("/{page}", pages.enter),
    ]
    app = Starlette(routes=routes, lifespan=life)
    # Slashes are not put right by guesses: an address is right or unknown.
    app.router.redirect_slashes = False
    return Guard(app, names_of(host, names), any_address=not is_loopback(host)), keeper
