"""The town's map as layers, in as many formats as towns have: GeoPackage, FlatGeobuf, GeoJSON and a zipped shapefile."""

from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import shapely
from numpy.typing import NDArray

from sample_gis.generator import Town
from sample_gis.pipes import VERTICES, Lines
from sample_gis.streets import CRS, MAIN_OFFSET_M

FIXED_TIME = "2026-01-05T09:00:00.000Z"
MAIN_STEP_M = 10.0
BROKEN_LINE, JOINED_LINE = "L-9001", 4
"""A lateral in two parts that do not meet (to be rejected), and the row of one in two parts that do."""

HEIGHTS = {
    "tie_in_depth_m": "MAIN_DEEP_M",
    "building_depth_m": "HOUSE_DEEP_M",
    "tie_in_invert_m": "MAIN_INV_M",
    "building_invert_m": "HOUSE_INV_M",
}
"""How the town's map names depths and inverts."""

Shapes = NDArray[np.object_]


def line_strings(lines: Lines) -> Shapes:
    """(N,) LineStrings without the padding."""
    real = np.arange(VERTICES) < lines.count[:, None]
    of_line = np.nonzero(real)[0]
    return np.asarray(shapely.linestrings(lines.xy[real], indices=of_line), dtype=object)


def street_lines(town: Town, left_m: float) -> Shapes:
    """One LineString a street, ``left_m`` to the left of its centre."""
    count = len(town.streets.name)
    steps = np.maximum(np.ceil(town.streets.length_m / MAIN_STEP_M).astype(int), 1) + 1
    street = np.repeat(np.arange(count), steps)
    step = np.arange(len(street)) - np.repeat(np.cumsum(steps) - steps, steps)
    along_m = step / (steps[street] - 1) * town.streets.length_m[street]
    xy = town.streets.at(street, along_m, np.full(len(street), left_m))
    return np.asarray(shapely.linestrings(xy, indices=street), dtype=object)


def main_lines(town: Town) -> Shapes:
    """One main a street."""
    return street_lines(town, MAIN_OFFSET_M)


def areas(corners: NDArray[np.float64]) -> Shapes:
    """(N,) Polygons of four corners."""
    return np.asarray(shapely.polygons(np.concatenate([corners, corners[:, :1]], axis=1)), dtype=object)


def write_layers(town: Town, folder: Path, *, flaws: bool = True) -> None:
    """The layers below ``folder``/gis. With ``flaws``, a fifth of the laterals is drawn from the building to the main, one has
    two parts that meet, and one that does not belong has two parts that do not.
    """
    gis = folder / "gis"
    gis.mkdir(parents=True, exist_ok=True)
    pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": FIXED_TIME})
    try:
        base = gis / "town.gpkg"
        _write(_laterals(town, flaws=flaws), base, layer="service_lines", driver="GPKG")
        _write(_buildings(town), base, layer="footprints", driver="GPKG")
        _write(_parcels(town), gis / "lots.fgb", driver="FlatGeobuf")
        streets = _layer({"name": town.streets.name}, street_lines(town, 0.0)).to_crs("EPSG:4326")
        _write(streets, gis / "streets.geojson", driver="GeoJSON", RFC7946="YES")
        mains = _layer({"MAIN_ID": [f"M-{number:03d}" for number in range(1, len(town.streets.name) + 1)]}, main_lines(town))
        _write(mains, gis / "mains.shp.zip", driver="ESRI Shapefile")
    finally:
        pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": None})


def _write(drawn: gpd.GeoDataFrame, path: Path, **options: Any) -> None:
    if "layer" not in options or options["layer"] == "service_lines":
        path.unlink(missing_ok=True)
    drawn.to_file(path, engine="pyogrio", **options)


def _layer(columns: dict[str, Any], shapes: Shapes) -> gpd.GeoDataFrame:
    return gpd.GeoDataFrame(pd.DataFrame(columns), geometry=gpd.array.from_shapely(shapes, crs=CRS))


def _laterals(town: Town, *, flaws: bool) -> gpd.GeoDataFrame:
    table = town.laterals
    shapes = line_strings(town.ground.drawn)
    columns = {
        "LINE_NO": table["lateral"].to_numpy(object),
        "STREET": table["street"].to_numpy(object),
        "HOUSE": table["address"].to_numpy(object),
        "LOT": table["property"].where(table["says_property"], None).to_numpy(object),
        "LAID": table["installed_on"].dt.strftime("%Y-%m-%d").to_numpy(object),
        "PIPE": table["material"].to_numpy(object),
        "SIZE": table["diameter"].to_numpy(object),
        "DRAWN_TO_M": table["map_accuracy_m"].to_numpy(float),
        **{theirs: town.falls[ours].to_numpy(float) for ours, theirs in HEIGHTS.items()},
    }
    layer = _layer(columns, _drawn_by_hand(shapes) if flaws else shapes)
    return pd.concat([layer, _broken(layer)], ignore_index=True) if flaws else layer


def _drawn_by_hand(shapes: Shapes) -> Shapes:
    shapes = shapes.copy()
    shapes[::5] = shapely.reverse(shapes[::5])
    if len(shapes) > JOINED_LINE:
        first, *rest = (np.asarray(part) for part in np.split(shapely.get_coordinates(shapes[JOINED_LINE]), [1]))
        whole = np.concatenate([first, *rest])
        middle = (whole[0] + whole[1]) / 2.0
        shapes[JOINED_LINE] = shapely.MultiLineString([[whole[0], middle], [middle, *whole[1:]]])
    return shapes


def _broken(layer: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    x, y = layer.total_bounds[:2]
    parts = shapely.MultiLineString([[(x - 30.0, y), (x - 22.0, y)], [(x - 20.0, y), (x - 12.0, y)]])
    return _layer({"LINE_NO": [BROKEN_LINE], "STREET": [layer["STREET"].iloc[0]]}, np.array([parts], dtype=object))


def _buildings(town: Town) -> gpd.GeoDataFrame:
    number = [f"H-{one:04d}" for one in range(1, len(town.laterals) + 1)]
    columns = {"HOUSE_ID": number, "LOT": town.laterals["property"].to_numpy(object)}
    return _layer(columns, areas(town.ground.building))


def _parcels(town: Town) -> gpd.GeoDataFrame:
    columns = {"LOT": town.laterals["property"].to_numpy(object), "DRAWN_TO_M": town.ground.parcel_accuracy_m}
    return _layer(columns, areas(town.ground.parcel))
