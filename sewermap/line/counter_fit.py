"""The counter's figures as a town's own runs support them: launch, scale and slip by maximum marginal likelihood.

The covariance of the fixes of a run is linear in three variances, θ = (launch², scale², slip): Σ = θ₁·11' + θ₂·dd' +
θ₃·min(d, d') + what is known (map accuracy of the launch, sigmas of the fixes). The likelihood of all fixes under their
prior means is raised by Fisher scoring (e.g. Harville, Journal of the American Statistical Association 72, 1977, from
memory): score ½(e'WGᵢWe − tr WGᵢ) and information ½ tr WGᵢWGⱼ with W = Σ⁻¹ and G the three matrices above.
"""

from dataclasses import dataclass, replace

import numpy as np

from sewermap.line.counter_conflicts import examine, priors_of, witnesses_of
from sewermap.line.counter_curves import Solved, dot, inverted, times, total
from sewermap.line.counter_model import CounterModel, Fixes, Flags, Floats, Runs, Whole

FLOORS = np.array([0.01**2, 0.0005**2, 0.00001])
"""Least launch² (1 cm), scale² (1 in 2000) and slip: a counter is never taken to be perfect (common practice, no source)."""

_AT_ONCE = 20_000
_ROUNDS = 200
_JUDGED_ANEW = 12
_SETTLED = 1e-7
_SINGULAR = 1e-8


@dataclass(frozen=True)
class FixSet:
    """Runs with n fixes each: paid out, off the prior mean, variance (each (n, R)), and the launch's map variance (R,)."""

    paid_m: Floats
    off_m: Floats
    variance: Floats
    map_variance: Floats


@dataclass(frozen=True)
class Likelihood:
    """Logarithm of the marginal likelihood (without its constant), its gradient (3,) and expected information (3, 3)."""

    value: float
    score: Floats
    information: Floats


def fit_model(runs: Runs, fixes: Fixes, model: CounterModel) -> CounterModel:
    """The model with launch, scale and slip estimated from the runs that hold fixes, rounded to two significant digits.

    What is set aside under the model, and runs whose launch is shifted or contradicts their one fix, are left out. A model
    that takes a town's counters to be better than they are would leave out too much and so confirm itself: what to leave
    out is judged again with the new figures, until these stay. With fewer than ``least_runs`` (30) such runs the given
    model comes back. A figure that these runs cannot tell from the others keeps its given value; none goes under its
    floor. The order of rows means nothing.
    """
    fitted = model
    for _ in range(_JUDGED_ANEW):
        sets = fix_sets(runs, fixes, fitted)
        if sum(len(each.map_variance) for each in sets) < model.least_runs:
            return model
        before, fitted = fitted, _refitted(sets, fitted)
        if fitted == before:
            break
    return fitted


def _refitted(sets: list[FixSet], model: CounterModel) -> CounterModel:
    """The model with those of its figures that the fixes can tell, estimated."""
    told, best = most_likely(sets, np.array([model.launch_m**2, model.scale**2, model.slip_m]))
    return replace(
        model,
        launch_m=_rounded(np.sqrt(best[0])) if told[0] else model.launch_m,
        scale=_rounded(np.sqrt(best[1])) if told[1] else model.scale,
        slip_m=_rounded(best[2]) if told[2] else model.slip_m,
    )


