"""Runs whose readings fit the line only in the other unit: feet written as metres, or metres as feet. Named, never converted.

Three kinds of witness are asked how well a run fits in the unit it was written in, and how well in the other: the fixes that it
passed; the line's ends, past which no camera goes; and what other runs of the lateral saw. Each gives the logarithm of a
likelihood that is bounded from below, for any one of them may be wrong. A run is named when all together are ``SURE`` of the
other unit.
"""

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sewermap.line.counter_model import CounterModel, Fixes
from sewermap.line.known_points import Laterals
from sewermap.line.on_the_map import accuracy_of
from sewermap.line.pushes import Pushes
from sewermap.units import METRES_PER_FOOT

SURE = 3.0
"""Logarithm of the odds at which a run is named: twenty to one (common practice, no source)."""
ASTRAY = 0.01
"""Share of fixes, and of readings past an end, that are wrong for another reason (common practice, no source)."""
UNSEEN = 0.2
"""Share of things that no other run saw (common practice, no source)."""
MOST_BY_THINGS = {1: 2.5, 2: 5.0}
"""By how many other runs there are: one alone cannot tell which of the two is written wrongly; and a fix says more."""
NOTING_M = 0.3
OTHER = {"ft": "metres, not feet", "m": "feet, not metres"}

Floats = NDArray[np.float64]


def unit_doubts(
    unit: pd.Series,
    pushes: Pushes,
    laterals: Laterals,
    fixes: Fixes,
    observations: pd.DataFrame,
    model: CounterModel,
) -> pd.DataFrame:
    """The runs whose unit is doubted: push, odds (logarithm), note (in words), in order of push.

    ``unit``: ft or m, row by row with the pushes. ``observations``: columns push, kind, reading_m, to_reading_m, and measure_m
    and sigma_m as its own run's fixes put each.
    """
    factor = unit.map({"ft": 1.0 / METRES_PER_FOOT, "m": METRES_PER_FOOT}).to_numpy().astype(np.float64)
    table = pushes.table
    able = (pushes.problem == "") & np.isfinite(factor)
    sums = np.zeros(len(table))
    sums += _sum_of(fixes.run, _fix_votes(fixes, table, laterals, factor, model), len(table))
    sums += _end_votes(table, laterals, observations, factor, model)
    sums += _thing_votes(table, laterals, observations, factor, model)
    push = np.flatnonzero(able & (sums >= SURE))
    notes = [
        f"its readings fit the line only if they are {OTHER[name]}: check the unit; nothing was converted"
        for name in unit.iloc[push]
    ]
    return pd.DataFrame({"push": push, "odds": sums[push], "note": pd.Series(notes, dtype="str")})


def _mean_and_sigma(
    table: pd.DataFrame, laterals: Laterals, push: NDArray[np.intp], paid_m: Floats, model: CounterModel
) -> tuple[Floats, Floats]:
    """Where cable paid out ends by the launch alone, and how sure that is."""
    of = table.iloc[push]
    accuracy = accuracy_of(laterals, of["lateral"].to_numpy(np.int64), of["launch_m"].to_numpy(float))
    variance = model.launch_m**2 + accuracy**2 + (model.scale * paid_m) ** 2 + model.slip_m * np.abs(paid_m)
    return of["launch_m"].to_numpy(float) + of["direction"].to_numpy(float) * paid_m, np.sqrt(variance)


def _vote(off: Floats, off_other: Floats, astray: float) -> Floats:
    """What a witness this many sigma off in the written unit, and in the other, says for the other."""
    like = np.log(astray + (1.0 - astray) * np.exp(-0.5 * np.stack([off, off_other]) ** 2))
    return np.asarray(like[1] - like[0])


def _fix_votes(fixes: Fixes, table: pd.DataFrame, laterals: Laterals, factor: Floats, model: CounterModel) -> Floats:
    off = []
    for times in (np.ones(len(factor)), factor):
        mean_m, sigma = _mean_and_sigma(table, laterals, fixes.run, fixes.paid_m * times[fixes.run], model)
        off.append((fixes.measure_m - mean_m) / np.hypot(sigma, fixes.sigma_m))
    return _vote(off[0], off[1], ASTRAY)


