"""Films that lie in the site's own folder, opened at the moment an observation was made."""

import re
from collections.abc import Iterable, Mapping
from pathlib import Path
from urllib.parse import quote

import numpy as np
import pandas as pd

from sewermap.picture_files import found_in

_TIME = re.compile(r"(?:(\d+):)?(\d+):(\d+(?:\.\d+)?)|(\d+(?:\.\d+)?)\s*s?")


def films_in(names: Iterable[str], folder: Path) -> dict[str, str]:
    """Which of the films named lie in the site's folder or below it, by name, as an address that its pages can open.

    A site copies no film: whoever wants them opened puts them into its folder. A name that leads out of it is not followed.
    """
    there = {name: found_in([folder], name) for name in sorted(set(names))}
    base = folder.resolve()
    return {name: quote(file.relative_to(base).as_posix()) for name, file in there.items() if file is not None}


def film_links(observations: pd.DataFrame, runs: pd.DataFrame, films: Mapping[str, str]) -> "pd.Series[str]":
    """The address of each observation's film, at its time (``#t=`` in seconds: W3C Media Fragments URI 1.0, 4.2.1).

    Missing where the film is not there, or where the time says nothing. ``observations``: run, film_time; ``runs``: run, film.
    """
    if not films:
        return pd.Series(np.nan, index=observations.index, dtype="str")
    film = observations["run"].map(runs.drop_duplicates("run").set_index("run")["film"]).map(films)
    seconds = observations["film_time"].map(_seconds, na_action="ignore").astype(float)
    links = film.astype("str") + "#t=" + seconds.map("{:g}".format, na_action="ignore").astype("str")
    return links.where(film.notna() & seconds.notna())


def _seconds(time: object) -> float:
    """A film's time in seconds.

    >>> [_seconds(text) for text in ("01:00:02", "3:12.5", "192 s", "late")]
    [3602.0, 192.5, 192.0, nan]
    """
    found = _TIME.fullmatch(str(time).strip())
    if found is None:
        return float(np.nan)
    hours, minutes, seconds, alone = found.groups()
    return float(alone) if alone else int(hours or 0) * 3600 + int(minutes) * 60 + float(seconds)
