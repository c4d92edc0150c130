"""Geometries as the tables want them: areas and lines of many parts for base layers, one line for each lateral."""

import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from etl.batch import Batch
from etl.catalogue import SHAPES
from etl.fields.joining import joined
from etl.fields.tie_in import turned
from etl.problems import Finding, Mask, finding, warning

Geometries = NDArray[np.object_]
_TYPE = np.array([kind.name for kind in shapely.GeometryType if kind.value >= 0])
_WANTED = {
    "area": ({"POLYGON", "MULTIPOLYGON"}, "an area"),
    "lines": ({"LINESTRING", "MULTILINESTRING", "LINEARRING"}, "a line"),
    "line": ({"LINESTRING", "MULTILINESTRING", "LINEARRING"}, "a line"),
}


def shaped(batch: Batch) -> tuple[Geometries, list[Finding]]:
    """The geometry of each row in the form of its table, None where it cannot be; and what is wrong with it.

    Rejected: none or an empty one (but a lateral of a file without geometries has none, and that is no fault), a coordinate that
    is not finite, another kind than the section holds, a line without length, and what ``joining`` and ``tie_in`` reject. An area
    that crosses itself is repaired, with a warning; a line may cross itself. Heights of areas are dropped.
    """
    shape = SHAPES[batch.name]
    geometry = batch.frame["geometry"].to_numpy(dtype=object)
    good, findings = _usable(batch, geometry)
    geometry = _only(good, geometry)
    if shape == "area":
        geometry, more = _areas(geometry)
    elif shape == "lines":
        geometry, more = _multi(geometry, shapely.GeometryType.LINESTRING), []
    else:
        geometry, more = joined(geometry, batch.section.tie_in)
    findings += more
    if shape != "area":
        points = ~shapely.is_missing(geometry) & (shapely.length(geometry) == 0)
        findings.append(finding(points, "geometry", "its line has no length"))
        geometry = _only(~points, geometry)
    if shape == "line" and not lineless(batch).all():
        geometry, more = turned(batch, geometry)
        findings += more
    return geometry, findings


def lineless(batch: Batch) -> Mask:
    """Rows of laterals that came from a file without geometries."""
    return batch.frame["lineless"].to_numpy(bool) if batch.has("lineless") else batch.no()


def _usable(batch: Batch, geometry: Geometries) -> tuple[Mask, list[Finding]]:
    kinds, name = _WANTED[SHAPES[batch.name]]
    empty = (shapely.is_missing(geometry) | shapely.is_empty(geometry)) & ~lineless(batch)
    coordinates, index = shapely.get_coordinates(geometry, return_index=True)
    nowhere = batch.no()
    nowhere[index[~np.isfinite(coordinates).all(axis=1)]] = True
    kind = pd.Series(_TYPE[np.maximum(shapely.get_type_id(geometry), 0)]).str.casefold()
    other = ~(empty | lineless(batch)) & ~kind.str.upper().isin(kinds).to_numpy()
    far = f"has a coordinate that is no number, or lies outside of what the map's system ({batch.crs.name}) can show"
    return ~(empty | nowhere | other), [
        finding(empty, "geometry", f"has no geometry, or one that cannot be read; {batch.name} need {name}"),
        finding(nowhere, "geometry", far),
        finding(other, "geometry", f"is no line or area that {batch.name} can have: {batch.name} need {name}", value=kind),
    ]


def _only(good: Mask, geometry: Geometries) -> Geometries:
    kept = np.full(len(geometry), None, dtype=object)
    kept[good] = geometry[good]
    return kept


def _areas(geometry: Geometries) -> tuple[Geometries, list[Finding]]:
    geometry = shapely.force_2d(geometry)
    crossing = ~shapely.is_missing(geometry) & ~shapely.is_valid(geometry)
    why = pd.Series(np.full(len(geometry), "", dtype=object))
    reasons = pd.Series(shapely.is_valid_reason(geometry[crossing]), dtype="str").str.lower()
    why[crossing] = ("its outline is faulty and was repaired: " + reasons).to_numpy()
    geometry = geometry.copy()
    geometry[crossing] = shapely.make_valid(geometry[crossing], method="structure", keep_collapsed=False)
    lost = ~shapely.is_missing(geometry) & (shapely.area(geometry) == 0)
    geometry = _multi(_only(~lost, geometry), shapely.GeometryType.POLYGON)
    return geometry, [
        warning(crossing & ~lost, "geometry", why.astype("str")),
        finding(lost, "geometry", "its area is nothing"),
    ]


def _multi(geometry: Geometries, single: shapely.GeometryType) -> Geometries:
    """Geometries of one part as those of many, with one."""
    alone = np.isin(shapely.get_type_id(geometry), [single.value, shapely.GeometryType.LINEARRING.value])
    make = shapely.multipolygons if single is shapely.GeometryType.POLYGON else shapely.multilinestrings
    promoted = geometry.copy()
    if alone.any():
        promoted[alone] = make(geometry[alone], indices=np.arange(np.count_nonzero(alone)))
    return promoted
