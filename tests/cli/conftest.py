"""The sample town, loaded once."""

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from tests.cli.running import load_town


@dataclass(frozen=True)
class LoadedTown:
    """A database with the sample town (not to be written to), its source files, and what each load answered."""

    db: Path
    folder: Path
    reports: list[Any]


@pytest.fixture(scope="session")
def town(tmp_path_factory: pytest.TempPathFactory) -> LoadedTown:
    """The sample town in a GeoPackage."""
    folder = tmp_path_factory.mktemp("town")
    db = folder / "town.gpkg"
    return LoadedTown(db, folder / "sources", load_town(db, folder / "sources"))
