"""The posterior of each run as a function of the cable paid out: piecewise linear means, piecewise quadratic variances.

The model is a Gaussian process with mean ``m0 + s·d`` and covariance ``σ0² + σk²·d·d' + q·min(d, d')`` (design, section 3;
distances in the minimum are not below 0), observed by the fixes. Its posterior (Rasmussen & Williams, *Gaussian Processes
for Machine Learning*, 2006, eq. 2.23-2.24) depends on ``d`` only through covariances with the fixes, and each of these is
linear between neighbouring fixes: so the mean is exactly a + b·d there, and the variance exactly c0 + c1·d + c2·d².
These five figures are computed once for each stretch of a run; a reading then costs a look-up and a few products.

All sums over the fixes of a run are written as loops over their number, with arrays over the runs inside: the result for
a run does not depend, to the last bit, on which other runs stand beside it.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from sewermap.line.counter_model import Floats, Whole

UNTIL, MEAN_0, MEAN_1, VARIANCE_0, VARIANCE_1, VARIANCE_2 = range(6)
_AT_ONCE = 20_000
"""Numbers per array in one batch: what stays in a core's cache."""
_STEPS_TOGETHER = 4


@dataclass(frozen=True)
class Grouped:
    """Usable fixes sorted by run, then paid, measure, variance; the fixes of run r are at start[r] … start[r] + count[r]."""

    start: Whole
    count: Whole
    paid_m: Floats
    off_m: Floats
    """Measure of the fix minus its prior mean."""
    variance: Floats


@dataclass(frozen=True)
class Priors:
    """What is assumed of each run before its fixes: launch variance, launch measure, direction; scale² and slip for all."""

    launch_measure_m: Floats
    direction: Floats
    launch_variance: Floats
    scale_2: float
    slip_m: float


@dataclass(frozen=True)
class Solved:
    """A batch of runs with n fixes each: arrays (n, R), the inverse covariance (n, n, R)."""

    runs: Whole
    where: Whole
    paid_m: Floats
    walked_m: Floats
    inverse: Floats
    weights: Floats

    def residual_m(self) -> Floats:
        """Each fix minus what the launch and the other fixes say of it (leave-one-out; R & W 2006, eq. 5.12)."""
        return self.weights / self._diagonal()

    def residual(self) -> Floats:
        """The same in standard deviations of that difference."""
        return self.weights / np.sqrt(self._diagonal())

    def launch_residual(self) -> Floats:
        """The launch (R,) against what the fixes say of it, in standard deviations of that difference.

        With M the covariance without the launch's variance σ², the fixes put the launch at 1'M⁻¹e / s with variance 1/s,
        s = 1'M⁻¹1; divided by √(σ² + 1/s) this is 1'We / √(1'W1) with W = (M + σ²11')⁻¹.
        """
        return total(self.weights) / np.sqrt(total(total(self.inverse)))

    def _diagonal(self) -> Floats:
        return np.stack([self.inverse[i, i] for i in range(len(self.inverse))])


