"""A bare stick to a draft: a SOURCES.toml, a log with a row for each picture, and its runs, to be finished by hand.

What nobody can see from the files is left empty: of a run its lateral, of a picture its kind. Until someone fills it in, the
rows are rejected with that reason and nothing is lost. A counter that was read with a doubt is shown beside the empty reading.
"""

import json
import os
import re
from collections.abc import Callable, Sequence
from pathlib import Path

import pandas as pd

from etl.sources.media import FILMS, PICTURES, is_film
from etl.stick import read_stick
from sewermap.errors import SourceError
from sewermap.plain import csv_text

LOG, RUNS = "draft-log.csv", "draft-runs.csv"
_CAMERAS_OWN = re.compile(r"dcim|\d{3}\w{5}", re.IGNORECASE)
"""Folders that cameras name by themselves, as DCIM and 100MEDIA (DCF, JEITA CP-3461B: three digits and five signs)."""

_LOG = ("run", "reading", "unit", "kind", "picture", "taken_at", "sigma", "counter", "doubt")
_RUNS = ("run", "lateral", "ran_on", "unit", "launch", "film")

_PLAN = """# Drafted from the files in {folder}. To do by hand:
# 1. {runs}: which lateral each run is of, the unit where none is given, and the launch where it is not the building.
# 2. {log}: the kind of what each picture shows (`remark` for a mere view), and the readings that are missing: where a
#    counter was read with a doubt it stands in the column counter, and why in the column doubt.
# 3. sewermap load {name}. Rows that are not finished are listed and can be loaded later.

[runs]
from = "{runs}"

[observations]
from = "{log}"

[pictures]
from = [{patterns}]
"""


def is_stick(folder: Path) -> bool:
    """Whether a path is a folder with pictures or films, and no SOURCES.toml that says what to do with them."""
    return folder.is_dir() and not (folder / "SOURCES.toml").exists() and bool(_media(folder))


def draft_of_stick(
    folder: Path, out: Path, lateral: str | None = None, progress: Callable[[str], None] | None = None
) -> list[str]:
    """Write a SOURCES.toml (``out``) and beside it the draft of a log and of its runs; returns what is to be told, a line each.

    ``lateral``: the line that all of it is of, where one is known. Raises SourceError for a folder without pictures, and where
    one of the three files is there already.
    """
    files = _media(folder)
    if not files:
        raise SourceError(f"'{folder}' holds no picture ({', '.join(PICTURES)}) and no film ({', '.join(FILMS)})")
    targets = [out, out.parent / LOG, out.parent / RUNS]
    there = [path for path in targets if path.exists()]
    if there:
        raise SourceError(f"'{there[0]}' is there already; move it away, or name another place by -o")
    base = out.resolve().parent
    named = [(Path(os.path.relpath(path, base)).as_posix(), path) for path in files]
    facts, told = _read(named, progress)
    if facts.empty:
        raise SourceError(f"'{folder}' holds no picture and no film that can be read: {told[-1]}")
    facts["run"] = _runs_of(facts, folder, base)
    log, runs = _log(facts), _runs(facts, lateral)
    out.parent.mkdir(parents=True, exist_ok=True)
    (out.parent / LOG).write_text(csv_text(log), encoding="utf-8")
    (out.parent / RUNS).write_text(csv_text(runs), encoding="utf-8")
    out.write_text(_plan(folder, base, out.name, files), encoding="utf-8")
    read = int(log["reading"].notna().sum())
    return [
        *told,
        f"{len(log)} pictures of {len(runs)} runs, {read} with a reading: finish {LOG} and {RUNS}, then load {out.name}",
    ]


def _media(folder: Path) -> list[Path]:
    return sorted(path for path in folder.rglob("*") if path.suffix.casefold() in (*PICTURES, *FILMS) and path.is_file())


def _read(named: Sequence[tuple[str, Path]], progress: Callable[[str], None] | None) -> tuple[pd.DataFrame, list[str]]:
    """What the files say, and what is to be told of those that cannot be read. The log needs no films' curves."""
    pictures = [one for one in named if not is_film(one[0])]
    films = [one for one in named if is_film(one[0])]
    told = []
    try:
        read = read_stick(pictures, read_counters=True, progress=progress)
    except SourceError as error:
        told.append(f"no counter was read: {error}")
        read = read_stick(pictures)
    rows = [one for one, _ in [*read, *read_stick(films)]]
    broken = pd.concat([one.broken for one in rows])
    told += [f"{name}: {reason}" for name, reason in broken[["value", "reason"]].to_numpy(object).tolist()]
    return pd.concat([one.cells for one in rows], ignore_index=True), told


def _runs_of(facts: pd.DataFrame, folder: Path, base: Path) -> "pd.Series[str]":
    """A run for each folder that a person named, and day; with one day the folder's name alone, without a name the day."""
    root = Path(os.path.relpath(folder, base)).as_posix()
    inside = facts["picture"] if root == "." else facts["picture"].str.slice(len(root) + 1)
    folders = inside.str.split("/").str[:-1]
    own = folders.map(lambda names: next((name for name in reversed(names) if not _CAMERAS_OWN.fullmatch(name)), ""))
    day = facts["taken_at"].str.slice(0, 10)
    days = day.groupby(own).transform("nunique")
    name = own.where(days == 1, own + " " + day).where(own != "", day)
    return pd.Series(name.to_numpy(), index=facts.index, dtype="str")


def _log(facts: pd.DataFrame) -> pd.DataFrame:
    pictures = facts[~facts["picture"].map(is_film).to_numpy(bool)]
    sure = pictures["mark"].isna()
    log = pictures.assign(reading=pictures["reading"].where(sure), sigma=pictures["sigma"].where(sure), doubt=pictures["mark"])
    log = log.assign(kind=pd.Series(index=log.index, dtype="str"))
    return log.sort_values(["run", "taken_at", "picture"], ignore_index=True)[list(_LOG)]


def _runs(facts: pd.DataFrame, lateral: str | None) -> pd.DataFrame:
    films = facts["picture"].where(facts["picture"].map(is_film).to_numpy(bool))
    by_run = facts.assign(film=films, day=facts["taken_at"].str.slice(0, 10)).groupby("run")
    runs = pd.DataFrame({"ran_on": by_run["day"].min(), "unit": by_run["unit"].agg(_usual), "film": by_run["film"].agg(_only)})
    nothing = pd.Series(index=runs.index, dtype="str")
    return runs.assign(lateral=nothing if lateral is None else lateral, launch=nothing).reset_index()[list(_RUNS)]


def _usual(units: "pd.Series[str]") -> str | None:
    seen = units.dropna().mode()
    return str(seen.iloc[0]) if len(seen) else None


def _only(films: "pd.Series[str]") -> str | None:
    seen = films.dropna()
    return str(seen.iloc[0]) if len(seen) == 1 else None


def _plan(folder: Path, base: Path, name: str, files: list[Path]) -> str:
    root = Path(os.path.relpath(folder, base)).as_posix()
    suffixes = sorted({path.suffix.casefold() for path in files})
    patterns = ", ".join(json.dumps(f"{root}/**/*{suffix}", ensure_ascii=False) for suffix in suffixes)
    return _PLAN.format(folder=json.dumps(root, ensure_ascii=False), runs=RUNS, log=LOG, name=name, patterns=patterns)
