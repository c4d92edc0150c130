"""The invented town served from each engine, loaded once on each, and a browser."""

from collections.abc import Callable, Iterator
from contextlib import ExitStack
from functools import cache

import pytest
from playwright.sync_api import Browser

from sewermap.book import open_book
from tests.serve.served_town import Served, Towns, serving


@pytest.fixture(scope="session")
def towns(postgis_server: str, tmp_path_factory: pytest.TempPathFactory) -> Towns:
    """Gives copies of the loaded town on either engine."""
    return Towns(tmp_path_factory.mktemp("towns"), postgis_server)


@pytest.fixture(scope="session")
def town_where(towns: Towns) -> str:
    """The path of a GeoPackage of the town; nobody writes to it."""
    return towns.copy("geopackage")


@pytest.fixture(scope="session")
def served_on(towns: Towns) -> Iterator[Callable[[str], Served]]:
    """The town served from an engine, when it is first asked for; nobody writes to it."""
    with ExitStack() as running:

        @cache
        def served(engine: str) -> Served:
            return running.enter_context(serving(open_book(towns.copy(engine), read_only=True)))

        yield served


@pytest.fixture(scope="session")
def town(served_on: Callable[[str], Served]) -> Served:
    """The town served from a GeoPackage."""
    return served_on("geopackage")


@pytest.fixture(scope="session", params=["geopackage", "postgis"])
def each_town(request: pytest.FixtureRequest, served_on: Callable[[str], Served]) -> Served:
    """The town served from each engine."""
    return served_on(request.param)


@pytest.fixture(params=["geopackage", "postgis"])
def own_town(request: pytest.FixtureRequest, towns: Towns) -> str:
    """Where a copy of the town is that a test may write to, on each engine."""
    return towns.copy(request.param)


@pytest.fixture(scope="session")
def browser(chromium: Browser) -> Browser:
    """Debian's Chromium."""
    return chromium
