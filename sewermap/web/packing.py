"""Columns of numbers as one short text: little-endian, byte by byte, deflated, base64.

A browser reads it from a script, which a page opened from the disk may load (it may not fetch). The bytes of a column stand
in planes, all lowest bytes first: what hardly differs from row to row then shrinks to almost nothing. A column of steps is told
as the difference from row to row, folded so that small ones of either sign are small numbers.
"""

import base64
import json
import zlib
from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

TYPES = {"uint8": "u8", "int8": "i8", "uint16": "u16", "int16": "i16", "uint32": "u32", "int32": "i32", "float32": "f32"}
"""numpy's names of the types that a column may have, and ours."""

LEVEL = 6


def packed(columns: Mapping[str, NDArray[Any]], steps: frozenset[str] = frozenset()) -> dict[str, Any]:
    """Columns as ``{"columns": [[name, type, length, is_steps], ...], "bytes": text}``.

    ``steps`` names the columns of whole numbers that are told as differences.
    Raises KeyError for a column of another type than those of ``TYPES``.

    >>> packed({"grade": np.array([1, 5], dtype=np.uint8)})["columns"]
    [['grade', 'u8', 2, 0]]
    """
    told = [[name, TYPES[column.dtype.name], len(column), int(name in steps)] for name, column in columns.items()]
    raw = b"".join(_planes(differences(column) if name in steps else column) for name, column in columns.items())
    return {"columns": told, "bytes": packed_bytes(raw)}


def unpacked(pack: Mapping[str, Any]) -> dict[str, NDArray[Any]]:
    """The columns of ``packed``, as static/packing.js reads them."""
    raw = np.frombuffer(unpacked_bytes(pack["bytes"]), dtype=np.uint8)
    types = {ours: np.dtype(name) for name, ours in TYPES.items()}
    columns, at = {}, 0
    for name, kind, length, is_steps in pack["columns"]:
        width = types[kind].itemsize
        column = np.ascontiguousarray(raw[at : at + width * length].reshape(width, length).T).view(types[kind]).reshape(length)
        columns[name] = _summed(column) if is_steps else column
        at += width * length
    return columns


def packed_bytes(raw: bytes) -> str:
    """Bytes as a text: raw deflate (RFC 1951), base64."""
    squeezer = zlib.compressobj(LEVEL, zlib.DEFLATED, -zlib.MAX_WBITS)
    return base64.b64encode(squeezer.compress(raw) + squeezer.flush()).decode("ascii")


def unpacked_bytes(text: str) -> bytes:
    """The bytes of ``packed_bytes``."""
    return zlib.decompress(base64.b64decode(text), -zlib.MAX_WBITS)


def differences(column: NDArray[Any]) -> NDArray[Any]:
    """Whole numbers as the step from each to the next, folded: 0, −1, 1, −2 … become 0, 1, 2, 3 … Wraps where a type ends.

    >>> differences(np.array([5, 4, 4], dtype=np.uint16)).tolist()
    [10, 1, 0]
    """
    signed = np.dtype(f"i{column.dtype.itemsize}")
    step = np.diff(column.view(signed), prepend=signed.type(0))
    return ((step << 1) ^ (step >> (8 * column.dtype.itemsize - 1))).astype(signed).view(column.dtype)


def call(function: str, *values: Any) -> str:
    r"""A script that hands values over. Escaped so far that it could even stand in a page without becoming markup.

    >>> call("sewermap.take", {"title": "</script>"})
    'sewermap.take({"title":"\\u003c/script>"});\n'
    """
    texts = [json.dumps(value, ensure_ascii=True, allow_nan=False, separators=(",", ":")) for value in values]
    return f"{function}({','.join(texts).replace('<', chr(92) + 'u003c')});\n"


def _planes(column: NDArray[Any]) -> bytes:
    little = np.ascontiguousarray(column, dtype=column.dtype.newbyteorder("<"))
    return little.view(np.uint8).reshape(len(little), -1).T.tobytes() if len(little) else b""


def _summed(steps: NDArray[Any]) -> NDArray[Any]:
    unsigned = steps.view(np.dtype(f"u{steps.dtype.itemsize}"))
    unfolded = (unsigned >> 1) ^ (~(unsigned & 1) + unsigned.dtype.type(1))
    return np.cumsum(unfolded, dtype=unsigned.dtype).view(steps.dtype)
