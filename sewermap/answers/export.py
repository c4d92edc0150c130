"""Tables and answers into files of other programs' formats, by the suffix of the file's name."""

import tempfile
from collections.abc import Mapping
from importlib.util import find_spec
from pathlib import Path

import geopandas as gpd
import pandas as pd

from sewermap.errors import SourceError
from sewermap.plain import csv_text, typed

DRIVERS = {".gpkg": "GPKG", ".geojson": "GeoJSON", ".json": "GeoJSON", ".fgb": "FlatGeobuf", ".parquet": "parquet", ".csv": "csv"}
READY_LAYERS = ("laterals", "placed_observations", "parcels", "streets", "mains", "buildings")


def default_tables(out: Path) -> list[str]:
    """What an export holds when no table is named: all layers where the format holds many, else the placed observations."""
    return list(READY_LAYERS) if out.suffix.lower() == ".gpkg" else ["placed_observations"]


def write(tables: Mapping[str, pd.DataFrame], out: Path) -> None:
    """Write tables to ``out`` in the format of its suffix, replacing the file as a whole.

    GeoJSON follows RFC 7946 (longitude and latitude on WGS 84); the other formats keep the map's CRS. Raises SourceError for a
    suffix that is not known, a format whose library is missing, or a place that cannot be written.
    """
    driver = DRIVERS.get(out.suffix.lower())
    if driver is None:
        raise SourceError(f"'{out.name}': the suffix names the format; known are {', '.join(DRIVERS)}")
    if driver == "parquet" and find_spec("pyarrow") is None:
        raise SourceError("GeoParquet needs pyarrow: pip install 'sewermap[parquet]'")
    if not out.parent.is_dir():
        raise SourceError(f"there is no folder '{out.parent}' to write '{out.name}' to; make it first")
    try:
        with tempfile.TemporaryDirectory(dir=out.parent, prefix=".sewermap-") as folder:
            part = Path(folder) / out.name
            for name, table in tables.items():
                _write_one(table, part, driver, name)
            part.replace(out)
    except OSError as error:
        raise SourceError(f"'{out}' cannot be written: {error.strerror or error}") from error


def write_csv(table: pd.DataFrame, out: Path) -> None:
    """Write a table as CSV whatever the file's suffix."""
    try:
        out.write_text(csv_text(table), encoding="utf-8", newline="")
    except OSError as error:
        raise SourceError(f"'{out}' cannot be written: {error.strerror or error}") from error


def geojson(table: gpd.GeoDataFrame) -> str:
    """A layer as RFC 7946 text: longitude and latitude, outer rings counter-clockwise, no CRS member."""
    with tempfile.TemporaryDirectory() as folder:
        part = Path(folder) / "answer.geojson"
        _write_one(table, part, "GeoJSON", "answer")
        return part.read_text(encoding="utf-8")


def _write_one(table: pd.DataFrame, part: Path, driver: str, name: str) -> None:
    if driver == "csv":
        part.write_text(csv_text(table), encoding="utf-8", newline="")
    elif driver == "parquet":
        table.to_parquet(part, index=False)
    elif not isinstance(table, gpd.GeoDataFrame):
        _write_without_geometry(table, part, driver, name)
    elif driver == "GeoJSON":
        layer = gpd.GeoDataFrame(typed(table), geometry=table.geometry, crs=table.crs)
        layer.to_file(part, driver=driver, layer=name, RFC7946="YES", engine="pyogrio")
    else:
        table.to_file(part, driver=driver, layer=name, engine="pyogrio")


def _write_without_geometry(table: pd.DataFrame, part: Path, driver: str, name: str) -> None:
    if driver != "GPKG":
        raise SourceError(f"'{name}' has no geometry; export it to .csv, .gpkg or .parquet")
    import pyogrio  # noqa: PLC0415 - only here, and slow to import

    pyogrio.write_dataframe(table, part, layer=name, driver=driver)
