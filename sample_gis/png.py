"""Pictures of few colours as PNG files (W3C, Portable Network Graphics, second edition: indexed colour), by zlib alone."""

import struct
import zlib

import numpy as np
from numpy.typing import NDArray

SIGNATURE = b"\x89PNG\r\n\x1a\n"
INDEXED, DEPTH = 3, 8


def png_bytes(pixels: NDArray[np.uint8], palette: NDArray[np.uint8]) -> bytes:
    """A PNG file of ``pixels`` (H, W), rows of ``palette`` (up to 256, 3) red, green, blue."""
    high, wide = pixels.shape
    header = struct.pack(">IIBBBBB", wide, high, DEPTH, INDEXED, 0, 0, 0)
    rows = np.pad(pixels, ((0, 0), (1, 0))).tobytes()
    parts = ((b"IHDR", header), (b"PLTE", palette.tobytes()), (b"IDAT", zlib.compress(rows, 9)), (b"IEND", b""))
    return SIGNATURE + b"".join(_chunk(name, content) for name, content in parts)


def _chunk(name: bytes, content: bytes) -> bytes:
    return struct.pack(">I", len(content)) + name + content + struct.pack(">I", zlib.crc32(name + content))
