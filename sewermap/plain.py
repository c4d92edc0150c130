"""Answers as plain values: what JSON, CSV and GeoJSON writers take."""

from typing import Any

import pandas as pd

WHOLE = frozenset(
    (
        "grade", "crew_grade", "own_grade", "worst_grade", "source_row", "row", "times_seen", "days_after_work", "fixes",
        "set_aside", "issues", "repeats", "runs", "days_left", "open_issues", "check_lead", "cure", "stop", "due",
    )
)  # fmt: skip
"""Columns of whole numbers, whichever way they travelled."""


def plain(frame: pd.DataFrame) -> pd.DataFrame:
    """The frame with days as YYYY-MM-DD texts, whole grades and rows, no geometry, and None for what is missing."""
    columns = typed(frame)
    return pd.DataFrame({name: _plain_column(columns[name]) for name in columns.columns}, index=frame.index, dtype=object)


def records(frame: pd.DataFrame) -> list[dict[str, Any]]:
    """Rows as dictionaries of plain values."""
    return [dict(zip(frame.columns.drop("geometry", errors="ignore"), row, strict=True)) for row in plain(frame).to_numpy(object)]


def typed(frame: pd.DataFrame) -> pd.DataFrame:
    """The frame without its geometry, days as YYYY-MM-DD texts and whole numbers as such; columns keep a type of their own."""
    names = frame.columns.drop("geometry", errors="ignore")
    return pd.DataFrame({name: _typed_column(frame[name]) for name in names}, frame.index)


def _typed_column(column: pd.Series) -> pd.Series:
    days: pd.Series = column
    if pd.api.types.is_datetime64_any_dtype(column.dtype):
        days = column.dt.strftime("%Y-%m-%d")
    if column.name in WHOLE:
        return pd.to_numeric(column).astype("Int64")
    return days


def _plain_column(column: pd.Series) -> pd.Series:
    values = column.astype(object).to_numpy(dtype=object, copy=True)
    values[column.isna().to_numpy()] = None
    # Without a dtype, pandas would make a text column of it again, in which None is NaN.
    return pd.Series([getattr(value, "item", lambda value=value: value)() for value in values], column.index, dtype=object)