def fix_sets(runs: Runs, fixes: Fixes, model: CounterModel) -> list[FixSet]:
    """The fixes to be believed, by their number in a run, cache-sized and in an order that rows cannot change."""
    priors = priors_of(runs, model)
    witnesses = witnesses_of(fixes, priors)
    doubts, _, _ = examine(witnesses, priors, model, _look_away)
    good = witnesses.kept & ~(doubts.launch_shifted | doubts.conflict)[witnesses.run]
    run, columns = witnesses.run[good], witnesses.fixes
    paid_m, off_m, variance = columns.paid_m[good], columns.off_m[good], columns.variance[good]
    known = np.isfinite(off_m)
    run, paid_m, off_m, variance = run[known], paid_m[known], off_m[known], variance[known]
    count = np.bincount(run, minlength=len(runs))
    start = np.cumsum(count) - count
    map_variance = priors.launch_variance - model.launch_m**2
    sets = []
    for n in np.unique(count[count > 0]):
        alike = np.flatnonzero(count == n)
        where = start[alike] + np.arange(n)[:, None]
        whole = FixSet(paid_m[where], off_m[where], variance[where], map_variance[alike])
        order = np.lexsort([*whole.paid_m, *whole.off_m, *whole.variance, whole.map_variance])
        size = max(1, _AT_ONCE // int(n * n))
        sets += [_part(whole, order[begin : begin + size]) for begin in range(0, len(order), size)]
    return sets


def most_likely(sets: list[FixSet], given: Floats) -> tuple[Flags, Floats]:
    """Which of the three variances these fixes can tell, and all three where the likelihood is highest from ``given``."""
    at = np.maximum(given, FLOORS)
    here = likelihood(sets, at)
    told = _can_be_told(here.information, at)
    at = np.where(told, at, given)
    here = likelihood(sets, at)
    for _ in range(_ROUNDS):
        step = _step(at, here, told)
        there, then = at, here
        for _ in range(40):
            there = np.where(told, np.maximum(at + step, FLOORS), at)
            then = likelihood(sets, there)
            if then.value >= here.value:
                break
            step = step / 2.0
        else:
            break
        moved = np.abs(there - at) > _SETTLED * at
        at, here = there, then
        if not moved.any():
            break
    return told, at


def likelihood(sets: list[FixSet], variances: Floats) -> Likelihood:
    """Marginal likelihood of all fixes at (launch², scale², slip)."""
    value, score, information = 0.0, np.zeros(3), np.zeros((3, 3))
    for each in sets:
        part = _likelihood_of(each, variances)
        value += part.value
        score += part.score
        information += part.information
    return Likelihood(value, score, information)


def _likelihood_of(fixes: FixSet, variances: Floats) -> Likelihood:
    paid_m, off_m = fixes.paid_m, fixes.off_m
    n = len(paid_m)
    walked_m = np.maximum(paid_m, 0.0)
    nearer = np.minimum(np.arange(n)[:, None], np.arange(n))
    shared_m = walked_m[nearer]  # sorted by paid: the minimum is the earlier one
    covariance = variances[1] * paid_m[:, None] * paid_m + variances[2] * shared_m + (variances[0] + fixes.map_variance)
    for i in range(n):
        covariance[i, i] += fixes.variance[i]
    inverse, log_determinant = inverted(covariance)
    weights, from_ones, from_paid = times(inverse, off_m), total(inverse), times(inverse, paid_m)
    slips = np.stack([times(inverse, shared_m[:, j]) for j in range(n)], axis=1)
    ww, wp, pp = total(from_ones), total(from_paid), dot(paid_m, from_paid)
    trace = np.stack([ww, pp, sum((slips[i, i] for i in range(n)), np.zeros_like(ww))])
    squares = np.stack([total(weights) ** 2, dot(paid_m, weights) ** 2, dot(weights, times(shared_m, weights))])
    w_slip, p_slip = dot(from_ones, times(shared_m, from_ones)), dot(from_paid, times(shared_m, from_paid))
    slip_slip = (slips * slips.transpose(1, 0, 2)).sum()
    corner = [[(ww * ww).sum(), (wp * wp).sum(), w_slip.sum()], [0.0, (pp * pp).sum(), p_slip.sum()], [0.0, 0.0, slip_slip]]
    upper = np.array(corner) / 2.0
    return Likelihood(
        -0.5 * float((dot(off_m, weights) + log_determinant).sum()),
        (squares - trace).sum(axis=1) / 2.0,
        upper + np.triu(upper, 1).T,
    )


def _can_be_told(information: Floats, at: Floats) -> Flags:
    """Which variances carry information of their own, beyond that of the ones before them (pivots of Cholesky)."""
    told = np.zeros(3, bool)
    relative = information * np.outer(at, at)
    for i in range(3):
        before = np.flatnonzero(told)
        own = relative[i, i]
        if len(before):
            own -= relative[i, before] @ np.linalg.solve(relative[np.ix_(before, before)], relative[before, i])
        told[i] = own > _SINGULAR * max(relative[i, i], np.finfo(float).tiny)
    return told


def _step(at: Floats, here: Likelihood, told: Flags) -> Floats:
    """Fisher's step among the variances that are free: told from the others, and not pressed against their floors."""
    floored = at <= FLOORS
    free = told & ~(floored & (here.score <= 0.0))
    step = np.zeros(3)
    while free.any():
        inner = here.information[np.ix_(free, free)]
        step[:] = 0.0
        step[free] = np.linalg.solve(inner, here.score[free])
        stuck = free & floored & (step < 0.0)
        if not stuck.any():
            break
        free &= ~stuck
        step[:] = 0.0
    return step


def _rounded(figure: float) -> float:
    """To two significant digits."""
    return float(f"{figure:.1e}")


def _part(whole: FixSet, rows: Whole) -> FixSet:
    return FixSet(whole.paid_m[:, rows], whole.off_m[:, rows], whole.variance[:, rows], whole.map_variance[rows])


def _look_away(_: Solved) -> None:
    """Nothing needs to be seen of the solutions here."""
