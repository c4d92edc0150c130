"""A town's tables as the one object that its page is given."""

from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from sewermap.web import columns
from sewermap.web.town_tables import TownTables

OBSERVATION_TEXTS = (
    *("lateral", "street", "address", "property", "run", "reading", "unit", "to_reading", "kind", "role", "side", "issue"),
    *("reason", "remark", "picture", "source_file"),
)
OBSERVATION_NUMBERS = (
    *("measure_m", "sigma_m", "to_measure_m", "within_m", "side_probability", "grade", "percent", "clock_from", "clock_to"),
    "source_row",
)
LATERAL_TEXTS = ("lateral", "street", "address", "property", "material", "diameter", "method")
LATERAL_NUMBERS = ("length_m", "map_accuracy_m")


def town_data(tables: TownTables) -> dict[str, Any]:
    """Everything the page shows, as lists and texts alone: ready for JSON.

    Observations come in the order of the list beside the map: by street, address, lateral, day and measure, with the
    numbers in names counted as numbers (2 before 12). Raises SewermapError when a layer does not say its CRS.
    """
    return {
        "title": tables.title,
        "units": tables.units,
        "bounds": _bounds(tables),
        "parcels": _polygons(tables.parcels, "parcels"),
        "buildings": _polygons(tables.buildings, "buildings"),
        "streets": {**_lines(tables.streets, "streets"), "street": columns.words(_column(tables.streets, "street"))},
        "mains": _lines(tables.mains, "mains"),
        "laterals": _laterals(tables.laterals),
        "observations": _observations(tables.placed_observations),
    }


def _column(table: gpd.GeoDataFrame, name: str) -> "pd.Series[Any]":
    """A column, or as many blanks where the table came without it (an empty table may have no columns at all)."""
    if name in table.columns:
        return table[name]
    return pd.Series(np.full(len(table), np.nan), index=table.index, dtype="object")


def _polygons(layer: gpd.GeoDataFrame, name: str) -> dict[str, list[int]]:
    return columns.shapes(columns.in_degrees(layer, name), columns.POLYGON_TYPES)


def _lines(layer: gpd.GeoDataFrame, name: str) -> dict[str, Any]:
    return columns.shapes(columns.in_degrees(layer, name), columns.LINE_TYPES)


def _laterals(layer: gpd.GeoDataFrame) -> dict[str, Any]:
    return {
        **{name: columns.words(_column(layer, name)) for name in LATERAL_TEXTS},
        **{name: columns.numbers(_column(layer, name)) for name in LATERAL_NUMBERS},
        "installed_on": columns.days(_column(layer, "installed_on")),
        "accuracy_assumed": columns.flags(_column(layer, "accuracy_assumed")),
        "line": _lines(layer, "laterals"),
    }


def _observations(layer: gpd.GeoDataFrame) -> dict[str, Any]:
    layer = layer.iloc[_reading_order(layer)]
    points = columns.in_degrees(layer, "placed_observations")
    points[shapely.get_type_id(points) != shapely.GeometryType.POINT] = None
    return {
        **{name: columns.words(_column(layer, name)) for name in OBSERVATION_TEXTS},
        **{name: columns.numbers(_column(layer, name)) for name in OBSERVATION_NUMBERS},
        "ran_on": columns.days(_column(layer, "ran_on")),
        "accuracy_assumed": columns.flags(_column(layer, "accuracy_assumed")),
        **columns.places(points),
    }


def _reading_order(layer: gpd.GeoDataFrame) -> NDArray[np.intp]:
    """The order in which a person would read the observations."""
    keys = {name: _natural(_column(layer, name)) for name in ("street", "address", "lateral")}
    keys["ran_on"] = pd.to_datetime(_column(layer, "ran_on"), errors="coerce")
    keys["run"] = _natural(_column(layer, "run"))
    keys["measure_m"] = pd.to_numeric(_column(layer, "measure_m"), errors="coerce")
    keys["source_row"] = pd.to_numeric(_column(layer, "source_row"), errors="coerce")
    table = pd.DataFrame({name: key.to_numpy() for name, key in keys.items()})
    return table.sort_values(list(keys), kind="stable", na_position="last").index.to_numpy(np.intp)


def _natural(column: "pd.Series[Any]") -> "pd.Series[Any]":
    """Texts whose order is that of a person: every number in them padded to ten digits."""
    texts = column.astype("str").where(column.notna())
    return texts.str.replace(r"\d+", lambda digits: digits.group().zfill(10), regex=True)


def _bounds(tables: TownTables) -> list[list[float]] | None:
    """South-west and north-east corner (latitude, longitude) of what was laid and seen, else of the ground; None if nothing."""
    work = (("laterals", tables.laterals), ("placed_observations", tables.placed_observations))
    ground = (("parcels", tables.parcels), ("streets", tables.streets), ("mains", tables.mains), ("buildings", tables.buildings))
    for layers in (work, ground):
        geometries = np.concatenate([columns.in_degrees(layer, name) for name, layer in layers])
        # shapely refuses an array without rows.
        corners = shapely.total_bounds(geometries) if len(geometries) else np.full(4, np.nan)
        if np.isfinite(corners).all():
            west, south, east, north = np.round(corners, 7).tolist()
            return [[south, west], [north, east]]
    return None
