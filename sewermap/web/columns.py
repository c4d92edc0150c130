"""Tables as columns that a browser reads fast: texts by number, places as whole steps.

Ten thousand observations as one GeoJSON feature each take half a minute to open; as columns, a fifth of a second. A text
column is ``{"words": [...], "codes": [...]}`` with code -1 where nothing is said. A place is longitude and latitude
(WGS 84) in steps of 1e-7 degree, about a centimetre.
"""

from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from sewermap.errors import SewermapError

STEPS_PER_DEGREE = 10_000_000
"""A step is 1e-7 degree: 1.1 cm on the ground, finer than any map of sewers."""

POLYGON_TYPES = (3, 6)
LINE_TYPES = (1, 5)
"""shapely's type numbers: polygon and multipolygon, line and multiline."""


def in_degrees(layer: gpd.GeoDataFrame, name: str) -> NDArray[np.object_]:
    """The layer's geometries in longitude and latitude (EPSG:4326), None where there is none.

    Raises SewermapError when a layer that holds geometries does not say its CRS.
    """
    if "geometry" not in layer.columns or layer["geometry"].isna().all():
        return np.full(len(layer), None, dtype=np.object_)
    if layer.crs is None:
        raise SewermapError(f"the layer {name} does not say its CRS, so it cannot be put on the map")
    there = np.array(layer.to_crs(4326).geometry.array, dtype=np.object_)
    # A point outside the area its projection is made for comes back as infinity: no place on any map.
    there[~np.isfinite(shapely.bounds(there)).all(axis=1)] = None
    return there


def words(column: "pd.Series[Any]") -> dict[str, list[Any]]:
    """A column of texts as a list of its words and a number per row; -1 where the row says nothing.

    >>> words(pd.Series(["roots", None, "crack", "roots"]))
    {'words': ['crack', 'roots'], 'codes': [1, -1, 0, 1]}
    """
    texts = column.astype("str").where(column.notna())
    texts = texts.where(texts.str.strip() != "")
    codes, names = pd.factorize(texts, sort=True)
    return {"words": [str(name) for name in names], "codes": codes.tolist()}


def days(column: "pd.Series[Any]") -> dict[str, list[Any]]:
    """A column of days as words like 2025-03-04.

    >>> days(pd.Series(pd.to_datetime(["2025-03-04", None])))
    {'words': ['2025-03-04'], 'codes': [0, -1]}
    """
    return words(pd.to_datetime(column, errors="coerce").dt.strftime("%Y-%m-%d"))


def numbers(column: "pd.Series[Any]", places: int = 3) -> list[float | None]:
    """A column of numbers rounded to ``places``; None where there is none, or it is not finite.

    >>> numbers(pd.Series([1.23456, float("nan")]))
    [1.235, None]
    """
    values = np.round(pd.to_numeric(column, errors="coerce").to_numpy(np.float64, na_value=np.nan), places)
    return [value if known else None for value, known in zip(values.tolist(), np.isfinite(values).tolist(), strict=True)]


def flags(column: "pd.Series[Any]") -> list[int]:
    """A column of yes and no as 1 and 0; what is missing is no.

    >>> flags(pd.Series([True, None, False]))
    [1, 0, 0]
    """
    values = pd.to_numeric(column.astype("float64"), errors="coerce")
    return (values.fillna(0) != 0).astype(int).tolist()


def places(points: NDArray[np.object_]) -> dict[str, list[int | None]]:
    """Points (longitude, latitude; None allowed) as whole steps."""
    known = shapely.is_geometry(points).tolist()
    axes = {"lon": _steps(shapely.get_x(points)), "lat": _steps(shapely.get_y(points))}
    return {
        name: [step if is_known else None for step, is_known in zip(steps, known, strict=True)] for name, steps in axes.items()
    }


def shapes(geometries: NDArray[np.object_], types: tuple[int, ...]) -> dict[str, list[int]]:
    """Lines or polygon rings in parts: vertices per part, the row each part belongs to, and steps from vertex to vertex.

    Steps run on through all parts: the first is counted from 0, each other from the vertex before it. Geometries of
    other types, and empty ones, are left out.

    >>> shapes(np.array([shapely.LineString([(0, 0), (0.000001, 0)])], dtype=object), LINE_TYPES)
    {'vertices': [2], 'owner': [0], 'lon': [0, 10], 'lat': [0, 0]}
    """
    rows = np.flatnonzero(np.isin(shapely.get_type_id(geometries), types))
    parts, part_of = shapely.get_parts(geometries[rows], return_index=True)
    owner = rows[part_of]
    if types == POLYGON_TYPES:
        parts, ring_of = shapely.get_rings(parts, return_index=True)
        owner = owner[ring_of]
    vertices = shapely.get_num_coordinates(parts)
    owner, vertices, parts = owner[vertices > 1], vertices[vertices > 1], parts[vertices > 1]
    axes = np.array(_steps(shapely.get_coordinates(parts).reshape(-1, 2).T), dtype=np.int64).reshape(2, -1)
    moves = np.diff(axes, axis=1, prepend=0)
    return {"vertices": vertices.tolist(), "owner": owner.tolist(), "lon": moves[0].tolist(), "lat": moves[1].tolist()}


def _steps(degrees: NDArray[np.float64]) -> Any:  # a list, nested as the array was
    return np.rint(np.nan_to_num(degrees) * STEPS_PER_DEGREE).astype(np.int64).tolist()
