"""A small town made to be dug for, loaded once."""

from pathlib import Path

import pytest

import sewermap
from sewermap.book import Book
from tests.paper.dig_town import write_dig_town


@pytest.fixture(scope="session")
def dig_book(tmp_path_factory: pytest.TempPathFactory) -> Book:
    """The town of ``dig_town`` on a map in metres, its database beside its SOURCES.toml."""
    folder: Path = tmp_path_factory.mktemp("dig_town")
    plan = write_dig_town(folder, "EPSG:26910", (262_000.0, 4_700_000.0), 1.0)
    book = sewermap.create(folder / "town.gpkg", "EPSG:26910")
    report = book.load(plan)
    assert not len(report.rejects), report.rejects
    return sewermap.open(folder / "town.gpkg", read_only=True)
