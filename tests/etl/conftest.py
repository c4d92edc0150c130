"""A small invented town in files: every test writes the files that it reads."""

import datetime as dt
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import geopandas
import pyproj
import pytest
import shapely

from etl.pipeline import Gathered, Known, gather
from etl.plan import read_plan

UTM = "EPSG:26910"
TODAY = dt.date(2026, 6, 30)

LATERALS = {
    "L1": ("14", "Alder Street", shapely.LineString([(500010, 4000000), (500010, 4000020)])),
    "L2": ("16", "Alder Street", shapely.LineString([(500020, 4000000), (500020, 4000025)])),
    "L3": ("14", "Birch Lane", shapely.LineString([(500030, 4000000), (500030, 4000015)])),
}


@dataclass
class Town:
    """A folder of sources, and the SOURCES.toml that names them."""

    folder: Path

    def csv(self, name: str, *lines: str, encoding: str = "utf-8", end: str = "\n") -> Path:
        """Write a sheet of these lines."""
        path = self.folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes((end.join(lines) + end).encode(encoding))
        return path

    def layer(self, name: str, geometry: list[Any], crs: str = UTM, layer: str | None = None, /, **columns: Any) -> Path:
        """Write a layer; the driver follows from the suffix."""
        path = self.folder / name
        frame = geopandas.GeoDataFrame(columns, geometry=geometry, crs=crs)
        frame.to_file(path, **({"layer": layer} if layer else {}))
        return path

    def laterals(self, name: str = "laterals.gpkg") -> Path:
        """Write the three laterals of the town."""
        address, street, line = (list(column) for column in zip(*LATERALS.values(), strict=True))
        return self.layer(name, line, lateral=list(LATERALS), address=address, street=street)

    def toml(self, text: str, name: str = "SOURCES.toml") -> Path:
        """Write a SOURCES.toml."""
        path = self.folder / name
        path.write_text(text, encoding="utf-8")
        return path

    def gather(self, text: str, known: Known | None = None, crs: str | pyproj.CRS = UTM) -> Gathered:
        """Write a SOURCES.toml and read all that it names."""
        system = pyproj.CRS.from_user_input(crs)
        return gather(
            read_plan(self.toml(text)), known or Known(), system, system.axis_info[0].unit_conversion_factor, today=TODAY
        )


@pytest.fixture
def town(tmp_path: Path) -> Town:
    """An empty town."""
    return Town(tmp_path)


def accounted(gathered: Gathered) -> bool:
    """Whether each record read is loaded or rejected, never both or neither."""
    for said in gathered.files.itertuples():
        rows = gathered.tables[said.table]
        loaded = rows.loc[rows["source_file"] == said.file, "source_row"].tolist()
        rejects = gathered.rejects
        rejected = rejects.loc[(rejects["file"] == said.file) & (rejects["table"] == said.table), "row"].unique().tolist()
        if len(loaded) + len(rejected) != said.read or set(loaded) & set(rejected):
            return False
    return len(gathered.files) > 0


@pytest.fixture
def is_accounted():
    """The law of all counts: read = loaded + rejected."""
    return accounted
