"""The sample town, loaded once and opened through the Python door."""

from pathlib import Path

import pytest

import sewermap
from sewermap.book import Book
from tests.cli.running import load_town


@pytest.fixture(scope="session")
def town_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The database of the sample town."""
    folder = tmp_path_factory.mktemp("town")
    load_town(folder / "town.gpkg", folder / "sources")
    return folder / "town.gpkg"


@pytest.fixture(scope="session")
def book(town_file: Path) -> Book:
    """The sample town, opened for reading."""
    return sewermap.open(town_file, read_only=True)