def batches(runs: Whole, fixes: Grouped) -> Iterator[tuple[Whole, Whole]]:
    """Runs with equal numbers of fixes, cache-sized: (run indices (R,), places of their fixes (n, R)); none without fixes."""
    counts = fixes.count[runs]
    for n in np.flatnonzero(np.bincount(counts)):
        if n == 0:
            continue
        alike = runs[counts == n]
        size = max(1, _AT_ONCE // int(n * n))
        for begin in range(0, len(alike), size):
            part = alike[begin : begin + size]
            yield part, fixes.start[part] + np.arange(n)[:, None]


def solve(runs: Whole, where: Whole, fixes: Grouped, priors: Priors) -> Solved:
    """The inverse covariance of the fixes of each run, and the weights K⁻¹(y − m) of eq. 2.23."""
    paid_m = fixes.paid_m[where]
    walked_m = np.maximum(paid_m, 0.0)
    launch = priors.launch_variance[runs]
    n = len(where)
    covariance = np.empty((n, n, len(runs)))
    for i in range(n):
        for j in range(i + 1):  # sorted by paid: the minimum is the earlier one
            covariance[i, j] = covariance[j, i] = launch + priors.scale_2 * paid_m[i] * paid_m[j] + priors.slip_m * walked_m[j]
        covariance[i, i] += fixes.variance[where[i]]
    inverse = inverted(covariance)[0]
    return Solved(runs, where, paid_m, walked_m, inverse, times(inverse, fixes.off_m[where]))


def inverted(matrices: Floats) -> tuple[Floats, Floats]:
    """Inverse (n, n, R) and log-determinant (R,) of symmetric positive definite matrices (n, n, R), which are overwritten.

    Goodnight's sweep operator (The American Statistician 33, 1979; from memory): after a sweep of every pivot a matrix
    holds its negative inverse. No pivoting is needed where all pivots are positive.
    """
    log_determinant = np.zeros(matrices.shape[2])
    for k in range(len(matrices)):
        pivot = matrices[k, k].copy()
        column = matrices[:, k].copy()
        scaled = column / pivot
        matrices -= column[:, None] * scaled
        matrices[:, k] = scaled
        matrices[k, :] = scaled
        matrices[k, k] = -1.0 / pivot
        log_determinant += np.log(pivot)
    return np.negative(matrices, out=matrices), log_determinant


def times(matrices: Floats, vectors: Floats) -> Floats:
    """Matrix times vector for each run: (n, n, R) and (n, R) give (n, R)."""
    product: Floats = matrices[:, 0] * vectors[0]
    for i in range(1, len(vectors)):
        product += matrices[:, i] * vectors[i]
    return product


def dot(one: Floats, other: Floats) -> Floats:
    """Scalar product for each run: (n, R) and (n, R) give (R,)."""
    product: Floats = one[0] * other[0]
    for i in range(1, len(one)):
        product += one[i] * other[i]
    return product


def total(vectors: Floats) -> Floats:
    """Sum over the first axis, always in the same order."""
    summed: Floats = vectors[0].copy()
    for vector in vectors[1:]:
        summed += vector
    return summed


class Curves:
    """Mean and variance of every run, as figures of its stretches.

    A run with room for n fixes has n + 2 stretches: before the launch (paid < 0, where nothing slips), then between
    neighbouring fixes, then beyond the last. ``figures`` is (6, stretches): the paid length until which a stretch
    holds, a, b, c0, c1, c2. ``first`` is each run's first stretch.
    """

    def __init__(self, counts: Whole, priors: Priors) -> None:
        """Curves without any fix, with room for ``counts`` fixes in each run."""
        self._priors = priors
        alike = np.argsort(np.minimum(counts, 65_535).astype(np.uint16), kind="stable")  # a radix sort
        self.first = np.empty(len(counts), np.intp)
        self.first[alike] = np.cumsum(counts[alike] + 2) - (counts[alike] + 2)
        self.figures = np.empty((6, int(counts.sum()) + 2 * len(counts)))

    def believe(self, priors: Priors) -> None:
        """Take other priors for the runs that are set from now on."""
        self._priors = priors

    def set_prior(self, runs: Whole) -> None:
        """Runs whose fixes say nothing: the prior itself."""
        for begin in range(0, len(runs), _AT_ONCE):
            self._set_prior(runs[begin : begin + _AT_ONCE])

    def _set_prior(self, runs: Whole) -> None:
        """A batch of them."""
        priors = self._priors
        launch = priors.launch_variance[runs]
        figures = np.zeros((6, 2, len(runs)))
        figures[UNTIL, 1] = np.inf
        figures[MEAN_0] = priors.launch_measure_m[runs]
        figures[MEAN_1] = priors.direction[runs]
        figures[VARIANCE_0] = launch
        figures[VARIANCE_1, 1] = priors.slip_m
        figures[VARIANCE_2] = priors.scale_2
        self._store(runs, figures)

    def set_posterior(self, solved: Solved) -> None:
        """Runs with fixes: the posterior given all fixes that were solved."""
        priors = self._priors
        q, n = priors.slip_m, len(solved.weights)
        launch = priors.launch_variance[solved.runs]
        figures = np.empty((6, n + 2, len(solved.runs)))
        figures[UNTIL, 0] = 0.0
        figures[UNTIL, 1 : n + 1] = solved.walked_m
        figures[UNTIL, n + 1] = np.inf
        all_weights = total(solved.weights)
        mean_0 = priors.launch_measure_m[solved.runs] + launch * all_weights
        mean_1 = priors.direction[solved.runs] + priors.scale_2 * dot(solved.weights, solved.paid_m)
        figures[MEAN_0, 0], figures[MEAN_1, 0] = mean_0, mean_1
        figures[MEAN_0, 1], figures[MEAN_1, 1] = mean_0, mean_1 + q * all_weights
        for j in range(n):
            figures[MEAN_0, j + 2] = figures[MEAN_0, j + 1] + q * solved.walked_m[j] * solved.weights[j]
            figures[MEAN_1, j + 2] = figures[MEAN_1, j + 1] - q * solved.weights[j]
        self._set_variances(figures, solved, launch)
        self._store(solved.runs, figures)

    def _set_variances(self, figures: Floats, solved: Solved, launch: Floats) -> None:
        """Prior variance less k'K⁻¹k, where the covariance with the fixes is k = u + v·d in each stretch (eq. 2.24)."""
        scale_2, q, inverse = self._priors.scale_2, self._priors.slip_m, solved.inverse
        from_ones, from_paid = total(inverse), times(inverse, solved.paid_m)
        ww, wp, pp = total(from_ones), total(from_paid), dot(solved.paid_m, from_paid)
        from_u, from_v = launch * from_ones, scale_2 * from_paid + q * from_ones
        figures[VARIANCE_0, :2] = launch - launch * launch * ww
        figures[VARIANCE_1, 0] = -2.0 * launch * scale_2 * wp
        figures[VARIANCE_2, 0] = scale_2 - scale_2 * scale_2 * pp
        figures[VARIANCE_1, 1] = q - 2.0 * launch * (scale_2 * wp + q * ww)
        figures[VARIANCE_2, 1] = scale_2 - (scale_2 * scale_2 * pp + 2.0 * q * scale_2 * wp + q * q * ww)
        for j, walked in enumerate(solved.walked_m):  # passing fix j: its part of u grows by q·walked, of v falls by q
            more, itself, u, v = q * walked, inverse[j, j], from_u[j], from_v[j]
            figures[VARIANCE_0, j + 2] = figures[VARIANCE_0, j + 1] - more * (2.0 * u + more * itself)
            figures[VARIANCE_1, j + 2] = figures[VARIANCE_1, j + 1] - 2.0 * (more * v - q * u - q * more * itself)
            figures[VARIANCE_2, j + 2] = figures[VARIANCE_2, j + 1] + q * (2.0 * v - q * itself)
            from_u = from_u + more * inverse[:, j]
            from_v = from_v - q * inverse[:, j]

    def _store(self, runs: Whole, figures: Floats) -> None:
        """Write the stretches of these runs; at once where they lie side by side, as they do unless fixes were set aside."""
        first, width = self.first[runs], figures.shape[1]
        if (first[1:] - first[:-1] == width).all():
            begin = first[0]
            side_by_side = self.figures[:, begin : begin + width * len(runs)].reshape(6, len(runs), width)
            for j in range(width):  # long strides are quicker than many short rows
                side_by_side[:, :, j] = figures[:, j]
            return
        for j in range(width):
            self.figures[:, first + j] = figures[:, j]

    def widen(self, runs: Whole, factor: Floats) -> None:
        """Make the deviations of these runs, each of one fix, ``factor`` times as wide."""
        for j in range(3):
            self.figures[VARIANCE_0:, self.first[runs] + j] *= factor * factor

    def at(self, run: Whole, paid_m: Floats, measure_m: Floats, sigma_m: Floats) -> None:
        """Posterior mean and deviation of readings, written into the last two arguments (all columns of one length)."""
        figures = self.figures
        stretch = self._stretches(run, paid_m)
        np.take(figures[MEAN_1], stretch, out=measure_m, mode="clip")
        measure_m *= paid_m
        measure_m += figures[MEAN_0].take(stretch)
        np.take(figures[VARIANCE_2], stretch, out=sigma_m, mode="clip")
        sigma_m *= paid_m
        sigma_m += figures[VARIANCE_1].take(stretch)
        sigma_m *= paid_m
        sigma_m += figures[VARIANCE_0].take(stretch)
        np.maximum(sigma_m, 0.0, out=sigma_m)
        np.sqrt(sigma_m, out=sigma_m)

    def _stretches(self, run: Whole, paid_m: Floats) -> Whole:
        """The stretch that each reading lies in: walk on from the launch, all readings a step at a time."""
        stretch = self.first.take(run)
        stretch += paid_m > 0.0
        until = self.figures[UNTIL]
        for _ in range(_STEPS_TOGETHER):
            further = paid_m > until.take(stretch)
            if not further.any():
                return stretch
            stretch += further
        rest = np.flatnonzero(paid_m > until.take(stretch))
        while len(rest):  # only readings of runs with many fixes
            stretch[rest] += 1
            rest = rest[paid_m[rest] > until[stretch[rest]]]
        return stretch
