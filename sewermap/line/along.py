"""How well a line is known along itself: one sigma for a drawn line, one at each vertex for a line that no map drew."""

from collections.abc import Sequence

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sewermap.line.reference import Lines, interpolated

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]

DECIMALS = 4
"""Tenths of a millimetre are kept: far finer than any of it is known, and the same however many lines are computed at once."""


def along_text(accuracy_m: Floats) -> str:
    """Sigmas at the vertices of one line as they are kept in a table.

    >>> along_text(np.array([0.1, 0.25]))
    '0.1 0.25'
    """
    return " ".join(f"{round(float(sigma), DECIMALS):g}" for sigma in accuracy_m)


def along_of(texts: pd.Series | None, lines: Lines) -> Floats | None:
    """The sigma (V,) at each vertex of lines, NaN on those that say one for all; None where all do.

    ``texts`` (L,) as ``along_text`` makes them, missing for drawn lines.
    """
    if texts is None or not texts.notna().any():
        return None
    at = np.flatnonzero(texts.notna().to_numpy())
    told = np.array(" ".join(texts.iloc[at]).split(), dtype=np.float64)
    along = np.full(len(lines.coords), np.nan)
    along[np.concatenate([np.arange(lines.offsets[line], lines.offsets[line + 1]) for line in at])] = told
    return along


def accuracy_at(accuracy_m: Floats, along_m: Floats | None, lines: Lines, line: Whole, measure_m: Floats) -> Floats:
    """The sigma (N,) of each line (−1: unknown, NaN) at a measure; of lines that say one for all, that one.

    ``accuracy_m`` (L,) of whole lines, ``along_m`` of ``along_of``. Beyond an end the end's holds.
    """
    found = np.append(accuracy_m, np.nan)[line]
    if along_m is None:
        return found
    sketched = np.append(~np.isnan(along_m[lines.offsets[:-1]]), False)
    rows = np.flatnonzero(sketched[line] & ~np.isnan(measure_m))
    if len(rows):
        measure = np.clip(measure_m[rows], 0.0, lines.length_m[line[rows]])
        found[rows] = interpolated(lines, along_m, line[rows], measure)
    return found


def mean_accuracy(along: Sequence[Floats], lines: Lines) -> Floats:
    """The root mean square (L,) of the sigma along each line, which goes evenly from vertex to vertex.

    >>> import shapely
    >>> from sewermap.line.reference import lines_from_geometries
    >>> mean_accuracy([np.array([0.0, 3.0])], lines_from_geometries([shapely.LineString([(0, 0), (0, 9)])])).round(3).tolist()
    [1.732]
    """
    if not len(along):
        return np.zeros(0)
    sigma, first = np.concatenate(along), lines.offsets[:-1]
    step = np.diff(lines.cumulative_m, append=0.0)
    step[lines.offsets[1:] - 1] = 0.0
    following = np.append(sigma[1:], 0.0)
    squares = step * (sigma**2 + sigma * following + following**2) / 3.0
    total = np.add.reduceat(step, first)
    return np.asarray(np.sqrt(np.add.reduceat(squares, first) / np.where(total > 0.0, total, 1.0)))
