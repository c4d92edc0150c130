"""The compiled heart of ``register``: one lateral at a time, all its runs together, as a Gaussian process.

What is uncertain of a lateral is one vector: the true measure of each reading taken, and the error of each known point. Their
prior covariance is that of the counter model (design, section 3): two readings of a run share ``σ0² + σk²·d·d' + q·min(d, d')``,
and runs launched at one known point share that point's error. Two sorts of things are told about it, both linear:

* a fix: the reading less the error of the point it passed is the point's measure;
* sightings of one thing have one measure, wherever that is. Integrated over that unknown measure, n sightings with equal noise
  say exactly that n - 1 orthonormal contrasts (Helmert's: each sighting against the mean of those before) are zero.

The posterior is that of Gaussian-process regression (Rasmussen & Williams 2006, eq. 2.23-2.24) for linear functionals. A reading
that nothing is told of changes nothing and gets its own posterior.
"""

from collections.abc import Callable
from typing import Any, NamedTuple, TypeVar, cast

import numba
import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]
Flags = NDArray[np.bool_]
_Function = TypeVar("_Function", bound=Callable[..., Any])


def compiled(function: _Function) -> _Function:
    """The function compiled to machine code, kept on disk between runs."""
    return cast("_Function", numba.njit(cache=True, error_model="numpy")(function))


class Town(NamedTuple):
    """Flat columns sorted by lateral. ``*_first`` (L + 1,) say where each lateral's runs, readings and points begin.

    Runs: launch_m, direction (±1), launch_variance (m², the map left out), launch_point (row of the points, −1: none).
    Points: point_variance (m²). Readings: run (row), paid_m, extra (asked for, but takes no part), fix_point (row of the points
    that it passes, −1: no fix), fix_m and fix_variance (of passing it).
    """

    run_first: Whole
    reading_first: Whole
    point_first: Whole
    launch_m: Floats
    direction: Floats
    launch_variance: Floats
    launch_point: Whole
    point_variance: Floats
    run: Whole
    paid_m: Floats
    extra: Flags
    fix_point: Whole
    fix_m: Floats
    fix_variance: Floats


class Figures(NamedTuple):
    """scale² (no unit), slip (m² a metre) and the variance (m²) of noting one thing's place: rounding, pointing."""

    scale_2: float
    slip_m: float
    noting: float


class Told(NamedTuple):
    """Fixes (place of the reading, place of the point's error, measure, variance); members of things, sorted by thing, each with
    the number of members before it in its thing. Places are in the lateral's vector.
    """

    fix_row: Whole
    fix_error: Whole
    fix_m: Floats
    fix_variance: Floats
    member: Whole
    before: Whole


@compiled
def prior(town: Town, lateral: int, rows: Whole, figures: Figures) -> tuple[Floats, Floats]:
    """Mean (N + P,) and covariance (N + P, N + P) of these readings of a lateral, then of its points' errors."""
    n, first, last = len(rows), town.point_first[lateral], town.point_first[lateral + 1]
    mean, covariance = np.zeros(n + last - first), np.zeros((n + last - first, n + last - first))
    for point in range(first, last):
        covariance[n + point - first, n + point - first] = town.point_variance[point]
    for i in range(n):
        run, paid = town.run[rows[i]], town.paid_m[rows[i]]
        launched = town.launch_point[run]
        mean[i] = town.launch_m[run] + town.direction[run] * paid
        if launched >= 0:
            covariance[i, n + launched - first] = covariance[n + launched - first, i] = town.point_variance[launched]
        for j in range(i + 1):
            other, other_paid, shared = town.run[rows[j]], town.paid_m[rows[j]], 0.0
            if launched >= 0 and launched == town.launch_point[other]:
                shared += town.point_variance[launched]
            if run == other:
                shared += town.launch_variance[run] + figures.scale_2 * paid * other_paid
                shared += figures.slip_m * max(min(paid, other_paid), 0.0)
            covariance[i, j] = covariance[j, i] = shared
    return mean, covariance


