"""The columns that matching takes: what each run saw, when it looked, and what was done between."""

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sewermap.follow.sorted_runs import Floats, Sorted, What, Whole, firsts, times
from sewermap.history.kinds import Vocabulary
from sewermap.history.matching_tables import Jobs, Looks, Seen

CUT_SHORT_M = 0.3
"""A stretch that ends this near to the end of the push may go on (common practice, no source)."""
_HOURS = 12.0


def seen_of(ready: Sorted, named: Whole, vocabulary: Vocabulary) -> Seen:
    """What the observations in order saw. ``named``: the known point each says it passed, −1: none."""
    run, rows = ready.run, ready.observations.iloc[ready.rows]
    kind = vocabulary.codes(rows["kind"]).astype(np.int64)
    towards_building = ready.order["direction"].to_numpy(float)[run] > 0.0
    start, end = reading_rows(ready)
    sure_end = np.where(_cut_short(ready, run, end), -1, end)
    is_stretch = end >= 0
    takes_part = np.array([vocabulary.roles[name] != "look" for name in vocabulary.names])
    return Seen(
        first=ready.firsts(run),
        run=run,
        kind=kind,
        clock=clock_hours(rows["clock_from"], rows["clock_to"], towards_building),
        named=named,
        upper=np.where(is_stretch & towards_building, sure_end, start),
        lower=np.where(is_stretch, np.where(towards_building, start, sure_end), -1),
        part=takes_part[kind],
    )


def reading_rows(ready: Sorted) -> tuple[Whole, Whole]:
    """Of each observation in order, the rows of its first and its second reading (−1: none)."""
    seen, what = ready.readings["seen"].to_numpy(np.int64), ready.readings["what"].to_numpy()
    rows = np.full((2, len(ready.rows)), -1)
    for at in (What.START, What.END):
        found = np.flatnonzero(what == at)
        rows[at, seen[found]] = found
    return rows[What.START], rows[What.END]


def run_rows(ready: Sorted) -> tuple[Whole, Whole]:
    """Of each run in order, the rows of its launch and its end."""
    what = ready.readings["what"].to_numpy()
    return np.flatnonzero(what == What.LAUNCH), np.flatnonzero(what == What.STOP)


def _cut_short(ready: Sorted, run: Whole, end: Whole) -> NDArray[np.bool_]:
    """Stretches whose second reading may only be where the push ended."""
    paid_m = ready.readings["paid_m"].to_numpy(float)
    stop_m = paid_m[run_rows(ready)[1]][run] - ready.scene.rules.counter.covered_beyond_m
    return np.asarray((end >= 0) & (stop_m - paid_m[end] < CUT_SHORT_M))


def clock_hours(first: pd.Series, last: pd.Series, towards_building: NDArray[np.bool_]) -> Floats:
    """The middle of clock positions as one looks towards the main: those of a run the other way are mirrored.

    >>> clock_hours(pd.Series([3.0, 3.0, 10.0]), pd.Series([np.nan, np.nan, 2.0]), np.array([False, True, False])).tolist()
    [3.0, 9.0, 0.0]
    """
    hours = first.to_numpy(float)
    hours = hours + np.nan_to_num(np.mod(last.to_numpy(float) - hours, _HOURS)) / 2.0
    return np.asarray(np.mod(np.where(towards_building, _HOURS - hours, hours), _HOURS))


def looks_of(ready: Sorted) -> Looks:
    """When each run in order looked, and the rows of where it began and ended."""
    begun, ended = run_rows(ready)
    return Looks(ready.order["lateral"].to_numpy(np.int64), ready.order["time"].to_numpy(np.int64), begun, ended)


def jobs_of(ready: Sorted, works: pd.DataFrame, vocabulary: Vocabulary) -> Jobs:
    """The works of the scene's laterals that have a day; a missing end of a stretch means the line's."""
    lateral = ready.scene.laterals.index_of(works["lateral"])
    time = times(works["done_on"], 1)
    able = np.flatnonzero((lateral >= 0) & (time >= 0))
    order = able[np.lexsort([pd.factorize(works["work"], sort=True)[0][able], time[able], lateral[able]])]
    nothing = np.zeros(len(vocabulary.names), bool)
    mends = [vocabulary.mended_by.get(kind, nothing) for kind in works["kind"].iloc[order]]
    return Jobs(
        first=firsts(lateral[order], len(ready.scene.laterals.table)),
        time=time[order],
        from_m=np.nan_to_num(works["from_measure_m"].to_numpy(float)[order], nan=-np.inf),
        to_m=np.nan_to_num(works["to_measure_m"].to_numpy(float)[order], nan=np.inf),
        mends=np.array(mends, bool).reshape(len(order), len(nothing)),
    )
