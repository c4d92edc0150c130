"""Tables of the Parquet format, through pyarrow; those with a geometry are layers (see ``layers``)."""

import json
import math
from collections import Counter
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from etl.problems import empty_broken
from etl.sources.cells import text_of
from etl.sources.rows import Rows
from sewermap.errors import SourceError

SUFFIXES = (".parquet", ".pq")

_NARROW = ("float", "halffloat")
"""Numbers that would show digits they never had if they were told as wider ones: 3.3 as 3.299999952316284."""


def has_geometry(path: Path) -> bool:
    """Whether a Parquet file is GeoParquet. Raises SourceError for what is none, or where pyarrow is not installed."""
    return b"geo" in (_opened(path).schema_arrow.metadata or {})


def read_parquet(path: Path) -> Rows:
    """The rows of a Parquet file as text, counted from 1. Raises SourceError for what cannot be read."""
    table = _opened(path).read()
    twice = [name for name, count in Counter(table.column_names).items() if count > 1]
    if twice:
        raise SourceError(f"{path.name} has two columns named {' and two named '.join(twice)}; give each its own name")
    columns = {name: _texts(table.column(name)) for name in table.column_names}
    row = np.arange(1, table.num_rows + 1, dtype=np.int64)
    return Rows(pd.DataFrame(columns, index=pd.RangeIndex(len(row))), row, empty_broken())


def _texts(column: Any) -> "pd.Series[str]":
    """A column of typed values as text, NaN where there is none. Numbers of 32 bits have the shortest form of their own."""
    narrow = column.type.to_pandas_dtype() if str(column.type) in _NARROW else None
    values = column.to_pylist()
    if narrow is not None:
        values = [None if value is None else float(str(narrow(value))) for value in values]
    told = pd.Series([_told(value) for value in values], dtype="str")
    return told.mask(told == "")


def _told(value: Any) -> str:
    if isinstance(value, float) and math.isnan(value):
        return ""
    if isinstance(value, bytes):
        return value.decode(errors="backslashreplace").strip()  # texts that the writer has not marked as such
    return json.dumps(value, ensure_ascii=False, default=str) if isinstance(value, (list, dict)) else text_of(value)


def _opened(path: Path) -> Any:
    try:
        import pyarrow as pa  # noqa: PLC0415 (an extra)
        import pyarrow.parquet as pq  # noqa: PLC0415
    except ModuleNotFoundError:
        raise SourceError(f'{path.name} needs pyarrow: pip install "sewermap[parquet]"') from None
    try:
        return pq.ParquetFile(path)
    except (OSError, pa.ArrowException) as error:
        raise SourceError(f"{path.name} cannot be read as Parquet: {str(error).splitlines()[0]}") from None
