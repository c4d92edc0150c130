"""The content of a row as one short text, so that equal rows are found by columns and not one by one."""

from collections.abc import Iterable
from hashlib import blake2b

import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

PROVENANCE = frozenset({"id", "content", "loaded_in", "source_row", "source_file", "withdrawn_in", "replaced_by"})
"""Columns that tell where a row came from, not what it says."""


END = "\x00"
"""Stands behind each cell. No cell can hold it: a row with a NUL byte is rejected before."""


def contents(frame: pd.DataFrame) -> NDArray[np.object_]:
    """A digest (24 hex digits of BLAKE2b) for each row, over all that it says.

    Only filled cells take part, each with its column's name, so that a column added to a table later changes no digest.
    """
    texts = np.full(len(frame), "", dtype=object)
    for name in sorted(set(frame.columns) - PROVENANCE):
        filled = frame[name].notna().to_numpy()
        if filled.any():
            texts[filled] += f"{name}=" + _as_text(frame[name][filled]) + END
    return np.array([blake2b(text.encode("utf-8", "surrogatepass"), digest_size=12).hexdigest() for text in texts], dtype=object)


def occurrence(frame: pd.DataFrame, by: Iterable[str]) -> NDArray[np.int64]:
    """The how-manieth row among its equals each row is, counted from 0 in the frame's order."""
    nth: NDArray[np.int64] = frame.groupby(list(by), sort=False).cumcount().to_numpy(np.int64)  # type: ignore[assignment]
    return nth


def _as_text(column: pd.Series) -> NDArray[np.object_]:
    if column.name == "geometry":
        return shapely.to_wkb(column.to_numpy(), hex=True).astype(object)
    if pd.api.types.is_datetime64_any_dtype(column.dtype):
        return np.datetime_as_string(column.to_numpy().astype("datetime64[D]")).astype(object)
    if pd.api.types.is_numeric_dtype(column.dtype):
        # The shortest text that gives the number back, so that it reads the same from either engine.
        values = column.to_numpy(np.float64) + 0.0
        return values.astype("U32").astype(object)
    return column.to_numpy(object)
