"""One geometry column type for both engines, and the GeoPackage form of a geometry.

In a GeoPackage a geometry is a blob: a header (``GP``, version, flags, SRS, envelope), then ISO WKB (OGC 12-128r19, clause
2.1.3). In PostGIS it is the ``geometry`` type. On the Python side both are shapely geometries or None. Coordinates are in
the map's CRS; a measure M is not kept, a height Z is.
"""

import operator
from collections.abc import Callable, Iterable
from itertools import repeat
from typing import Any, Literal

import geoalchemy2
import numpy as np
import shapely
import sqlalchemy as sa
from numpy.typing import NDArray
from sqlalchemy.types import TypeDecorator, TypeEngine, UserDefinedType

SRID_OF_DIALECT = "sewermap_srid"
"""Attribute of an engine's dialect: the SRID that single geometries bound to a statement get. Set when a store is opened."""

_EMPTY = 0b1_0000
_ENVELOPE_XY = 0b0010
_LITTLE_ENDIAN = 1
_HEADER_BYTES = np.array([8, 40, 56, 56, 72])
"""Length of the header for each envelope code: none, xy, xyz, xym, xyzm."""

_FLAGS_AT = 3
_HEADER = np.dtype([("magic", "S2"), ("version", "u1"), ("flags", "u1"), ("srs", "<i4")])
_ENVELOPE_HEADER = np.dtype([*_HEADER.descr, ("minx", "<f8"), ("maxx", "<f8"), ("miny", "<f8"), ("maxy", "<f8")])
_POINT = np.dtype([*_HEADER.descr, ("order", "u1"), ("type", "<u4"), ("x", "<f8"), ("y", "<f8")])
_WKB_POINT = 1

_SINGLE_TYPE = {"POINT": 0, "LINESTRING": 1, "POLYGON": 3}


_MULTI: dict[str, Callable[..., Any]] = {
    "MULTIPOINT": shapely.multipoints,
    "MULTILINESTRING": shapely.multilinestrings,
    "MULTIPOLYGON": shapely.multipolygons,
}


class _Blob(UserDefinedType[bytes]):
    """A GeoPackage geometry column: its declared type is the geometry's name, its values are blobs."""

    cache_ok = True

    def __init__(self, kind: str) -> None:
        self.kind = kind

    def get_col_spec(self, **_: object) -> str:
        """The type's name in CREATE TABLE."""
        return self.kind


class Geometry(TypeDecorator[Any]):
    """A column of shapely geometries of one kind, such as ``POINT``, ``LINESTRING`` or ``MULTIPOLYGON``.

    It is a blob in a GeoPackage and ``geometry`` in PostGIS, where the kind and the SRID are CHECKs instead of a type
    modifier, because a modifier cannot say that Z is optional.

    >>> Geometry("POINT").kind
    'POINT'
    """

    impl = sa.LargeBinary
    cache_ok = True
    # GeoAlchemy2's listeners read these off any type whose PostgreSQL form is theirs: no index of theirs, no typmod.
    spatial_index = False
    use_typmod = None
    use_N_D_index = False  # noqa: N815 - GeoAlchemy2's name

    def __init__(self, kind: str | None = None) -> None:
        super().__init__()
        self.kind = kind or "GEOMETRY"

    def load_dialect_impl(self, dialect: sa.Dialect | None) -> TypeEngine[Any]:
        """The engine's own type; GeoAlchemy2 also asks without a dialect."""
        if dialect is not None and dialect.name == "postgresql":
            return geoalchemy2.Geometry(geometry_type=None, spatial_index=False)
        if dialect is None:
            return sa.LargeBinary()
        return dialect.type_descriptor(_Blob(self.kind))

    def process_bind_param(self, value: Any, dialect: sa.Dialect) -> Any:
        """A shapely geometry as the engine takes it, in the SRID of the opened store."""
        if value is None or not isinstance(value, shapely.Geometry):
            return value
        srid = int(getattr(dialect, SRID_OF_DIALECT, 0))
        if dialect.name == "postgresql":
            ewkb = shapely.to_wkb(shapely.set_srid(value, srid), include_srid=True)
            return geoalchemy2.WKBElement(ewkb, srid=srid, extended=True)
        return blobs_from_geometries([value], srid)[0]

    def process_result_value(self, value: Any, dialect: sa.Dialect) -> Any:
        """A shapely geometry from what the engine gave."""
        if value is None:
            return None
        if dialect.name == "postgresql":
            return shapely.from_wkb(bytes(getattr(value, "data", value)))
        return geometries_from_blobs([value])[0]

    @property
    def python_type(self) -> type[Any]:
        """The type of a value."""
        return shapely.Geometry


def kind_of_column(column: sa.ColumnElement[Any]) -> str | None:
    """The geometry kind of a column, or None for any other column."""
    return column.type.kind if isinstance(column.type, Geometry) else None


def promoted(geometries: Iterable[Any], kind: str) -> NDArray[np.object_]:
    """Geometries as a column of ``kind`` holds them: single ones become multi where it asks for that, M is dropped.

    Missing and NaN become None. A geometry of another kind is left as it is (the caller tells).

    >>> promoted([shapely.Point(1, 2), None], "MULTIPOINT")[0].geom_type
    'MultiPoint'
    """
    shapes = _array(geometries)
    shapes[~shapely.is_geometry(shapes)] = None
    shapes = _without_m(shapes)
    single = _SINGLE_TYPE.get(kind.removeprefix("MULTI"))
    if single is None or kind not in _MULTI:
        return shapes
    where = np.flatnonzero(shapely.get_type_id(shapes) == single)
    if where.size:
        shapes[where] = _MULTI[kind](shapes[where], indices=np.arange(where.size))
    return shapes


