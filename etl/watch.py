"""``load --watch``: a folder whose files are loaded as they come. What to read is said by the SOURCES.toml in it.

A file that is still being written is left alone until two looks find it the same. Whatever goes wrong is told and the watch goes
on; what failed is not tried again before a file changes, unless the database was only busy.
"""

import datetime as dt
import time
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from etl.load import LoadReport
from etl.plan import read_plan
from sewermap.errors import BusyError, SewermapError, SourceError

PLAN = "SOURCES.toml"
_NAMED = 3
"""So many of the changed files are named in a line; the others are counted."""


@dataclass(frozen=True)
class Watched:
    """What one load of a watched folder came to: the changed files, and the report, or the error that there is instead."""

    at: dt.datetime
    changed: tuple[str, ...]
    report: LoadReport | None = None
    error: str = ""

    @property
    def told(self) -> str:
        """All of it in one line."""
        more = f" and {len(self.changed) - _NAMED} more" if len(self.changed) > _NAMED else ""
        what = " ".join(self.error.split()) if self.report is None else _counts(self.report)
        return f"{self.at:%Y-%m-%d %H:%M:%S} {', '.join(self.changed[:_NAMED])}{more}: {what}"

    def as_plain(self) -> dict[str, Any]:
        """All of it as plain values: at, changed, error (or None), and the report's files, rejects and warnings."""
        told = {"at": self.at.isoformat(timespec="seconds"), "changed": list(self.changed), "error": self.error or None}
        return told | (self.report.as_plain() if self.report is not None else {})


@dataclass(frozen=True)
class _Look:
    """What one look found: of each file its size and the time of its last change (ns), the rules, and why there is no plan."""

    files: Mapping[Path, tuple[int, int]] = field(default_factory=dict)
    rules: str = ""
    wrong: str = ""


def watch(
    folder: Path,
    load: Callable[[Path], LoadReport],
    tell: Callable[[Watched], None],
    *,
    every_s: float = 2.0,
    sleep: Callable[[float], None] = time.sleep,
) -> None:
    """Look at a folder each ``every_s`` seconds, and load its SOURCES.toml when a file that it names is new or has changed.

    Never returns: Ctrl-C (or an exception of ``sleep``) ends it, and passes. ``tell`` hears of each load and each error. Raises
    SourceError for what is no folder, and for one without a SOURCES.toml.
    """
    plan = folder / PLAN
    if not plan.is_file():
        raise SourceError(f"there is no file {plan}; it says which files of the folder are what")
    before = done = _Look()
    busy = False
    while True:
        now = _look(plan)
        if now == before and now != done:
            found = _loaded(plan, now, done, load)
            again = isinstance(found, BusyError)
            if not isinstance(found, BusyError):
                done = now
                tell(found)
            elif not busy:
                tell(Watched(_now(), (PLAN,), error=f"{found}; it is tried again"))
            busy = again
        before = now
        sleep(every_s)


def _loaded(plan: Path, now: _Look, done: _Look, load: Callable[[Path], LoadReport]) -> Watched | BusyError:
    """What a load came to. A busy database is no fault of the files, and is given back as it is."""
    differing = [path for path, facts in now.files.items() if done.files.get(path) != facts]
    differing += [path for path in done.files if path not in now.files and not now.wrong]
    changed = tuple(_name(path, plan.parent) for path in differing) or (PLAN,)
    if now.wrong:
        return Watched(_now(), (PLAN,), error=now.wrong)
    try:
        return Watched(_now(), changed, load(plan))
    except BusyError as error:
        return error
    except SewermapError as error:
        return Watched(_now(), changed, error=str(error))


def _look(plan: Path) -> _Look:
    """The files that the plan names by now; and why it cannot be loaded, as where no file has come yet."""
    try:
        read = read_plan(plan)
    except SourceError as error:
        return _Look(_facts([plan]), wrong=str(error))
    named = [part for section in read.sections for path in section.files for part in _parts(path)]
    return _Look(_facts([plan, *named, *([read.crosswalk] if read.crosswalk else [])]), rules=repr(sorted(read.rules.items())))


def _parts(path: Path) -> list[Path]:
    """A file, all files of a folder of layers, all parts of a Shapefile."""
    if path.is_dir():
        return sorted(part for part in path.rglob("*") if part.is_file())
    return sorted(path.parent.glob(f"{path.stem}.*")) if path.suffix.casefold() == ".shp" else [path]


def _facts(paths: Iterable[Path]) -> dict[Path, tuple[int, int]]:
    """Size and time of each file; a file that is gone again has neither."""
    facts = {}
    for path in paths:
        try:
            stat = path.stat()
        except OSError:
            facts[path] = (-1, -1)
        else:
            facts[path] = (stat.st_size, stat.st_mtime_ns)
    return facts


def _name(path: Path, folder: Path) -> str:
    inside = path.resolve()
    return inside.relative_to(folder.resolve()).as_posix() if inside.is_relative_to(folder.resolve()) else path.name


def _now() -> dt.datetime:
    return dt.datetime.now().astimezone()


def _counts(report: LoadReport) -> str:
    sums = report.files[["loaded", "unchanged", "rejected", "withdrawn"]].sum()
    told = ", ".join(f"{int(count)} {name}" for name, count in sums.items())
    return f"{told} rows; {len(report.warnings)} warnings"
