"""Do readings fit one another? A cable is pushed in and pulled out again, so its counter grows, and then falls."""

from bisect import bisect_right

import numpy as np
import pandas as pd
from numpy.typing import NDArray

Numbers = NDArray[np.float64]

BACK = 1.0
"""How far a camera goes back for a second look, in the counter's unit. Common practice, no source."""

FASTEST = 5.0
"""Faster, in the counter's unit a second, no cable is pushed or pulled. Common practice, no source."""


def sane(readings: pd.Series | Numbers, times: pd.Series | Numbers) -> NDArray[np.bool_]:
    """True where a reading fits the others, False where it is to be marked; one unit, ``times`` in seconds, in any order.

    The most readings that grow and then fall are taken to be right (the longest such subsequence: the longest that grows up to
    each reading, and the longest that falls from it). Of the others, those that lie between their neighbours among these, or no
    more than ``BACK`` beyond, fit as well. Whatever only fits by a cable faster than ``FASTEST`` does not. Missing readings
    contradict nothing: True.

    >>> sane(np.array([1.0, 2.0, 71.0, 4.0, np.nan, 3.0, 2.0]), np.arange(7.0)).tolist()
    [True, True, False, True, True, True, True]
    """
    values, seconds = np.asarray(readings, dtype=float), np.asarray(times, dtype=float)
    fits = np.ones(len(values), dtype=bool)
    there = np.flatnonzero(np.isfinite(values) & np.isfinite(seconds))
    there = there[np.argsort(seconds[there], kind="stable")]
    if not len(there):
        return fits
    values, seconds = values[there], seconds[there]
    kept = _not_too_fast(_up_and_down(values), values, seconds)
    after = np.searchsorted(kept, np.arange(len(values)))  # of each reading, the next that is taken to be right
    around = np.stack([values[kept[np.maximum(after - 1, 0)]], values[kept[np.minimum(after, len(kept) - 1)]]])
    fits[there] = (values >= around.min(axis=0) - BACK) & (values <= around.max(axis=0) + BACK)
    fits[there[kept]] = True
    return fits


def _up_and_down(values: Numbers) -> NDArray[np.int_]:
    """Where the longest run of values stands that grows (or stays) up to one of them and falls (or stays) from there."""
    upward, before = _growing(values)
    downward, after = _growing(values[::-1])
    top = int(np.argmax(upward + downward[::-1]))
    rising, falling = _chain(before, top), _chain(after, len(values) - 1 - top)
    return np.unique(np.concatenate([rising, len(values) - 1 - falling]))


def _growing(values: Numbers) -> tuple[NDArray[np.int_], NDArray[np.int_]]:
    """Of each value: how many stand in the longest growing run that ends with it, and which is the one before it (or -1)."""
    lengths, before = np.zeros(len(values), dtype=int), np.full(len(values), -1)
    least: list[float] = []
    last: list[int] = []
    for at, value in enumerate(values.tolist()):
        place = bisect_right(least, value)
        before[at] = last[place - 1] if place else -1
        least[place : place + 1], last[place : place + 1] = [value], [at]
        lengths[at] = place + 1
    return lengths, before


def _chain(before: NDArray[np.int_], end: int) -> NDArray[np.int_]:
    chain = [end]
    while before[chain[-1]] >= 0:
        chain.append(int(before[chain[-1]]))
    return np.array(chain)


def _not_too_fast(kept: NDArray[np.int_], values: Numbers, seconds: Numbers) -> NDArray[np.int_]:
    """Without readings that lie too far, for the time between them, from the one before and the one after."""
    if len(kept) < 3:  # noqa: PLR2004 - of two nobody knows which is wrong
        return kept
    fast = np.abs(np.diff(values[kept])) > FASTEST * np.maximum(np.diff(seconds[kept]), 1.0)
    alone = np.concatenate([[True], fast]) & np.concatenate([fast, [True]])
    return kept[~alone] if not alone.all() else kept