def blobs_from_geometries(geometries: Iterable[Any], srs_id: int) -> list[bytes | None]:
    """GeoPackage blobs of shapely geometries (None for None): no envelope for points, xy envelopes for all else.

    >>> blobs_from_geometries([shapely.Point(0, 0), None], 4326)[0].hex()[:16]
    '47500001e6100000'
    """
    shapes = _without_m(_array(geometries))
    kinds = shapely.get_type_id(shapes)
    if shapes.size and bool(np.all((kinds == 0) & ~shapely.has_z(shapes) & ~shapely.is_empty(shapes))):
        return point_blobs(shapely.get_coordinates(shapes), srs_id)
    present = np.flatnonzero(kinds >= 0)
    blobs = np.full(shapes.size, None, dtype=object)
    blobs[present] = _filled(_blobs(shapes[present], kinds[present] == 0, srs_id))
    return list(blobs)


def point_blobs(xy: NDArray[np.float64], srs_id: int) -> list[bytes | None]:
    """GeoPackage blobs of 2-D points, from an (N, 2) array of coordinates in one go: 29 bytes each."""
    rows = np.empty(len(xy), dtype=_POINT)
    _write_header(rows, _LITTLE_ENDIAN, srs_id)
    rows["order"], rows["type"] = 1, _WKB_POINT
    rows["x"], rows["y"] = xy[:, 0], xy[:, 1]
    return rows.view(f"V{_POINT.itemsize}").tolist()


def geometries_from_blobs(blobs: Iterable[bytes | None], on_invalid: Literal["raise", "ignore"] = "raise") -> NDArray[np.object_]:
    """Shapely geometries from GeoPackage blobs, whoever wrote them and with whatever envelope; None for None.

    Raises shapely.GEOSException for what is no geometry, or gives None for it with ``on_invalid="ignore"``.

    >>> str(geometries_from_blobs(blobs_from_geometries([shapely.Point(1, 2)], 0))[0])
    'POINT (1 2)'
    """
    column = _filled(blobs)
    present = np.flatnonzero(column != None)  # noqa: E711 - elementwise
    shapes = np.full(column.size, None, dtype=object)
    if not present.size:
        return shapes
    values = column[present].tolist()
    lengths = np.fromiter(map(len, values), dtype=np.int64, count=len(values))
    joined = np.frombuffer(b"".join(values), dtype=np.uint8)
    if bool(np.all(lengths == _POINT.itemsize)):
        points = joined.view(_POINT)
        if bool(np.all((points["type"] == _WKB_POINT) & (points["order"] == 1) & (points["flags"] == _LITTLE_ENDIAN))):
            shapes[present] = shapely.points(points["x"], points["y"])
            return shapes
    starts = np.cumsum(lengths) - lengths
    flags = np.where(lengths > _FLAGS_AT, joined[np.minimum(starts + _FLAGS_AT, len(joined) - 1)], 0)
    header = _HEADER_BYTES[np.minimum(flags >> 1 & 7, 4)]
    bodies = list(map(operator.getitem, values, map(slice, header.tolist(), repeat(None))))
    shapes[present] = shapely.from_wkb(_filled(bodies), on_invalid=on_invalid)
    return shapes


def _blobs(shapes: NDArray[np.object_], is_point: NDArray[np.bool_], srs_id: int) -> list[bytes]:
    """Blobs of geometries none of which is None."""
    empty = shapely.is_empty(shapes)
    bodies = shapely.to_wkb(shapes, byte_order=1, flavor="iso")
    plain = np.zeros(shapes.size, dtype=_HEADER)
    _write_header(plain, np.where(empty, _LITTLE_ENDIAN | _EMPTY, _LITTLE_ENDIAN), srs_id)
    boxed = np.zeros(shapes.size, dtype=_ENVELOPE_HEADER)
    _write_header(boxed, _LITTLE_ENDIAN | _ENVELOPE_XY, srs_id)
    box = shapely.bounds(shapes)
    for name, side in (("minx", 0), ("miny", 1), ("maxx", 2), ("maxy", 3)):
        boxed[name] = box[:, side]
    headers = _filled(boxed.view(f"V{_ENVELOPE_HEADER.itemsize}").tolist())
    bare = np.flatnonzero(empty | is_point)
    headers[bare] = _filled(plain[bare].view(f"V{_HEADER.itemsize}").tolist())
    return list(map(operator.add, headers, bodies))


def _write_header(rows: NDArray[Any], flags: Any, srs_id: int) -> None:
    rows["magic"], rows["version"], rows["flags"], rows["srs"] = b"GP", 0, flags, srs_id


def _without_m(shapes: NDArray[np.object_]) -> NDArray[np.object_]:
    measured = np.flatnonzero(shapely.has_m(shapes))
    if not measured.size:
        return shapes
    shapes = shapes.copy()
    with_z = shapely.has_z(shapes[measured])
    flat, high = measured[~with_z], measured[with_z]
    shapes[flat] = shapely.force_2d(shapes[flat])
    shapes[high] = shapely.from_wkb(shapely.to_wkb(shapes[high], output_dimension=3))
    return shapes


def _array(geometries: Iterable[Any]) -> NDArray[np.object_]:
    return _filled(geometries)


def _filled(values: Iterable[Any]) -> NDArray[np.object_]:
    """A one-dimensional object array, a copy: numpy must not look inside geometries or bytes."""
    if isinstance(values, np.ndarray):
        return np.array(values, dtype=object)
    listed = list(values)
    out = np.empty(len(listed), dtype=object)
    out[:] = listed
    return out