def _end_votes(
    table: pd.DataFrame, laterals: Laterals, observations: pd.DataFrame, factor: Floats, model: CounterModel
) -> Floats:
    """Of each run what its reading furthest past an end says; half as much where only one cell says so: it may be a slip."""
    push, paid_m = _all_paid(table, observations)
    length = np.append(laterals.lines.length_m, np.nan)[table["lateral"].to_numpy(np.int64)]
    past = []
    for times in (np.ones(len(factor)), factor):
        mean_m, sigma = _mean_and_sigma(table, laterals, push, paid_m * times[push], model)
        past.append(np.maximum(np.maximum(-mean_m, mean_m - length[push]) / sigma, 0.0))
    far = pd.DataFrame({"push": push, "now": past[0], "other": past[1], "beyond": past[0] > model.past_end_sigmas})
    worst = far.groupby("push").agg({"now": "max", "other": "max", "beyond": "sum"}).reindex(np.arange(len(table)))
    votes = _vote(worst["now"].fillna(0.0).to_numpy(float), worst["other"].fillna(0.0).to_numpy(float), ASTRAY)
    return np.asarray(np.where(worst["beyond"].to_numpy(float) == 1.0, votes / 2.0, votes))


def _all_paid(table: pd.DataFrame, observations: pd.DataFrame) -> tuple[NDArray[np.intp], Floats]:
    """All cells that say how far a run went: readings, second readings, ends."""
    push = observations["push"].to_numpy(np.intp)
    zero_m = table["zero_m"].to_numpy(float)[push]
    runs = np.concatenate([push, push, np.arange(len(table))])
    paid_m = np.concatenate(
        [
            observations["reading_m"].to_numpy(float) - zero_m,
            observations["to_reading_m"].to_numpy(float) - zero_m,
            table["end_paid_m"].to_numpy(float),
        ]
    )
    known = np.flatnonzero(np.isfinite(paid_m))
    return runs[known], paid_m[known]


def _thing_votes(
    table: pd.DataFrame, laterals: Laterals, observations: pd.DataFrame, factor: Floats, model: CounterModel
) -> Floats:
    """Of each run what the things it saw say, each by the nearest of its kind that another run saw."""
    push = observations["push"].to_numpy(np.intp)
    seen = pd.DataFrame(
        {
            "thing": np.arange(len(push)),
            "push": push,
            "lateral": table["lateral"].to_numpy(np.int64)[push],
            "kind": observations["kind"].to_numpy(),
            "paid_m": observations["reading_m"].to_numpy(float) - table["zero_m"].to_numpy(float)[push],
            "at_m": observations["measure_m"].to_numpy(float),
            "sigma_m": observations["sigma_m"].to_numpy(float),
        }
    )
    seen = seen[np.isfinite(seen["paid_m"].to_numpy(float))]
    others = seen.loc[seen["at_m"].notna(), ["push", "lateral", "kind", "at_m", "sigma_m"]]
    pairs = seen[["thing", "push", "lateral", "kind", "paid_m"]].merge(others, on=["lateral", "kind"], suffixes=("", "_other"))
    pairs = pairs[(pairs["push"] != pairs["push_other"]).to_numpy()]
    if not len(pairs):
        return np.zeros(len(table))
    run, paid_m = pairs["push"].to_numpy(np.intp), pairs["paid_m"].to_numpy(float)
    for name, times in (("now", np.ones(len(factor))), ("other", factor)):
        mean_m, sigma = _mean_and_sigma(table, laterals, run, paid_m * times[run], model)
        spread = np.sqrt(sigma**2 + pairs["sigma_m"].to_numpy(float) ** 2 + NOTING_M**2)
        pairs[name] = np.abs(pairs["at_m"].to_numpy(float) - mean_m) / spread
    nearest = pairs.groupby("thing").agg({"push": "first", "now": "min", "other": "min"})
    votes = _vote(nearest["now"].to_numpy(float), nearest["other"].to_numpy(float), UNSEEN)
    total = _sum_of(nearest["push"].to_numpy(np.intp), votes, len(table))
    others_of = pairs.groupby("push")["push_other"].nunique().reindex(np.arange(len(table))).fillna(1.0).to_numpy(float)
    most = np.where(others_of > 1.0, MOST_BY_THINGS[2], MOST_BY_THINGS[1])
    return np.asarray(np.clip(total, -most, most))


def _sum_of(run: NDArray[np.intp], votes: Floats, count: int) -> Floats:
    return np.bincount(run, weights=np.nan_to_num(votes), minlength=count).astype(np.float64)
