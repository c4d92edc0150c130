"""How well a line is known along itself: one sigma for a drawn line, an error ellipse at each vertex of one that no map drew.

What a bearing is wrong by lies squarely to its leg, what a counter is wrong by along it, so a walked line is not equally well
known both ways. Covariances (V, 3) are xx, xy and yy in square metres, x to the east and y to the north of the map.
"""

from collections.abc import Sequence

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sewermap.line.reference import Lines, segment_at

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]

DECIMALS = 4
"""Tenths of a millimetre are kept: far finer than any of it is known, and the same however many lines are computed at once."""


def equally(sigma_m: Floats) -> Floats:
    """Covariances (V, 3) of places that are known equally well both ways, to ``sigma_m`` (V,) an axis."""
    return np.column_stack([sigma_m**2, np.zeros(len(sigma_m)), sigma_m**2])


def an_axis(covariance: Floats) -> Floats:
    """One sigma an axis (V,) in the mean of both: what a covariance comes to where the way a line runs does not matter."""
    return np.asarray(np.sqrt((covariance[:, 0] + covariance[:, 2]) / 2.0))


def along_text(covariance: Floats) -> str:
    """Covariances at the vertices of one line as a table keeps them: of each the sigma in x and in y, and their correlation.

    >>> along_text(np.array([[0.01, 0.0, 0.01], [0.0625, -0.02, 0.04]]))
    '0.1 0.1 0, 0.25 0.2 -0.4'
    """
    x, y = np.sqrt(covariance[:, 0]), np.sqrt(covariance[:, 2])
    both = x * y
    correlation = np.divide(covariance[:, 1], both, out=np.zeros(len(both)), where=both > 0.0)
    told = np.round(np.column_stack([x, y, correlation]), DECIMALS) + 0.0  # no minus before a zero
    return ", ".join(" ".join(f"{number:g}" for number in row) for row in told.tolist())


def along_of(texts: pd.Series | None, lines: Lines) -> Floats | None:
    """The covariance (V, 3) at each vertex of lines, NaN on those that say one sigma for all; None where all do.

    ``texts`` (L,) as ``along_text`` makes them, missing for drawn lines.
    """
    if texts is None or not texts.notna().any():
        return None
    at = np.flatnonzero(texts.notna().to_numpy())
    told = np.array(" ".join(texts.iloc[at]).replace(",", " ").split(), dtype=np.float64).reshape(-1, 3)
    x, y, correlation = told.T
    along = np.full((len(lines.coords), 3), np.nan)
    vertices = np.concatenate([np.arange(lines.offsets[line], lines.offsets[line + 1]) for line in at])
    along[vertices] = np.column_stack([x**2, correlation * x * y, y**2])
    return along


def accuracies_at(
    accuracy_m: Floats, along: Floats | None, lines: Lines, line: Whole, measure_m: Floats
) -> tuple[Floats, Floats]:
    """The sigma (N,) along each line (−1: unknown, NaN) at a measure, and across it; of lines that say one for all, that one.

    ``accuracy_m`` (L,) of whole lines, ``along`` of ``along_of``. Beyond an end the end's holds. A place between
    two vertices is wrong by what each of them is, by its share.
    """
    found = np.append(accuracy_m, np.nan)[line]
    if along is None:
        return found, found
    lengthwise, across = found.copy(), found.copy()
    rows = np.flatnonzero(sketched(along, lines, line) & ~np.isnan(measure_m))
    if len(rows):
        measure = np.clip(measure_m[rows], 0.0, lines.length_m[line[rows]])
        vertex, share = segment_at(lines, line[rows], measure)
        east, north = _ahead(lines, vertex).T
        for into, x, y in ((lengthwise, east, north), (across, -north, east)):
            first, second = (_variance(along[vertex + end], x, y) for end in (0, 1))
            into[rows] = np.sqrt(
                (1.0 - share) ** 2 * first + share**2 * second + 2.0 * share * (1.0 - share) * _common(first, second)
            )
    return lengthwise, across


def sketched(along: Floats | None, lines: Lines, line: Whole) -> NDArray[np.bool_]:
    """Which of these lines (N,; −1: unknown) no map drew."""
    if along is None:
        return np.zeros(len(line), dtype=bool)
    return np.asarray(np.append(~np.isnan(along[lines.offsets[:-1], 0]), False)[line])


def mean_accuracy(along: Sequence[Floats], lines: Lines) -> Floats:
    """The root mean square (L,) of the sigma an axis along each line (see ``accuracies_at`` for what lies between vertices).

    >>> import shapely
    >>> from sewermap.line.reference import lines_from_geometries
    >>> ends = equally(np.array([0.0, 3.0]))
    >>> mean_accuracy([ends], lines_from_geometries([shapely.LineString([(0, 0), (0, 9)])])).round(3).tolist()
    [1.732]
    """
    if not len(along):
        return np.zeros(0)
    variance, first = an_axis(np.concatenate(along)) ** 2, lines.offsets[:-1]
    step = np.diff(lines.cumulative_m, append=0.0)
    step[lines.offsets[1:] - 1] = 0.0
    following = np.append(variance[1:], 0.0)
    squares = step * (variance + following + _common(variance, following)) / 3.0
    total = np.add.reduceat(step, first)
    return np.asarray(np.sqrt(np.add.reduceat(squares, first) / np.where(total > 0.0, total, 1.0)))


def _ahead(lines: Lines, vertex: Whole) -> Floats:
    """The unit vector (N, 2) from each vertex to the next; of two in one place any."""
    step = lines.coords[vertex + 1, :2] - lines.coords[vertex, :2]
    long = np.hypot(step[:, 0], step[:, 1])
    return np.where(long[:, None] > 0.0, step / np.where(long > 0.0, long, 1.0)[:, None], [1.0, 0.0])


def _common(first: Floats, second: Floats) -> Floats:
    """The covariance (N,) of neighbouring vertices: from the better known one a line strays by what is independent of it."""
    return np.minimum(first, second)


def _variance(covariance: Floats, x: Floats, y: Floats) -> Floats:
    """The variance (N,) of places in the direction of the unit vectors x, y; what rounding left below 0 is 0."""
    variance = covariance[:, 0] * x**2 + 2.0 * covariance[:, 1] * x * y + covariance[:, 2] * y**2
    return np.asarray(np.maximum(variance, 0.0))
