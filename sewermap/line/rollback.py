"""Counters that rolled back: the cable was pulled back and pushed on, and the counter slipped or was set anew.

Only film times tell in which order a run saw things. Where its readings go back in time and then on again, either the camera
really went back to look again, and nothing is wrong; or the head went on while the counter did not. A fix passed after that
tells which, and by how much. Without one, what was seen tells: a stretch that shows nothing of what it showed before, but other
things, is another stretch. What was read after it is then a second push, launched nobody knows exactly where.
"""

from dataclasses import replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sewermap.line import counter
from sewermap.line.known_points import CONFLICT_SIGMAS
from sewermap.line.pushes import Pushes, counter_fixes, counter_runs
from sewermap.line.scene import Scene
from sewermap.units import METRES_PER_FOOT

LEAST_BACK_M = 0.5
"""A smaller step back is noting things a little late, or a look around (common practice, no source)."""
SAME_THING_M = 0.5
"""Two things of one kind so near each other in one run's readings are one, seen twice (common practice, no source)."""
LEAST_OTHERS = 2
"""So many things must be other than those before it: one alone may have been overlooked the first time."""
_BY_A_FIX = " (what it passed later says so): what was read after it is placed as a second push"
_BY_THINGS = ", as what it saw later suggests: what was read after it is placed as a second push whose start nobody knows well"
_CLOCK = r"^\s*(?:(?P<h>\d+):)?(?P<m>\d{1,3}):(?P<s>\d{1,2}(?:[.,]\d+)?)\s*$"
_SECONDS = r"^\s*(?P<s>\d+(?:[.,]\d+)?)\s*(?:s|sec)?\s*$"

Floats = NDArray[np.float64]


def film_seconds(texts: pd.Series) -> Floats:
    """Film times in seconds: ``1:02:03``, ``12:31``, ``12:31.5``, ``751`` or ``751 s``; NaN for anything else.

    >>> film_seconds(pd.Series(["1:02:03", "12:31", "751 s", "near the end", None], dtype="str")).tolist()
    [3723.0, 751.0, 751.0, nan, nan]
    """
    seconds = np.full(len(texts), np.nan)
    known = np.flatnonzero(texts.notna().to_numpy())
    if len(known):  # most logs have none
        written = texts.iloc[known].astype("str")
        clock = written.str.extract(_CLOCK)
        hours, minutes, rest = (_number(clock[name]) for name in ("h", "m", "s"))
        of_clock = 3600.0 * np.nan_to_num(hours) + 60.0 * minutes + rest
        seconds[known] = np.where(np.isnan(of_clock), _number(written.str.extract(_SECONDS)["s"]), of_clock)
    return seconds


def _number(texts: pd.Series) -> Floats:
    return np.asarray(texts.str.replace(",", ".").astype(float).to_numpy(float))


def rolled_back(scene: Scene, observations: pd.DataFrame) -> pd.DataFrame:
    """Runs whose counter rolled back: push, time_s (of the first thing seen after it), from_m and to_m (the readings before and
    after), film_time (as written), shown_m (the highest reading before), is_sure (a fix tells it), note (in words).

    ``observations``: with push, kind, referent, reading_m, film_time, located_map_x, located_map_y. In order of push.
    """
    steps = _steps_back(scene, observations)
    if not len(steps):
        return steps.assign(is_sure=np.zeros(0, dtype=bool), note=pd.Series(dtype="str"))
    moved, told = _by_fixes(scene, observations, steps)
    other = _by_things(observations, steps)
    found = steps.assign(is_sure=moved)[moved | (~told & other)].reset_index(drop=True)
    return found.assign(note=pd.Series(_notes(scene, found), dtype="str"))


