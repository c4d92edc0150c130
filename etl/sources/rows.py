"""What every source gives: rows of text that know where they stood, and the rows that could not be read."""

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pandas as pd
import pyproj
from numpy.typing import NDArray

from etl.problems import empty_broken

_SHAPEFILE = (".shp", ".shx", ".dbf", ".prj", ".cpg")
"""The parts of a Shapefile that say something; spatial indexes and metadata beside them may change without a reason."""


@dataclass(frozen=True)
class Rows:
    """The rows of one sheet, layer or table.

    ``cells`` is all text (NaN where empty), by their column names. ``row`` is counted from 1; in a sheet the header is row
    1. ``geometry`` (None for a sheet) is in ``crs``. ``broken`` lists rows that could not be read: row, field, value, reason.

    A sheet of a workbook also has its name, ``sheet``, and ``letters``: the letter of each column. ``spoilt`` lists cells of
    its rows that hold no value (in ``cells`` they are empty): row, field (the column's name), value, reason; ``aside`` what
    stands beside its rows, and what is odd about them, in the same columns. ``lines``: by row, where its element stands in an
    XML file.
    """

    cells: pd.DataFrame
    row: NDArray[np.int64]
    broken: pd.DataFrame
    geometry: NDArray[np.object_] | None = None
    crs: pyproj.CRS | None = None
    sheet: str | None = None
    letters: Mapping[str, str] = field(default_factory=dict)
    spoilt: pd.DataFrame = field(default_factory=empty_broken)
    aside: pd.DataFrame = field(default_factory=empty_broken)
    lines: Mapping[int, str] = field(default_factory=dict)

    @property
    def read(self) -> int:
        """How many records the source holds, broken ones included."""
        return len(self.cells) + int(self.broken["row"].nunique())


def sha256_of(path: Path) -> str:
    """A digest of the content of a file; of all parts of a Shapefile, of all files of a File Geodatabase.

    For a single file it is the same that ``sha256sum`` prints.
    """
    parts = _parts(path)
    if parts == [path]:
        return hashlib.sha256(path.read_bytes()).hexdigest()
    digest = hashlib.sha256()
    for part in parts:
        content = part.read_bytes()
        digest.update(f"{part.name}\n{len(content)}\n".encode())
        digest.update(content)
    return digest.hexdigest()


def _parts(path: Path) -> list[Path]:
    if path.is_dir():
        return sorted(part for part in path.rglob("*") if part.is_file() and part.suffix != ".lock")
    if path.suffix.casefold() == ".shp":
        return sorted(part for part in path.parent.glob(f"{path.stem}.*") if part.suffix.casefold() in _SHAPEFILE)
    return [path]
