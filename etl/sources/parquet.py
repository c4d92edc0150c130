"""Tables of the Parquet format, through pyarrow; those with a geometry are layers (see ``layers``)."""

import json
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from etl.problems import empty_broken
from etl.sources.cells import text_of
from etl.sources.rows import Rows
from sewermap.errors import SourceError

SUFFIXES = (".parquet", ".pq")


def has_geometry(path: Path) -> bool:
    """Whether a Parquet file is GeoParquet. Raises SourceError for what is none, or where pyarrow is not installed."""
    return b"geo" in (_opened(path).schema_arrow.metadata or {})


def read_parquet(path: Path) -> Rows:
    """The rows of a Parquet file as text, counted from 1. Raises SourceError for what cannot be read."""
    table = _opened(path).read()
    columns = {name: _texts(table.column(name).to_pylist()) for name in table.column_names}
    row = np.arange(1, table.num_rows + 1, dtype=np.int64)
    return Rows(pd.DataFrame(columns, index=pd.RangeIndex(len(row))), row, empty_broken())


def texts_of(values: list[Any]) -> "pd.Series[str]":
    """A column of typed values as text, NaN where there is none."""
    return _texts(values)


def _texts(values: list[Any]) -> "pd.Series[str]":
    told = pd.Series([_told(value) for value in values], dtype="str")
    return told.mask(told == "")


def _told(value: Any) -> str:
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
