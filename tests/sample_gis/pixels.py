"""PNG files read as the standard has them (W3C, Portable Network Graphics, second edition), for the sort that the town has."""

import struct
import zlib
from pathlib import Path

import numpy as np


def pixels_of(png: bytes) -> np.ndarray:
    """(H, W, 3) red, green, blue of an indexed PNG of 8 bits whose rows are not filtered; chunk checksums must hold."""
    assert png[:8] == b"\x89PNG\r\n\x1a\n"
    at, chunks = 8, {}
    while at < len(png):
        (length,) = struct.unpack(">I", png[at : at + 4])
        name, content = png[at + 4 : at + 8], png[at + 8 : at + 8 + length]
        assert struct.unpack(">I", png[at + 8 + length : at + 12 + length])[0] == zlib.crc32(name + content)
        chunks[name] = chunks.get(name, b"") + content
        at += 12 + length
    wide, high, depth, colour, compression, filters, interlace = struct.unpack(">IIBBBBB", chunks[b"IHDR"])
    assert (depth, colour, compression, filters, interlace) == (8, 3, 0, 0, 0)
    rows = np.frombuffer(zlib.decompress(chunks[b"IDAT"]), np.uint8).reshape(high, wide + 1)
    assert (rows[:, 0] == 0).all()
    return np.frombuffer(chunks[b"PLTE"], np.uint8).reshape(-1, 3)[rows[:, 1:]]


def pixels_in(path: Path) -> np.ndarray:
    """The pixels of a file."""
    return pixels_of(path.read_bytes())
