"""Files of a camera's stick: what a picture or a film says of itself, one row a file. Nothing is ever written to them.

When a picture was taken is told by EXIF (CIPA DC-008: DateTimeOriginal, tag 0x9003, and SubSecTimeOriginal, tag 0x9291: the
camera's own clock, without a zone); of a film by its movie header (ISO/IEC 14496-12, 8.2.2: seconds since 1904). Where neither
says so, the file's own time stands for it, in the zone of this computer; copying a file may change that one.
"""

import datetime as dt
import hashlib
import struct
import warnings
from pathlib import Path
from typing import BinaryIO

import numpy as np
import pandas as pd
from PIL import ExifTags, Image, UnidentifiedImageError

from etl.problems import empty_broken
from etl.sources.rows import Rows

PICTURES = (".jpg", ".jpeg", ".png")
FILMS = (".mp4", ".mov")
LISTS = (".csv", ".tsv", ".xlsx", ".xlsm", ".ods", ".parquet", ".jsonl", ".ndjson")
"""Tables that list pictures; whatever else ``[pictures]`` names is taken for a file of a stick."""

FROM_EXIF, FROM_FILM, FROM_FILE = "exif", "film", "file time"

_EPOCH = dt.datetime(1904, 1, 1)  # noqa: DTZ001 (the header says no zone that cameras keep to)
_BOXES = {b"ftyp", b"moov", b"mdat", b"wide", b"free", b"skip"}
_HEADER = 8
_LARGE = 1
_UNREADABLE = (OSError, SyntaxError, ValueError, struct.error, Image.DecompressionBombError)
"""What Pillow raises for files that are damaged, or made to harm."""


def is_media(path: Path) -> bool:
    """Whether a file that ``[pictures]`` names is read as a picture or film, and not as a table of them."""
    return path.suffix.casefold() not in LISTS


def is_film(name: str) -> bool:
    """Whether a file is a film, by its name.

    >>> is_film("stick/RUN1.MP4"), is_film("stick/IMG_1.JPG")
    (True, False)
    """
    return name.casefold().endswith(FILMS)


def read_media(path: Path, name: str) -> tuple[Rows, str]:
    """The row of a picture or film, and the SHA-256 of its content.

    Columns: ``picture`` (``name``, as the user's folder has it), ``sha256``, ``taken_at`` (``2024-05-06T10:11:12``, the camera's
    clock), ``taken_from`` (exif, film, file time). A file that is missing, damaged or of another sort is a broken row.
    """
    try:
        with path.open("rb") as stream:
            digest = hashlib.file_digest(stream, "sha256").hexdigest()
        taken_at, taken_from = _taken(path)
    except _UNREADABLE as error:
        return _broken(name, f"it cannot be read ({_why(error)}); copy it from the stick again, or take it out"), "unreadable"
    cells = pd.DataFrame({"picture": [name], "sha256": [digest], "taken_at": [taken_at], "taken_from": [taken_from]}, dtype="str")
    return Rows(cells, np.array([1], dtype=np.int64), empty_broken()), digest


def _taken(path: Path) -> tuple[str, str]:
    suffix = path.suffix.casefold()
    if suffix in PICTURES:
        told, origin = _picture_time(path), FROM_EXIF
    elif suffix in FILMS:
        told, origin = _film_time(path), FROM_FILM
    else:
        raise ValueError(
            f"a {suffix or 'file without a suffix'} is neither a picture ({_list(PICTURES)}) nor a film ({_list(FILMS)})"
        )
    if told is not None:
        return told, origin
    # The user's own clock is what a stick's file times are in.
    return dt.datetime.fromtimestamp(int(path.stat().st_mtime)).isoformat(), FROM_FILE  # noqa: DTZ006


def _picture_time(path: Path) -> str | None:
    """When EXIF says a picture was taken; None where it does not. Raises where the picture cannot be shown whole."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # odd EXIF and very large pictures are told by what we find, not by Pillow
        with Image.open(path) as picture:
            exif = picture.getexif().get_ifd(ExifTags.IFD.Exif)
            picture.draft("L", (64, 64))  # a JPEG is read to its end all the same, but quickly
            picture.load()
    said = str(exif.get(ExifTags.Base.DateTimeOriginal, "")).strip("\x00 ")
    try:
        whole = dt.datetime.strptime(said, "%Y:%m:%d %H:%M:%S").isoformat()  # noqa: DTZ007 (EXIF's clock has no zone)
    except ValueError:
        return None
    part = str(exif.get(ExifTags.Base.SubsecTimeOriginal, "")).strip("\x00 ")
    return f"{whole}.{part}" if part.isascii() and part.isdigit() else whole


def _film_time(path: Path) -> str | None:
    """When the movie header says a film was made; None where it does not. Raises ValueError for what is no film."""
    with path.open("rb") as stream:
        first = stream.read(_HEADER)
        if first[4:] not in _BOXES:
            raise ValueError("it is no film that begins as MP4 and MOV do")
        stream.seek(0)
        movie = _box(stream, b"moov", path.stat().st_size)
        header = None if movie is None else _box(stream, b"mvhd", movie)
        if header is None:
            raise ValueError("it has no movie header: it was cut off")
        version = stream.read(4)[0]
        seconds = struct.unpack(">Q" if version else ">I", stream.read(8 if version else 4))[0]
    # 0 is a clock that nobody set; so is what lies before any such film could be made.
    if not _SECONDS_OF_2000 <= seconds <= _SECONDS_OF_2100:
        return None
    return (_EPOCH + dt.timedelta(seconds=seconds)).isoformat()


_SECONDS_OF_2000 = int((dt.datetime(2000, 1, 1) - _EPOCH).total_seconds())  # noqa: DTZ001
_SECONDS_OF_2100 = int((dt.datetime(2100, 1, 1) - _EPOCH).total_seconds())  # noqa: DTZ001


def _box(stream: BinaryIO, wanted: bytes, end: int) -> int | None:
    """Go to the content of the first box of a sort before ``end`` (a position); gives where that content ends."""
    while stream.tell() + _HEADER <= end:
        start = stream.tell()
        size, kind = struct.unpack(">I4s", stream.read(_HEADER))
        if size == _LARGE:
            size = struct.unpack(">Q", stream.read(_HEADER))[0]
        stop = start + size if size else end
        if kind == wanted:
            return int(min(stop, end))
        if stop <= start:
            return None
        stream.seek(stop)
    return None


def _broken(name: str, reason: str) -> Rows:
    row = pd.DataFrame({"row": np.array([1], dtype=np.int64), "field": "picture", "value": name, "reason": reason})
    cells = pd.DataFrame({column: pd.Series([], dtype="str") for column in ("picture", "sha256", "taken_at", "taken_from")})
    return Rows(cells, np.array([], dtype=np.int64), row.astype({"field": "str", "value": "str", "reason": "str"}))


def _why(error: BaseException) -> str:
    if isinstance(error, OSError) and error.strerror:
        return error.strerror
    if isinstance(error, UnidentifiedImageError):
        return "it is no picture"
    return str(error) or type(error).__name__


def _list(suffixes: tuple[str, ...]) -> str:
    return ", ".join(suffixes)