def second_pushes(scene: Scene, observations: pd.DataFrame, found: pd.DataFrame) -> tuple[Scene, pd.DataFrame]:
    """The scene with one run more for each counter that rolled back (``found`` of ``rolled_back``), at the end of its runs and in
    that order, and the observations with what was read after it in that run.

    A second push is launched where the first was, but further on by what the counter went back, give or take half of all that
    it had shown: the head may have been pulled back too, or have gone on before it saw the next thing. An observation without a
    film time is of the second push if its reading goes beyond all that the first one showed.
    """
    if not len(found):
        return scene, observations
    first, count = found["push"].to_numpy(np.int64), len(scene.runs)
    back_m = (found["from_m"] - found["to_m"]).to_numpy(float)
    table = scene.pushes.table.copy()
    again = table.iloc[first].copy()
    again["launch_m"] += again["direction"] * back_m
    again["launch_extra_m"] = found["shown_m"].to_numpy(float) / 2.0
    table.loc[first, "end_paid_m"] = np.nan
    pushes = Pushes(pd.concat([table, again], ignore_index=True), np.append(scene.pushes.problem, scene.pushes.problem[first]))
    runs = pd.concat([scene.runs, scene.runs.iloc[first]], ignore_index=True)
    place = np.full(count, -1)
    place[first] = np.arange(len(first))
    push = observations["push"].to_numpy(np.int64)
    at, seconds = place[push], film_seconds(observations["film_time"])
    since = np.append(found["time_s"].to_numpy(float), np.inf)[at]
    shown_m = np.append(found["shown_m"].to_numpy(float), np.inf)[at]
    later = np.where(np.isnan(seconds), observations["reading_m"].to_numpy(float) > shown_m, seconds >= since)
    moved = observations.assign(push=np.where(later & (at >= 0), count + at, push))
    return replace(scene, runs=runs, pushes=pushes), moved


def as_one_run(coverages: pd.DataFrame, found: pd.DataFrame) -> pd.DataFrame:
    """Coverages of the runs as they were recorded, out of those with ``second_pushes`` at their end; and the note on each."""
    count = len(coverages) - len(found)
    whole, later = coverages.iloc[:count].copy(), coverages.iloc[count:]
    if not len(found):
        return whole
    rows = found["push"].to_numpy(np.int64)
    for name, outer in (("from_measure_m", np.fmin), ("to_measure_m", np.fmax)):
        whole.loc[rows, name] = outer(whole[name].to_numpy(float)[rows], later[name].to_numpy(float))
    for name in ("fixes", "set_aside"):
        whole.loc[rows, name] = whole[name].to_numpy()[rows] + later[name].to_numpy()
    notes = zip(whole["notes"].iloc[rows], found["note"], later["notes"], strict=True)
    whole.loc[rows, "notes"] = np.array(["; ".join(filter(None, dict.fromkeys(texts))) for texts in notes], dtype=object)
    return whole


def _steps_back(scene: Scene, observations: pd.DataFrame) -> pd.DataFrame:
    """Of each run the widest step back after which its readings go on again: push, time_s, from_m, to_m, shown_m, film_time."""
    seconds = film_seconds(observations["film_time"]) if "film_time" in observations else np.full(len(observations), np.nan)
    push, reading = observations["push"].to_numpy(np.int64), observations["reading_m"].to_numpy(float)
    rows = np.flatnonzero(np.isfinite(seconds) & np.isfinite(reading) & (scene.pushes.problem == "")[push])
    rows = rows[np.lexsort((reading[rows], seconds[rows], push[rows]))]
    table = pd.DataFrame({"push": push[rows], "time_s": seconds[rows], "to_m": reading[rows]})
    table["film_time"] = observations["film_time"].to_numpy(object)[rows] if len(rows) else pd.Series(dtype=object)
    by_run = table.groupby("push")["to_m"]
    table["from_m"] = by_run.shift()
    table["shown_m"] = by_run.cummax().groupby(table["push"]).shift()
    goes_to = table[::-1].groupby("push")["to_m"].cummax()[::-1]
    back = table["from_m"] - table["to_m"]
    steps = table.assign(back=back)[(back >= LEAST_BACK_M) & (goes_to - table["to_m"] >= LEAST_BACK_M)]
    widest = steps.sort_values(["push", "back", "time_s"], ascending=[True, False, True]).drop_duplicates("push")
    return widest.drop(columns="back").reset_index(drop=True)


