"""Counters burnt into films: frames all over the film, more of them the more time there is, read as pictures of one camera."""

import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from etl.counters.engine import Picture, Seen, module
from etl.counters.order import sane
from etl.counters.pictures import COLUMNS, NOT_FOUND, marked, row
from etl.counters.places import Place, places
from etl.counters.reads import Reading, readings, seen_at
from sewermap.errors import SourceError

OUT_OF_ORDER = "it does not fit the readings before and after it"

_EVERY_S = 2.0
_PROBES = (0.1, 0.5, 0.9)
_FOR_FRAMES = 0.8
"""The share of the time that goes into seeing frames; the rest is for telling what was seen."""


def read_film(path: Path, *, budget_s: float, progress: Callable[[int, int], None] | None = None) -> pd.DataFrame:
    """What the counter of a film showed, one row a frame that was looked at, in order of time.

    Frames two seconds apart are looked at, the ones that halve the longest gaps first, until about ``budget_s`` seconds have
    been used. Columns: ``time_s`` from the film's beginning, and those of ``read_pictures``. A reading that does not fit the
    others (see ``sane``) bears a doubt. ``progress`` hears how many frames are done, and of how many at most. Raises SourceError
    where the file is no film that can be opened, or the extra ``media`` is missing.
    """
    end = time.monotonic() + budget_s * _FOR_FRAMES
    av = module("av")
    try:
        with av.open(str(path)) as film:
            frames = Frames(film)
            found = places([picture for share in _PROBES for _, picture in frames.at(share * frames.lasts_s)])
            seen = _seen(frames, found[0], end, progress) if found else {}
    except (av.FFmpegError, IndexError) as error:  # no film at all; a film without pictures
        raise SourceError(f"{Path(path).name}: the file is no film that can be opened; copy it again, or leave it out") from error
    told = dict(zip(seen, readings(list(seen.values())), strict=True))
    rows = [{"time_s": at, **row(_told(told[at], found[0]))} for at in sorted(told)]
    return _checked(pd.DataFrame(rows, columns=["time_s", *COLUMNS]).astype({"time_s": float, **COLUMNS}))


class Frames:
    """The frames of an open film at given times."""

    def __init__(self, film: Any) -> None:
        """``film``: an open container of PyAV; raises IndexError where it holds no pictures that move."""
        self._film, self._stream = film, film.streams.video[0]
        self._stream.thread_count = 1
        base = self._stream.time_base
        self._begin_s = float((self._stream.start_time or 0) * base)
        lasts = self._stream.duration * base if self._stream.duration else (film.duration or 0) / module("av").time_base
        self.lasts_s = float(lasts)

    def at(self, time_s: float) -> Iterator[tuple[float, Picture]]:
        """The first frame from that time on, and its own time; nothing where the film has ended."""
        wanted = time_s + self._begin_s
        self._film.seek(int(wanted / self._stream.time_base), stream=self._stream)
        for frame in self._film.decode(self._stream):
            if frame.time is not None and frame.time >= wanted - 1e-6:
                yield round(frame.time - self._begin_s, 3), frame.to_ndarray(format="rgb24")
                return


def _seen(frames: Frames, place: Place, end: float, progress: Callable[[int, int], None] | None) -> dict[float, list[Seen]]:
    """What is seen at the counter's place, by the time of the frame; as many frames as there is time for, but three at least."""
    seen: dict[float, list[Seen]] = {}
    wanted = _halving(max(1, int(np.ceil(frames.lasts_s / _EVERY_S))))
    for done, number in enumerate(wanted):
        if time.monotonic() > end and len(seen) >= len(_PROBES):
            break
        for at, picture in frames.at(number * _EVERY_S):
            seen[at] = seen_at(picture, place.box)
        if progress is not None:
            progress(done + 1, len(wanted))
    return seen


def _halving(count: int) -> list[int]:
    """The numbers below ``count``, so ordered that each round stands in the middle of the gaps of those before it.

    >>> _halving(6)
    [0, 4, 2, 1, 5, 3]
    """
    bits = max(count - 1, 1).bit_length()
    turned = (int(f"{number:0{bits}b}"[::-1], 2) for number in range(1 << bits))
    return [number for number in turned if number < count]


def _told(found: Reading | None, place: Place) -> Reading | str:
    return NOT_FOUND if found is None else marked(found, rival=place.rival)


def _checked(curve: pd.DataFrame) -> pd.DataFrame:
    """With a doubt at what does not fit; what is doubtful already has no say in that."""
    sure = (curve["doubt"] == "").to_numpy(bool)
    fits = sane(np.where(sure, curve["reading"].to_numpy(float), np.nan), curve["time_s"].to_numpy(float))
    return curve.assign(doubt=curve["doubt"].mask(~fits, OUT_OF_ORDER))
