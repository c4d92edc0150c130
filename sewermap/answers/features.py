"""Layers by box, day and value, page by page, as GeoJSON features (RFC 7946): for programs that ask over a network."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Any

import numpy as np
import pandas as pd
import pyproj
import shapely
import sqlalchemy as sa
from numpy.typing import NDArray

from sewermap.errors import SourceError, UnknownNameError
from sewermap.plain import records
from sewermap.store import bulk, extents, tables
from sewermap.store.session import Store

LAYERS: dict[str, sa.Table] = {
    "laterals": tables.laterals,
    "issues": tables.issues,
    "placed_observations": tables.placed_observations,
}
NAMED_BY = {"laterals": "lateral", "issues": "issue", "placed_observations": "observation"}
"""The column that names a feature; loading anew does not change the name."""

DAY_OF = {"laterals": "installed_on", "issues": "last_seen", "placed_observations": "ran_on"}
"""The column that a question by day looks at."""

_DECIMALS = 7
"""A centimetre on the ground, as RFC 7946 advises at most."""

_MARGIN_DEG = 1e-6
_EAST_END = 180.0
Box = tuple[float, float, float, float]


@dataclass(frozen=True)
class Asked:
    """Which features: an empty field asks for nothing in particular.

    ``box``: west, south, east, north in degrees (WGS 84); where west is more than east it crosses the antimeridian. ``since`` and
    ``until`` are days, both included. ``equal``: columns that must hold a value (a text is turned into the column's type).
    """

    box: Box | None = None
    since: date | None = None
    until: date | None = None
    equal: Mapping[str, str] = field(default_factory=dict)


def features(store: Store, layer: str, asked: Asked = Asked(), *, limit: int = 1000, offset: int = 0) -> list[dict[str, Any]]:
    """One page of a layer's features, in order of loading. Raises UnknownNameError, SourceError for a value that is none."""
    table = _table(layer)
    with store.reading() as conn:
        wanted = _conditions(table, layer, asked)
        if asked.box is not None:
            wanted.append(bulk.any_of(conn, table.c.id, _ids_in_box(conn, store, table, asked.box, wanted).tolist()))
        query = sa.select(table).where(*wanted).order_by(table.c.id).limit(limit).offset(offset)
        return _as_features(bulk.read(conn, query), store, layer)


def matched(store: Store, layer: str, asked: Asked = Asked()) -> int:
    """How many features there are, whatever the page. Raises as ``features`` does."""
    table = _table(layer)
    with store.reading() as conn:
        wanted = _conditions(table, layer, asked)
        if asked.box is not None:
            return len(_ids_in_box(conn, store, table, asked.box, wanted))
        return int(conn.execute(sa.select(sa.func.count()).select_from(table).where(*wanted)).scalar_one())


def feature(store: Store, layer: str, name: str) -> dict[str, Any] | None:
    """The feature of a name, or None."""
    found = features(store, layer, Asked(equal={NAMED_BY[layer]: name}), limit=1)
    return found[0] if found else None


def extent_in_degrees(store: Store, layer: str) -> Box | None:
    """West, south, east, north of a layer in degrees (WGS 84), None where it has no geometry."""
    with store.reading() as conn:
        return _extent(conn, store, _table(layer))


def columns_of(layer: str) -> dict[str, str]:
    """The properties of a layer's features, each with its JSON type; ``date`` is a string of the form YYYY-MM-DD."""
    return {column.name: _json_type(column) for column in _table(layer).c if column.name not in {"id", "geometry"}}


def _table(layer: str) -> sa.Table:
    table = LAYERS.get(layer)
    if table is None:
        raise UnknownNameError(f"there is no layer '{layer}'; layers are {', '.join(LAYERS)}")
    return table


def _json_type(column: sa.Column[Any]) -> str:
    types: tuple[tuple[type, str], ...] = (
        (sa.Boolean, "boolean"),
        (sa.Integer, "integer"),
        (sa.Float, "number"),
        (sa.Date, "date"),
    )
    return next((name for kind, name in types if isinstance(column.type, kind)), "string")


def _conditions(table: sa.Table, layer: str, asked: Asked) -> list[sa.ColumnElement[bool]]:
    day = table.c[DAY_OF[layer]]
    wanted: list[sa.ColumnElement[bool]] = []
    if asked.since is not None:
        wanted.append(day >= asked.since)
    if asked.until is not None:
        wanted.append(day <= asked.until)
    # The value first: it also tells a column that is none.
    values = {name: _typed(layer, name, value) for name, value in asked.equal.items()}
    return [*wanted, *(table.c[name] == value for name, value in values.items())]


def _typed(layer: str, name: str, value: str) -> Any:
    """A text as the type of its column. Raises SourceError."""
    kind = columns_of(layer).get(name)
    if kind is None:
        raise UnknownNameError(f"'{layer}' has no column '{name}'")
    try:
        if kind == "boolean":
            return {"true": True, "false": False}[value.lower()]
        if kind in {"integer", "number"}:
            return int(value) if kind == "integer" else float(value)
        return date.fromisoformat(value) if kind == "date" else value
    except (KeyError, ValueError) as error:
        raise SourceError(f"'{value}' is no value of '{name}', which is a {kind}") from error


def _ids_in_box(
    conn: sa.Connection, store: Store, table: sa.Table, box: Box, wanted: list[sa.ColumnElement[bool]]
) -> NDArray[np.int64]:
    """The rows whose geometry touches a box: found by the spatial index, then tested in degrees."""
    reach = _extent(conn, store, table)
    parts = [] if reach is None else [part for half in _halves(box) if (part := _common(half, reach)) is not None]
    if not parts:
        return np.zeros(0, dtype=np.int64)
    to_map = pyproj.Transformer.from_crs("OGC:CRS84", store.crs, always_xy=True)
    near = sa.or_(*(bulk.in_box(conn, table, to_map.transform_bounds(*part)) for part in parts))
    rows = bulk.read(conn, sa.select(table.c.id, table.c.geometry).where(*wanted, near).order_by(table.c.id))
    touching = shapely.intersects(_in_degrees(rows["geometry"], store), shapely.union_all([shapely.box(*part) for part in parts]))
    ids: NDArray[np.int64] = rows["id"].to_numpy(np.int64)[np.asarray(touching, dtype=bool)]
    return ids


def _halves(box: Box) -> list[Box]:
    west, south, east, north = box
    return [box] if west <= east else [(west, south, _EAST_END, north), (-_EAST_END, south, east, north)]


def _common(box: Box, reach: Box) -> Box | None:
    """What two boxes share: only there is the map's projection sure to be good."""
    west, south, east, north = (*map(max, box[:2], reach[:2]), *map(min, box[2:], reach[2:]))
    return (west, south, east, north) if west <= east and south <= north else None


def _extent(conn: sa.Connection, store: Store, table: sa.Table) -> Box | None:
    reach = extents.extent(conn, table)
    if reach is None:
        return None
    to_degrees = pyproj.Transformer.from_crs(store.crs, "OGC:CRS84", always_xy=True)
    west, south, east, north = to_degrees.transform_bounds(*reach)
    return west - _MARGIN_DEG, south - _MARGIN_DEG, east + _MARGIN_DEG, north + _MARGIN_DEG


def _in_degrees(geometries: pd.Series, store: Store) -> NDArray[np.object_]:
    """Geometries in longitude and latitude, flat: a map's heights are none above the ellipsoid, which RFC 7946 asks for."""
    to_degrees = pyproj.Transformer.from_crs(store.crs, "OGC:CRS84", always_xy=True)
    flat = shapely.force_2d(geometries.to_numpy(object))
    turned: NDArray[np.object_] = shapely.transform(
        flat, lambda at: np.column_stack(to_degrees.transform(at[:, 0], at[:, 1])).round(_DECIMALS)
    )
    return turned


def _as_features(rows: pd.DataFrame, store: Store, layer: str) -> list[dict[str, Any]]:
    shapes = [None if shape is None else shapely.geometry.mapping(shape) for shape in _in_degrees(rows["geometry"], store)]
    told = records(rows.drop(columns=["id", "geometry"]))
    name = NAMED_BY[layer]
    return [
        {"type": "Feature", "id": values[name], "geometry": shape, "properties": values}
        for values, shape in zip(told, shapes, strict=True)
    ]
