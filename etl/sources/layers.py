"""Layers: anything GDAL reads from files (GeoPackage, Shapefile also zipped, FlatGeobuf, GeoJSON, File Geodatabase).

pyogrio reads whole layers; fiona knows which layers a file has.
"""

import warnings
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pyogrio
import pyproj
import shapely
from numpy.typing import NDArray

from etl.problems import empty_broken
from etl.sources.gdal import fiona
from etl.sources.rows import Rows
from sewermap.errors import SourceError


@np.errstate(invalid="ignore")  # a coordinate that is no number is for the checks
def read_layer(path: Path, layer: str | None = None) -> Rows:
    """The features of one layer, in the order of the file, counted from 1.

    Attributes come as text (whole numbers without a point, days as YYYY-MM-DD), geometries in the layer's CRS, heights Z
    kept, measures M dropped, curves as short straight pieces. A geometry that cannot be read is None. Raises SourceError
    for a file that is no layer, for one with several layers when ``layer`` says none of them, and for a layer name that
    the file lacks.
    """
    layer = _layer_of(path, layer)
    try:
        with warnings.catch_warnings():
            warnings.filterwarnings("ignore", message="Measured .* geometry types")  # that M is dropped is meant
            meta, _, wkb, values = pyogrio.raw.read(_address(path), layer=layer, datetime_as_string=True)
    except (pyogrio.errors.DataSourceError, pyogrio.errors.DataLayerError, ValueError) as error:
        raise SourceError(f"{path.name}, layer {layer}, cannot be read: {error}") from None
    columns = {name: as_text(pd.Series(column)) for name, column in zip(meta["fields"], values, strict=True)}
    count = len(values[0]) if len(values) else len(wkb) if wkb is not None else 0
    geometry = None if wkb is None else without_m(shapely.from_wkb(wkb, on_invalid="ignore"))
    cells = pd.DataFrame(columns, index=pd.RangeIndex(count))
    return Rows(cells, np.arange(1, count + 1, dtype=np.int64), empty_broken(), geometry, _crs(path, meta))


def layer_names(path: Path) -> list[str]:
    """The layers that a file holds, in its order. Raises SourceError for what GDAL cannot open."""
    try:
        return [str(name) for name in fiona.listlayers(f"zip://{path}" if path.suffix.casefold() == ".zip" else path)]
    except (fiona.errors.FionaError, OSError) as error:
        raise SourceError(f"{path.name} cannot be read as a map layer: {_sentence(error)}") from None


def as_text(column: "pd.Series[Any]") -> "pd.Series[str]":
    """A column of attributes as text, NaN where empty.

    >>> as_text(pd.Series([14.0, 2.5, None])).tolist()
    ['14', '2.5', nan]
    """
    codes, unique = pd.factorize(column)
    words = pd.array([_word(value) for value in unique.tolist()], dtype="str")
    text = pd.Series(words.take(codes, allow_fill=True), dtype="str").str.strip()
    return text.mask(text == "")


def without_m(geometry: NDArray[np.object_]) -> NDArray[np.object_]:
    """Geometries without measures M, their heights Z kept."""
    measured, high = shapely.has_m(geometry), shapely.has_z(geometry)
    if not measured.any():
        return geometry
    changed = geometry.copy()
    changed[measured & ~high] = shapely.force_2d(geometry[measured & ~high])
    changed[measured & high] = shapely.from_wkb(shapely.to_wkb(geometry[measured & high], output_dimension=3))
    return changed


def _word(value: object) -> str:
    if isinstance(value, float):
        return str(int(value)) if value.is_integer() else repr(value)
    if isinstance(value, bytes):
        return value.decode("utf-8", errors="replace")
    return str(value)


def _layer_of(path: Path, wanted: str | None) -> str:
    names = layer_names(path)
    if wanted is None and len(names) == 1:
        return names[0]
    if wanted in names:
        return wanted
    has = f"{path.name} has the layers {', '.join(names)}" if names else f"{path.name} has no layer"
    if wanted is None:
        raise SourceError(f'{has}; say which one by layer = "…" in its section')
    raise SourceError(f"{has}, and no layer {wanted}")


def _crs(path: Path, meta: dict[str, Any]) -> pyproj.CRS | None:
    text = meta.get("crs")
    if not text:
        return None
    try:
        return pyproj.CRS.from_user_input(text)
    except pyproj.exceptions.CRSError:
        raise SourceError(f'{path.name} states a coordinate system that cannot be read; state it by crs = "EPSG:…"') from None


def _address(path: Path) -> str:
    return f"/vsizip/{path}" if path.suffix.casefold() == ".zip" else str(path)


def _sentence(error: Exception) -> str:
    return str(error).splitlines()[0].rstrip(".") if str(error) else type(error).__name__
