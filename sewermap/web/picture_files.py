"""Pictures that were found, in the site's folder: small ones to look at, and whole ones that are not too large, never altered.

Files are called after what the picture holds, so that equal pictures are one file. A small one has no EXIF left: its
orientation is applied, and where and when it was taken stays with the original.
"""

import hashlib
import io
import warnings
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path

from PIL import Image, ImageOps

from sewermap.errors import SewermapError
from sewermap.picture_files import found_in, kind_of_file

EDGE = 480
"""Pixels of a small picture's longer side."""

LIGHT = 60_000
"""Bytes: a picture no longer and no heavier than this is small as it is."""

HEAVY = 1_000_000
"""Bytes: a heavier picture is not copied whole; a site is to be sent, and the original stays where it is."""

_SMALL = "-small.jpg"
_QUALITY = 70
_SUFFIXES = {"jpeg": ".jpg", "png": ".png", "gif": ".gif", "webp": ".webp"}
_UNREADABLE = (OSError, SyntaxError, ValueError, Image.DecompressionBombError)


def found(names: Iterable[str], folders: Sequence[Path]) -> dict[str, Path]:
    """Which of the pictures named are there, by name: looked for in the folders, in their order.

    A name that leads out of a folder (``../``, an absolute path) is not followed, and what no page can show is left out.
    """
    files = {name: found_in(folders, name) for name in sorted(set(names))}
    return {name: file for name, file in files.items() if file is not None and kind_of_file(file)}


def site_names(pictures: Mapping[str, Path]) -> dict[str, str]:
    """What a link to each picture opens: the whole picture under pictures/, or the small one where the whole is too heavy.

    What no page can show is left out. Raises SewermapError where one cannot be read.
    """
    small = small_names(pictures)
    return {name: small[name] if _size(pictures[name]) > HEAVY else _whole(file, kind) for name, file, kind in _shown(pictures)}


def small_names(pictures: Mapping[str, Path]) -> dict[str, str]:
    """The small picture that a page shows of each, under pictures/: the whole one where that is small.

    What no page can show is left out. Raises SewermapError where one cannot be read.
    """
    return {
        name: f"pictures/{_digest(file)}{_SMALL}" if _is_large(file) else _whole(file, kind)
        for name, file, kind in _shown(pictures)
    }


def contents(pictures: Mapping[str, Path]) -> dict[str, bytes]:
    """The pictures by the site's names, whole ones as they are. Raises SewermapError where one cannot be read."""
    small, whole = small_names(pictures), site_names(pictures)
    made = {name: pictures[first] for first, name in small.items() if name.endswith(_SMALL)}
    kept = {name: pictures[first] for first, name in whole.items() if name not in made}
    return {name: _small(_read(file)) for name, file in made.items()} | {name: _read(file) for name, file in kept.items()}


def _shown(pictures: Mapping[str, Path]) -> list[tuple[str, Path, str]]:
    kinds = ((name, file, kind_of_file(file)) for name, file in pictures.items())
    return [(name, file, kind) for name, file, kind in kinds if kind]


def _whole(file: Path, kind: str) -> str:
    return f"pictures/{_digest(file)}{_SUFFIXES[kind]}"


def _is_large(file: Path) -> bool:
    """Whether a picture is worth a smaller one; not so what moves, and what we cannot open."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # odd EXIF, very many pixels: told by what comes of it
        try:
            with Image.open(file) as picture:
                still = getattr(picture, "n_frames", 1) == 1
                return still and (max(picture.size) > EDGE or _size(file) > LIGHT)
        except _UNREADABLE:
            return False


def _small(content: bytes) -> bytes:
    """A picture made small; one that is damaged stays as it is, and a browser shows what it can."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        try:
            with Image.open(io.BytesIO(content)) as picture:
                picture.draft("RGB", (2 * EDGE, 2 * EDGE))  # a large JPEG is decoded at a part of its size
                turned = ImageOps.exif_transpose(picture)
                turned.thumbnail((EDGE, EDGE))
                return _jpeg(turned)
        except _UNREADABLE:
            return content


def _jpeg(picture: Image.Image) -> bytes:
    """Without anything but the picture; what lets the ground through lies on white."""
    plain = picture.convert("RGBA")
    ground = Image.new("RGB", plain.size, "white")
    ground.paste(plain, mask=plain.getchannel("A"))
    stream = io.BytesIO()
    ground.save(stream, "JPEG", quality=_QUALITY)
    return stream.getvalue()


def _size(file: Path) -> int:
    try:
        return file.stat().st_size
    except OSError as error:
        raise _lost(file, error) from error


def _digest(file: Path) -> str:
    return hashlib.sha256(_read(file)).hexdigest()[:20]


def _read(file: Path) -> bytes:
    try:
        return file.read_bytes()
    except OSError as error:
        raise _lost(file, error) from error


def _lost(file: Path, error: OSError) -> SewermapError:
    return SewermapError(f"the picture '{file}' cannot be read: {error.strerror or error}")
