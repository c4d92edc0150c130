"""Rows of a list page as one script: columns of plain values, deflated, loaded by a script tag."""

import json

import numpy as np
import pandas as pd

from sewermap.plain import plain
from sewermap.web.packing import call, packed_bytes
from sewermap.web.site_index import plain_texts


def list_file(name: str, lists: dict[str, pd.DataFrame]) -> str:
    """The script that hands lists of rows over, by name.

    ``sewermap.listData(name, text)``: the text is packed JSON ``{list: {"count": n, "columns": {column: [value, …]}}}``.
    Days are texts YYYY-MM-DD, what is missing is null.
    """
    told = {key: {"count": len(frame), "columns": _columns(frame)} for key, frame in lists.items()}
    # A lone surrogate has no UTF-8: it is told as a question mark.
    text = json.dumps(told, ensure_ascii=False, allow_nan=False, separators=(",", ":")).encode("utf-8", "replace")
    return call("sewermap.listData", name, packed_bytes(text))


def place_of(frame: pd.DataFrame) -> "pd.Series[str]":
    """House and street as one reads them: the street is added where the address does not name it."""
    address, street = plain_texts(frame["address"]), plain_texts(frame["street"])
    pairs = zip(address, street, strict=True)
    told = [house if way.casefold() in house.casefold() else f"{house} {way}".strip() for house, way in pairs]
    return pd.Series(told, index=frame.index, dtype="str")


def steps(rows: "np.ndarray[tuple[int], np.dtype[np.int64]]") -> list[int]:
    """Rising row numbers as the step from each to the next, the first from 0.

    >>> steps(np.array([3, 4, 9]))
    [3, 1, 5]
    """
    return [int(step) for step in np.diff(rows, prepend=0)]


def _columns(frame: pd.DataFrame) -> dict[str, list[object]]:
    values = plain(frame)
    return {str(name): values[name].tolist() for name in values.columns}