@compiled
def told_of(town: Town, lateral: int, rows: Whole, thing: Whole) -> Told:
    """What is told of these readings. ``thing`` (N,): the thing that each is a sighting of, −1: none."""
    n, first = len(rows), town.point_first[lateral]
    fixes, members = 0, 0
    for i in range(n):
        fixes += town.fix_point[rows[i]] >= 0
        members += thing[i] >= 0
    fix_row, fix_error = np.empty(fixes, np.int64), np.empty(fixes, np.int64)
    fix_m, fix_variance = np.empty(fixes), np.empty(fixes)
    at = 0
    for i in range(n):
        if town.fix_point[rows[i]] >= 0:
            fix_row[at], fix_error[at] = i, n + town.fix_point[rows[i]] - first
            fix_m[at], fix_variance[at] = town.fix_m[rows[i]], town.fix_variance[rows[i]]
            at += 1
    member, before = np.empty(members, np.int64), np.zeros(members, np.int64)
    at = 0
    for i in range(n):  # insertion sort by thing; few
        if thing[i] >= 0:
            place = at
            while place > 0 and thing[member[place - 1]] > thing[i]:
                member[place] = member[place - 1]
                place -= 1
            member[place] = i
            at += 1
    for at in range(1, members):
        if thing[member[at]] == thing[member[at - 1]]:
            before[at] = before[at - 1] + 1
    return Told(fix_row, fix_error, fix_m, fix_variance, member, before)


@compiled
def say(told: Told, vector: Floats, out: Floats) -> None:
    """The linear functionals of a vector: fixes first, then contrasts."""
    at, total = 0, 0.0
    for fix in range(len(told.fix_row)):
        out[at] = vector[told.fix_row[fix]] - vector[told.fix_error[fix]]
        at += 1
    for i in range(len(told.member)):
        value, k = vector[told.member[i]], told.before[i]
        if k == 0:
            total = value
        else:
            out[at] = (total / k - value) * np.sqrt(k / (k + 1.0))
            total += value
            at += 1


@compiled
def told_covariances(told: Told, covariance: Floats, figures: Figures) -> tuple[Floats, Floats]:
    """Covariances of what is told with the vector (N + P, M), and among itself (M, M), its noise included."""
    fixes, size = len(told.fix_row), len(covariance)
    m = fixes
    for k in told.before:
        m += k > 0
    with_all, among, one = np.empty((size, m)), np.empty((m, m)), np.empty(size)
    for i in range(size):
        say(told, covariance[i], with_all[i])
    for c in range(m):
        for i in range(size):
            one[i] = with_all[i, c]
        say(told, one, among[c])
        among[c, c] += told.fix_variance[c] if c < fixes else figures.noting
    return with_all, among


@compiled
def posterior(town: Town, lateral: int, rows: Whole, thing: Whole, figures: Figures) -> tuple[Floats, Floats]:
    """Mean and covariance of ``prior`` after what is told."""
    mean, covariance = prior(town, lateral, rows, figures)
    told = told_of(town, lateral, rows, thing)
    with_all, among = told_covariances(told, covariance, figures)
    size, m = with_all.shape
    off = np.empty(m)
    say(told, mean, off)
    for c in range(m):
        off[c] = (told.fix_m[c] if c < len(told.fix_row) else 0.0) - off[c]
    factor(among)
    solve_lower(among, off)
    for i in range(size):
        solve_lower(among, with_all[i])
        for c in range(m):
            mean[i] += with_all[i, c] * off[c]
        for j in range(i + 1):
            known = 0.0
            for c in range(m):
                known += with_all[i, c] * with_all[j, c]
            covariance[i, j] -= known
            covariance[j, i] = covariance[i, j]
    return mean, covariance


@compiled
def factor(matrix: Floats) -> None:
    """Cholesky's lower factor of a positive definite matrix, in its place."""
    for j in range(len(matrix)):
        for i in range(j, len(matrix)):
            value = matrix[i, j]
            for k in range(j):
                value -= matrix[i, k] * matrix[j, k]
            matrix[i, j] = np.sqrt(value) if i == j else value / matrix[j, j]


@compiled
def solve_lower(lower: Floats, vector: Floats) -> None:
    """Solve with the lower factor, in the vector's place."""
    for i in range(len(vector)):
        value = vector[i]
        for k in range(i):
            value -= lower[i, k] * vector[k]
        vector[i] = value / lower[i, i]


@compiled
def between(one: Floats, among: Floats, other: Floats) -> Floats:
    """The product one · among · other', always summed in the same order. Zeros are skipped; numba's own would need SciPy."""
    n, size, m = one.shape[0], among.shape[0], other.shape[0]
    out, half = np.zeros((n, m)), np.empty(size)
    for i in range(n):
        for k in range(size):
            half[k] = 0.0
        for j in range(size):
            if one[i, j] != 0.0:
                for k in range(size):
                    half[k] += one[i, j] * among[j, k]
        for j in range(m):
            for k in range(size):
                if other[j, k] != 0.0:
                    out[i, j] += half[k] * other[j, k]
    return out
