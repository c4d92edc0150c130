"""Counters burnt into pictures: where they stand is searched in a few pictures of each size, then all are read there."""

from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from etl.counters.engine import Picture, Seen, module
from etl.counters.places import places
from etl.counters.reads import Reading, readings, seen_at

COLUMNS: dict[str, Any] = {"counter": "str", "reading": float, "unit": "str", "sigma": float, "doubt": "str"}
NOT_FOUND = "no counter was found in it"
RIVALS = "two texts in it look like a counter"
_NO_PICTURE = "the file is no picture that can be opened"

_PROBES = 3
_ORIENTATION, _ON_ITS_SIDE = 0x0112, {5, 6, 7, 8}
"""EXIF 2.32, table 4: the tag Orientation, and the values whose rows stand upright."""


def read_pictures(paths: Sequence[Path], progress: Callable[[int, int], None] | None = None) -> pd.DataFrame:
    """The counter of each picture, one row a path, in the order given.

    Pictures of one size are taken for one camera's: they help one another about where the counter stands, what it looks like
    and its unit. So hand over a folder at a time. Columns: ``path``; ``counter`` (the text seen), ``reading``, ``unit`` (``ft``,
    ``m``, or missing where the display names none), ``sigma`` (one sigma, in the unit), missing where no counter was found; and
    ``doubt`` (why the reading should be looked at; empty where it need not be).
    ``progress`` hears how many pictures are done, and of how many. Raises SourceError where the extra ``media`` is missing.
    """
    paths = [Path(path) for path in paths]
    done: dict[int, Reading | str] = {}
    sizes = [_size(path) for path in paths]
    for size in sorted({size for size in sizes if size is not None}):
        chosen = [number for number, one in enumerate(sizes) if one == size]
        _read_camera(paths, chosen, done, progress)
    rows = [{"path": str(path), **row(done.get(number, _NO_PICTURE))} for number, path in enumerate(paths)]
    return pd.DataFrame(rows, columns=["path", *COLUMNS]).astype({"path": "str", **COLUMNS})


def row(found: Reading | str) -> dict[str, object]:
    """A reading as the columns that tell of it; a text is why there is none."""
    if isinstance(found, str):
        return {"counter": None, "reading": np.nan, "unit": None, "sigma": np.nan, "doubt": found}
    return vars(found)


def _read_camera(
    paths: Sequence[Path], chosen: list[int], done: dict[int, Reading | str], progress: Callable[[int, int], None] | None
) -> None:
    """Read the chosen pictures at the place found in a few of them; what shows nothing there is searched by itself."""
    probes = [chosen[place] for place in np.unique(np.linspace(0, len(chosen) - 1, _PROBES).astype(int))]
    found = places([picture for number in probes if (picture := _opened(paths[number])) is not None])
    seen: dict[int, list[Seen]] = {}
    for number in chosen:
        picture = _opened(paths[number])
        if picture is not None and found:
            seen[number] = seen_at(picture, found[0].box)
        _tell(progress, len(done) + len(seen), len(paths))
    if seen:
        read = zip(seen, readings(list(seen.values())), strict=True)
        done.update({number: marked(one, rival=found[0].rival) for number, one in read if one is not None})
    for number in chosen:
        if number not in done and (picture := _opened(paths[number])) is not None:
            done[number] = _read_alone(picture)
            _tell(progress, len(done), len(paths))


def _read_alone(picture: Picture) -> Reading | str:
    """The counter of a picture that no other picture helps to read: the likeliest place in it alone."""
    for place in places([picture])[:1]:
        found = readings([seen_at(picture, place.box)])[0]
        if found is not None:
            return marked(found, rival=place.rival)
    return NOT_FOUND


def marked(found: Reading, *, rival: bool) -> Reading:
    """The reading, doubtful where another text looks as much like the counter."""
    return replace(found, doubt=found.doubt or RIVALS) if rival else found


def _size(path: Path) -> tuple[int, int] | None:
    """Width and height as the picture is looked at; None where the file is no picture."""
    image = module("PIL.Image")
    try:
        with image.open(path) as file:
            size = file.size[::-1] if file.getexif().get(_ORIENTATION, 1) in _ON_ITS_SIDE else file.size
    except (OSError, ValueError, SyntaxError, image.DecompressionBombError):
        return None
    return int(size[0]), int(size[1])


def _opened(path: Path) -> Picture | None:
    """The picture, turned as its camera was held; None where it cannot be opened."""
    image, turned = module("PIL.Image"), module("PIL.ImageOps")
    try:
        with image.open(path) as file:
            return np.asarray(turned.exif_transpose(file).convert("RGB"))
    except (OSError, ValueError, SyntaxError, image.DecompressionBombError):  # what Pillow says of broken files
        return None


def _tell(progress: Callable[[int, int], None] | None, done: int, of: int) -> None:
    if progress is not None:
        progress(min(done, of), of)
