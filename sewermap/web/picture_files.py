"""Pictures that were found, copied into the site as they are, never altered, under names that say what they hold."""

import hashlib
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path

from sewermap.errors import SewermapError
from sewermap.picture_files import found_in, kind_of_file

_SUFFIXES = {"jpeg": ".jpg", "png": ".png", "gif": ".gif", "webp": ".webp"}


def found(names: Iterable[str], folders: Sequence[Path]) -> dict[str, Path]:
    """Which of the pictures named are there, by name: looked for in the folders, in their order.

    A name that leads out of a folder (``../``, an absolute path) is not followed, and what no page can show is left out.
    """
    files = {name: found_in(folders, name) for name in sorted(set(names))}
    return {name: file for name, file in files.items() if file is not None and kind_of_file(file)}


def site_names(pictures: Mapping[str, Path]) -> dict[str, str]:
    """What the site calls each picture: pictures/ and a name made of what it holds, so that equal pictures are one file.

    What no page can show is left out. Raises SewermapError where one cannot be read.
    """
    kinds = {name: kind_of_file(file) for name, file in pictures.items()}
    return {name: f"pictures/{_digest(pictures[name])}{_SUFFIXES[kind]}" for name, kind in kinds.items() if kind}


def contents(pictures: Mapping[str, Path]) -> dict[str, bytes]:
    """The pictures as they are, by the site's name. Raises SewermapError where one cannot be read."""
    return {name: _read(pictures[first]) for first, name in site_names(pictures).items()}


def _digest(file: Path) -> str:
    return hashlib.sha256(_read(file)).hexdigest()[:20]


def _read(file: Path) -> bytes:
    try:
        return file.read_bytes()
    except OSError as error:
        raise SewermapError(f"the picture '{file}' cannot be read: {error.strerror or error}") from error