def _by_fixes(scene: Scene, observations: pd.DataFrame, steps: pd.DataFrame) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Of each step, whether fixes after it lie further on than the launch and the fixes before it say; and whether any tells."""
    model, runs = scene.rules.counter, counter_runs(scene.pushes, scene.laterals)
    asked = observations[observations["push"].isin(steps["push"])].reset_index(drop=True)
    rule = scene.rules.material_change_at_property_line
    fixes, rows, _ = counter_fixes(asked, scene.pushes, scene.laterals, scene.points, model, material_rule=rule)
    since = pd.Series(steps["time_s"].to_numpy(), index=pd.Index(steps["push"])).reindex(fixes.run).to_numpy(float)
    seconds = film_seconds(asked["film_time"])[rows]
    after, before = np.flatnonzero(seconds >= since), np.flatnonzero(seconds < since)
    calibration = counter.calibrate(runs, _some(fixes, before), model)
    mean_m, sigma_m = np.empty(len(after)), np.empty(len(after))
    calibration.curves.at(fixes.run[after], fixes.paid_m[after], mean_m, sigma_m)
    further_m = runs.direction[fixes.run[after]] * (fixes.measure_m[after] - mean_m)
    told = pd.DataFrame({"push": fixes.run[after], "weight": 1.0 / (sigma_m**2 + fixes.sigma_m[after] ** 2), "m": further_m})
    told["m"] *= told["weight"]
    total = told.groupby("push").sum().reindex(steps["push"]).fillna(0.0)
    weight, weighted = total["weight"].to_numpy(float), total["m"].to_numpy(float)
    sigmas = weighted / np.sqrt(np.where(weight > 0.0, weight, 1.0))
    return sigmas > CONFLICT_SIGMAS, weight > 0.0


def _some(fixes: counter.Fixes, rows: NDArray[np.intp]) -> counter.Fixes:
    return counter.Fixes(fixes.run[rows], fixes.paid_m[rows], fixes.measure_m[rows], fixes.sigma_m[rows])


def _by_things(observations: pd.DataFrame, steps: pd.DataFrame) -> NDArray[np.bool_]:
    """Of each step, whether the readings passed a second time show other things than the first time, and none of the same."""
    seen = observations[["push", "kind", "reading_m"]].assign(time_s=film_seconds(observations["film_time"])).dropna()
    seen = seen.merge(steps[["push", "time_s", "shown_m"]].rename(columns={"time_s": "since"}), on="push")
    first = seen[seen["time_s"] < seen["since"]]
    again = seen[(seen["time_s"] >= seen["since"]) & (seen["reading_m"] <= seen["shown_m"])].reset_index(names="thing")
    pairs = again.merge(first[["push", "kind", "reading_m"]], on=["push", "kind"], suffixes=("", "_before"))
    same = pairs.loc[(pairs["reading_m"] - pairs["reading_m_before"]).abs() <= SAME_THING_M, "push"]
    others = again.groupby("push").size().reindex(steps["push"]).fillna(0).to_numpy()
    return np.asarray((others >= LEAST_OTHERS) & ~steps["push"].isin(same).to_numpy())


def _notes(scene: Scene, found: pd.DataFrame) -> list[str]:
    unit = scene.runs["unit"].iloc[found["push"]].to_numpy(object)
    metres = np.where(unit == "ft", METRES_PER_FOOT, 1.0)
    shown = (found[["from_m", "to_m"]].to_numpy(float) / metres[:, None]).tolist()
    columns = (shown, unit, found["film_time"].astype("str"), found["is_sure"])
    return [
        f"its counter went back from {before:.1f} to {after:.1f} {name} at film time {time.strip()} while the camera went on"
        + (_BY_A_FIX if is_sure else _BY_THINGS)
        for (before, after), name, time, is_sure in zip(*columns, strict=True)
    ]
