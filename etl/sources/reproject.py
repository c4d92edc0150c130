"""Geometries from a layer's coordinate system into the map's."""

import numpy as np
import pyproj
import shapely
from numpy.typing import NDArray

from sewermap.errors import SourceError

_WIDEST_DEGREES = 360.0
_HIGHEST_DEGREES = 90.0
_SLACK_DEGREES = 1e-6

Coordinates = NDArray[np.float64]


def into(geometry: NDArray[np.object_], source: pyproj.CRS | None, target: pyproj.CRS, what: str) -> NDArray[np.object_]:
    """Geometries in the map's CRS; one that has no place there gets coordinates that are not finite.

    x is east (or longitude) and y north in both systems, whatever order their definitions have. Heights Z are taken to be
    in the unit of the layer's own system (metres under degrees) and come out in the map's unit. ``what`` names the layer
    for errors. Raises SourceError when no CRS is known, or when most coordinates cannot be the degrees that the CRS says.
    """
    if source is None:
        raise SourceError(f'{what} says no coordinate system; state it by crs = "EPSG:…" in its section')
    has_any = ~(shapely.is_missing(geometry) | shapely.is_empty(geometry))
    beyond = _beyond_degrees(geometry, source)
    if 2 * np.count_nonzero(beyond) > np.count_nonzero(has_any):
        x, y = shapely.get_coordinates(geometry[beyond])[0]
        raise SourceError(
            f"{what} says that its coordinates are degrees ({source.name}), but they run to {x:.0f}, {y:.0f}: that is another"
            ' system; state the true one by crs = "EPSG:…" in its section'
        )
    if beyond.any():
        geometry = geometry.copy()
        geometry[beyond] = shapely.transform(geometry[beyond], lambda coordinates: np.full_like(coordinates, np.inf))
    return geometry if source == target else _moved(geometry, source, target)


def points_into(xy: Coordinates, source: pyproj.CRS, target: pyproj.CRS) -> Coordinates:
    """Points (N, 2) in the map's CRS; infinite where they have no place there."""
    x, y = pyproj.Transformer.from_crs(source, target, always_xy=True).transform(xy[:, 0], xy[:, 1])
    return np.column_stack([x, y])


def unit_m(crs: pyproj.CRS) -> float:
    """How many metres one unit of a CRS's map coordinates is; 1 for degrees (their heights are metres)."""
    return 1.0 if crs.is_geographic else float(crs.axis_info[0].unit_conversion_factor)


def _moved(geometry: NDArray[np.object_], source: pyproj.CRS, target: pyproj.CRS) -> NDArray[np.object_]:
    scale = unit_m(source) / unit_m(target)

    def move(coordinates: Coordinates) -> Coordinates:
        flat = points_into(coordinates[:, :2], source, target)
        return flat if coordinates.shape[1] == flat.shape[1] else np.column_stack([flat, coordinates[:, 2] * scale])

    flat = ~shapely.has_z(geometry)
    moved = geometry.copy()
    for which, include_z in ((flat, False), (~flat, True)):
        if which.any():
            moved[which] = shapely.transform(geometry[which], move, include_z=include_z)
    return moved


def _beyond_degrees(geometry: NDArray[np.object_], source: pyproj.CRS) -> NDArray[np.bool_]:
    if not source.is_geographic:
        return np.zeros(len(geometry), dtype=bool)
    bounds = np.abs(np.nan_to_num(shapely.bounds(geometry), nan=0.0, posinf=0.0, neginf=0.0))
    limits = np.array([_WIDEST_DEGREES, _HIGHEST_DEGREES] * 2) + _SLACK_DEGREES
    beyond: NDArray[np.bool_] = np.any(bounds > limits, axis=1)
    return beyond
