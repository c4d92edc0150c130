"""A stick's pictures and films to rows: what each file says of itself and, where it was asked for, what its counter shows.

What is recorded of a file already is taken from there, by its digest: a counter is read once, and the file time of a picture
holds that was first seen, since copying a stick changes it.
"""

from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path

import numpy as np
import pandas as pd

from etl.film_curve import curve_text
from etl.sources.media import FROM_FILE, is_film, read_media
from etl.sources.rows import Rows
from sewermap.errors import SourceError

Named = tuple[str, Path]
"""A file as the user's folder has it, and where it lies."""

COUNTER = "counter"
"""``reading_from`` of a reading that was read in the picture itself."""

FILM_BUDGET_S = 120.0
"""How long the counters of one film may take to be read; a longer film is looked at less often."""

OUT_OF_ORDER = "it does not fit the counters of the pictures before and after it"
_READ = ("reading", "unit", "sigma", "reading_from", "counter", "mark")
PAUSE_S = 600.0
"""Pictures further apart than this are not of one push (common practice, no source)."""


def read_stick(
    named: Sequence[Named],
    recorded: pd.DataFrame | None = None,
    *,
    read_counters: bool = False,
    progress: Callable[[str], None] | None = None,
) -> list[tuple[Rows, str]]:
    """The row of each file and its digest, in their order; a file that cannot be read is a broken row.

    ``recorded``: what the database has of pictures, columns ``etl.known.PICTURE``. ``progress`` hears how far it is. Raises
    SourceError where counters are to be read and the extra ``media`` is missing.
    """
    files = [read_media(path, name) for name, path in named]
    good = [number for number, (rows, _) in enumerate(files) if len(rows.cells)]
    if not good:
        return files
    facts = pd.concat([files[number][0].cells for number in good], ignore_index=True)
    facts = facts.assign(**dict.fromkeys(_READ, pd.Series(np.nan, index=facts.index, dtype="str")))
    if recorded is not None and len(recorded):
        facts = _as_recorded(facts, recorded)
    if read_counters:
        facts = _counted(facts, [named[number][1] for number in good], progress)
    for at, number in enumerate(good):
        rows, digest = files[number]
        files[number] = (Rows(facts.iloc[[at]].reset_index(drop=True), rows.row, rows.broken), digest)
    return files


def _as_recorded(facts: pd.DataFrame, recorded: pd.DataFrame) -> pd.DataFrame:
    """With the counters that were read in files of the same content, and the file times first seen of the same files."""
    known = recorded[(recorded["reading_from"] == COUNTER).to_numpy(bool)].drop_duplicates("sha256").set_index("sha256")
    known = known.assign(sigma=known["sigma_m"].map("{!r} m".format, na_action="ignore").astype("str"))
    facts = facts.assign(**{name: known[name].reindex(facts["sha256"]).to_numpy() for name in _READ})
    seen = recorded[(recorded["taken_from"] == FROM_FILE).to_numpy(bool)].set_index(["picture", "sha256"])["taken_at"]
    first = pd.Series(seen.reindex(pd.MultiIndex.from_frame(facts[["picture", "sha256"]])).to_numpy(), index=facts.index)
    return facts.assign(taken_at=facts["taken_at"].mask((facts["taken_from"] == FROM_FILE) & first.notna(), first))


def _counted(facts: pd.DataFrame, paths: list[Path], progress: Callable[[str], None] | None) -> pd.DataFrame:
    """With counters of those that have none yet: pictures a folder at a time, which help one another, then films."""
    film = facts["picture"].map(is_film).to_numpy(bool)
    unread = facts["reading_from"].isna().to_numpy(bool)
    folders = pd.Series([str(path.parent) for path in paths])
    left, done = int((unread & ~film).sum()), 0
    parts = []
    for _, chosen in folders[unread & ~film].groupby(folders, sort=True):
        at = chosen.index.to_numpy()
        told = None if progress is None else partial(_tell, progress, done, left)
        parts.append(_pictures(facts.iloc[at], [paths[number] for number in at], told))
        done += len(at)
    for at in np.flatnonzero(unread & film).tolist():
        told = None if progress is None else partial(_tell_film, progress, paths[at].name)
        parts.append(_film(facts.iloc[[at]], paths[at], told))
    read = pd.concat(parts) if parts else facts.iloc[:0]
    return pd.concat([facts.drop(index=read.index), read]).sort_index()


def _pictures(facts: pd.DataFrame, paths: list[Path], told: Callable[[int, int], None] | None) -> pd.DataFrame:
    from etl.counters import read_pictures  # noqa: PLC0415 - the extra `media`, only where it was asked for

    seen = read_pictures(paths, told).set_index(facts.index)
    fits = _fits(seen["reading"].where(seen["doubt"] == ""), facts)
    doubt = seen["doubt"].mask(~fits & (seen["doubt"] == ""), OUT_OF_ORDER)
    has_unit = seen["unit"].notna()
    sigma = seen["sigma"].map("{:.4g}".format, na_action="ignore").astype("str") + " " + seen["unit"]
    return facts.assign(
        reading=seen["reading"].map("{:.10g}".format, na_action="ignore").astype("str"),
        unit=seen["unit"],
        sigma=sigma.astype("str").where(has_unit),
        reading_from=COUNTER,
        counter=seen["counter"],
        mark=doubt.mask(doubt == "").astype("str"),
    )


def _film(facts: pd.DataFrame, path: Path, told: Callable[[int, int], None] | None) -> pd.DataFrame:
    from etl.counters import read_film  # noqa: PLC0415 - the extra `media`, only where it was asked for
    from etl.counters.engine import module  # noqa: PLC0415 - the same

    module("av")  # missing altogether it ends the load; a film that cannot be looked at does not
    try:
        curve = read_film(path, budget_s=FILM_BUDGET_S, progress=told)
    except SourceError as error:
        return facts.assign(reading_from=COUNTER, mark=str(error)).astype("str")
    sure = curve[(curve["doubt"] == "").to_numpy(bool) & curve["reading"].notna().to_numpy(bool)]
    text = curve_text(sure)
    units = sure["unit"].dropna()
    unit = units.mode().iloc[0] if len(units) else None
    sigma = f"{sure['sigma'].median():.4g} {unit}" if unit else None
    mark = None if text else "no counter was read in it"
    return facts.assign(unit=unit, sigma=sigma, reading_from=COUNTER, counter=text or None, mark=mark).astype("str")


def _fits(readings: "pd.Series[float]", facts: pd.DataFrame) -> "pd.Series[bool]":
    """Whether each reading fits those of the same push, as far as the cameras' clocks tell which came when."""
    from etl.counters import sane  # noqa: PLC0415 - the extra `media`, only where it was asked for

    clock = pd.to_datetime(facts["taken_at"].where(facts["taken_from"] != FROM_FILE), format="ISO8601", errors="coerce")
    seconds = (clock - clock.min()).dt.total_seconds().sort_values(kind="stable")
    push = (seconds.diff() > PAUSE_S).cumsum()
    fits = pd.Series(data=True, index=facts.index)
    for _, times in seconds.groupby(push):
        fits[times.index] = sane(readings.reindex(times.index), times)
    return fits


def _tell(progress: Callable[[str], None], before: int, total: int, done: int, _of: int) -> None:
    progress(f"reading the counters of pictures, {before + done} of {total}")


def _tell_film(progress: Callable[[str], None], name: str, done: int, of: int) -> None:
    progress(f"reading the counters of {name}, {done} of {of}")
