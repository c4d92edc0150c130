"""From a frame's columns to what both engines take, and from rows back to typed columns.

Text is pandas ``str`` (missing NaN), numbers float64 (missing NaN), keys and other whole numbers that are never missing int64,
days datetime64[s] (missing NaT), yes/no pandas ``boolean`` (missing NA), geometries an object array of shapely or None.
"""

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
import pandas as pd
import shapely
import sqlalchemy as sa
from numpy.typing import NDArray

from sewermap.errors import StoreError
from sewermap.store.geometry import Geometry, geometries_from_blobs, promoted

Column = sa.ColumnElement[Any]


def taken(table: sa.Table, frame: pd.DataFrame) -> list[sa.Column[Any]]:
    """The table's columns that the frame has, in the table's order.

    Raises KeyError if the frame has a column that the table has not, for a value would be lost.
    """
    strange = [name for name in frame.columns if name not in table.c]
    if strange:
        raise KeyError(f"{table.name} has no column {', '.join(map(str, strange))}")
    return [column for column in table.c if column.name in frame.columns]


def plain(column: Column, values: Any) -> NDArray[Any]:
    """The values of one column as numpy: text and geometry as objects (None where missing), yes/no and numbers float64, days
    datetime64[D].

    Raises StoreError for a geometry of another kind than the column's, ValueError for a broken whole number.
    """
    kind = column.type
    if isinstance(kind, Geometry):
        return _of_kind(promoted(np.asarray(values, dtype=object), kind.kind), kind.kind, str(column))
    series = pd.Series(values)
    if isinstance(kind, sa.Date):
        return pd.to_datetime(series).to_numpy(dtype="datetime64[D]")
    if isinstance(kind, sa.Boolean):
        return series.astype("boolean").to_numpy(dtype=np.float64, na_value=np.nan)
    if isinstance(kind, sa.Integer):
        return _whole(series.to_numpy(dtype=np.float64, na_value=np.nan), str(column))
    if isinstance(kind, (sa.Float, sa.Numeric)):
        return series.to_numpy(dtype=np.float64, na_value=np.nan)
    texts = series.astype("str").to_numpy(dtype=object, copy=True)
    texts[series.isna().to_numpy()] = None
    return texts


def frame_of(columns: Sequence[Column], rows: Sequence[Sequence[Any]], dialect: str) -> pd.DataFrame:
    """Rows as the engine gave them, as a frame whose columns have the types of ``columns``."""
    data: list[Sequence[Any]] = list(zip(*rows, strict=True)) if rows else [()] * len(columns)
    typed = {_name(column): _typed(column, values, dialect) for column, values in zip(columns, data, strict=True)}
    return pd.DataFrame(typed, columns=list(typed))


def _of_kind(shapes: NDArray[np.object_], kind: str, column: str) -> NDArray[np.object_]:
    if kind == "GEOMETRY":
        return shapes
    wanted = _TYPE_IDS[kind]
    kinds = shapely.get_type_id(shapes)
    wrong = np.flatnonzero((kinds >= 0) & (kinds != wanted))
    if wrong.size:
        raise StoreError(f"{column} holds {kind} geometries, not {shapes[wrong[0]].geom_type.upper()}.")
    return shapes


def _whole(numbers: NDArray[np.float64], column: str) -> NDArray[np.float64]:
    broken = np.flatnonzero(np.isfinite(numbers) & (numbers != np.rint(numbers)) | np.isinf(numbers))
    if broken.size:
        raise ValueError(f"{column} holds whole numbers, not {numbers[broken[0]]}")
    return numbers


def _name(column: Column) -> str:
    return str(getattr(column, "name", column))


def _typed(column: Column, values: Sequence[Any], dialect: str) -> Any:
    kind = column.type
    if isinstance(kind, Geometry):
        return _decoded(values, dialect)
    missing = values.count(None)
    for base, maker in _MAKERS:
        if isinstance(kind, base):
            if missing and missing == len(values):
                return pd.Series(maker([None])).take(np.zeros(missing, dtype=np.int64)).array  # a third of the time
            key = base is sa.Integer and not missing and not getattr(column, "nullable", True)
            return _keys(values) if key else maker(values)
    return pd.Series(list(values), dtype=object)


def _decoded(values: Sequence[Any], dialect: str) -> NDArray[np.object_]:
    if dialect != "postgresql":
        return geometries_from_blobs(values)
    out = np.full(len(values), None, dtype=object)
    present = [index for index, value in enumerate(values) if value is not None]
    wkb = np.empty(len(present), dtype=object)
    wkb[:] = [values[index] for index in present]
    out[present] = shapely.set_srid(shapely.from_wkb(wkb), 0)
    return out


def _texts(values: Sequence[Any]) -> Any:
    return pd.Series(list(values), dtype="str")


def _numbers(values: Sequence[Any]) -> NDArray[np.float64]:
    return np.array(values, dtype=np.float64)


def _keys(values: Sequence[Any]) -> NDArray[np.int64]:
    return np.array(values, dtype=np.int64)


def _days(values: Sequence[Any]) -> NDArray[np.datetime64]:
    return np.array(values, dtype="datetime64[D]").astype("datetime64[s]")


def _flags(values: Sequence[Any]) -> Any:
    missing = np.array([value is None for value in values], dtype=bool)
    return pd.arrays.BooleanArray(np.array(values, dtype=object).astype(bool), missing)


_TYPE_IDS = {
    "POINT": 0,
    "LINESTRING": 1,
    "POLYGON": 3,
    "MULTIPOINT": 4,
    "MULTILINESTRING": 5,
    "MULTIPOLYGON": 6,
    "GEOMETRYCOLLECTION": 7,
}
_MAKERS: tuple[tuple[type[Any], Callable[[Sequence[Any]], Any]], ...] = (
    (sa.Boolean, _flags),
    (sa.Date, _days),
    (sa.Integer, _numbers),
    (sa.Numeric, _numbers),
    (sa.Float, _numbers),
    (sa.String, _texts),
)
"""Double is a kind of Float, which SQLAlchemy 2.1 tells from Numeric; Text is a kind of String."""
