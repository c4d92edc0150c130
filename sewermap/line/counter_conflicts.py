"""Which fixes of a run are believed: the launch and the fixes are witnesses, and each is held against the others.

A run is in conflict while a fix lies over 3 sigma (the model's ``widest_residual``) from what the launch and the other
fixes say of it, or the launch from what the fixes say. Then, one step at a time:

1. With two fixes or more, a shifted launch is tried first: a counter that was not zeroed, or a launch a step further in,
   moves a whole run. Where the fixes agree among themselves, all are kept and the launch is not used.
2. Else the fix with the largest residual is set aside, and the rest is looked at again. Where three fixes or more
   contradict the launch more than any one of them is contradicted, the largest is taken without the launch's word.
3. With one fix there is nobody to say which of the two is wrong: nothing is set aside, the conflict is reported, and the
   run's sigmas are widened by the residual's number of sigmas (the Birge ratio: R. T. Birge, Physical Review 40, 1932,
   from memory), after which launch and fix differ by one sigma.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from sewermap.line.counter_curves import Grouped, Priors, Solved, batches, solve
from sewermap.line.counter_model import CounterModel, Fixes, Flags, Floats, Runs, Whole

Seen = Callable[[Solved], None]
_ENOUGH_WITHOUT_LAUNCH = 3
"""Of two fixes that contradict each other, only the launch can say which is wrong."""


@dataclass
class Witnesses:
    """Usable fixes sorted within their runs, and what has been found out about them so far."""

    order: Whole
    """Where each stands among the fixes as given."""
    run: Whole
    fixes: Grouped
    kept: Flags
    residual_m: Floats
    residual: Floats
    """Of kept fixes, by the witnesses believed; of others, meaningless."""
    launch_worst: Flags
    """Runs whose launch is contradicted more than any of their fixes."""


@dataclass
class Doubts:
    """Per run: launch not believed; one fix against the launch; factor of the sigmas."""

    launch_shifted: Flags
    conflict: Flags
    widening: Floats


def priors_of(runs: Runs, model: CounterModel) -> Priors:
    """Launch variance with the map's accuracy in it, and the rest of the prior."""
    own_map = np.where(np.isnan(runs.launch_map_sigma_m), model.map_accuracy_m, runs.launch_map_sigma_m)
    return Priors(
        np.asarray(runs.launch_measure_m, float),
        np.asarray(runs.direction, float),
        model.launch_m**2 + own_map**2,
        model.scale**2,
        model.slip_m,
    )


def witnesses_of(fixes: Fixes, priors: Priors) -> Witnesses:
    """The fixes that can be used, in an order that does not depend on the order of their rows."""
    run, paid_m, measure_m, sigma_m = fixes.run, fixes.paid_m, fixes.measure_m, fixes.sigma_m
    order = np.arange(len(fixes))
    complete = np.isfinite(paid_m) & np.isfinite(measure_m) & np.isfinite(sigma_m)
    if not (complete.all() and _rising(run, paid_m, measure_m, sigma_m)):
        by_content = np.lexsort((sigma_m, measure_m, paid_m, run))
        order = by_content[complete[by_content]]
        run, paid_m, measure_m, sigma_m = run[order], paid_m[order], measure_m[order], sigma_m[order]
    off_m = measure_m - (priors.launch_measure_m[run] + priors.direction[run] * paid_m)
    least = 1e-3  # nothing is known to less than a millimetre; an exact fix would make the covariance singular
    fixes_grouped = _grouped(run, len(priors.direction), paid_m, off_m, np.maximum(sigma_m, least) ** 2)
    empty = np.full(len(order), np.nan)
    launch_worst = np.zeros(len(priors.direction), bool)
    return Witnesses(order, run, fixes_grouped, np.ones(len(order), bool), empty, empty.copy(), launch_worst)


def examine(witnesses: Witnesses, priors: Priors, model: CounterModel, first_seen: Seen) -> tuple[Doubts, Priors, Whole]:
    """Settle every run: which fixes are kept (noted in ``witnesses``), which launches are believed.

    Each batch is shown to ``first_seen`` once, solved with all its fixes and the launch. Returned are the doubts, the
    priors with shifted launches freed, and the runs that must be solved again because something was not believed.
    """
    runs = np.arange(len(priors.direction))
    doubts = Doubts(np.zeros(len(runs), bool), np.zeros(len(runs), bool), np.ones(len(runs)))
    suspects = _look(runs, np.arange(len(witnesses.run)), witnesses.fixes, witnesses, priors, model, first_seen)
    changed = suspects
    freed = replace(priors, launch_variance=priors.launch_variance + model.shifted_launch_m**2)
    while len(suspects):
        places, fixes = _kept(suspects, witnesses, priors)
        single = fixes.count[suspects] == 1
        _report(suspects[single], places[fixes.start[suspects[single]]], witnesses, doubts)
        suspects = suspects[~single]
        with_launch = witnesses.residual.copy()
        still = _look(suspects, places, fixes, witnesses, freed, model, freed=True)
        doubts.launch_shifted[np.setdiff1d(suspects, still)] = True
        by_fixes_alone = witnesses.launch_worst[still] & (fixes.count[still] >= _ENOUGH_WITHOUT_LAUNCH)
        heed_launch = _among(still[~by_fixes_alone], len(runs))[witnesses.run]
        witnesses.residual[heed_launch] = with_launch[heed_launch]
        _set_worst_aside(still, places, fixes, witnesses)
        places, fixes = _kept(still, witnesses, priors)
        suspects = _look(still, places, fixes, witnesses, priors, model)
    launch_variance = np.where(doubts.launch_shifted, freed.launch_variance, priors.launch_variance)
    return doubts, replace(priors, launch_variance=launch_variance), changed


def solve_kept(runs: Whole, witnesses: Witnesses, priors: Priors, seen: Seen) -> None:
    """Show each batch of these runs, solved with the kept fixes alone."""
    fixes = _kept(runs, witnesses, priors)[1]
    for part, where in batches(runs, fixes):
        seen(solve(part, where, fixes, priors))


def _look(
    runs: Whole,
    places: Whole,
    fixes: Grouped,
    witnesses: Witnesses,
    priors: Priors,
    model: CounterModel,
    seen: Seen | None = None,
    *,
    freed: bool = False,
) -> Whole:
    """Solve runs, note the residuals of their fixes, and return the runs with one that is too wide."""
    suspects = [np.zeros(0, np.intp)]
    for part, where in batches(runs, fixes):
        solved = solve(part, where, fixes, priors)
        if seen:
            seen(solved)
        at, residual = places[where], solved.residual()
        witnesses.residual_m[at] = solved.residual_m()
        witnesses.residual[at] = residual
        widest = np.abs(residual).max(axis=0)
        if not freed:
            launch = np.abs(solved.launch_residual())
            witnesses.launch_worst[part] = launch > widest
            widest = np.maximum(widest, launch)
        suspects.append(part[widest > model.widest_residual])
    return np.sort(np.concatenate(suspects))


def _kept(runs: Whole, witnesses: Witnesses, priors: Priors) -> tuple[Whole, Grouped]:
    """The kept fixes of these runs alone, and where each stands among the witnesses."""
    fixes = witnesses.fixes
    count = fixes.count[runs]
    places = np.repeat(fixes.start[runs] - (np.cumsum(count) - count), count) + np.arange(count.sum())
    places = places[witnesses.kept[places]]
    columns = fixes.paid_m[places], fixes.off_m[places], fixes.variance[places]
    return places, _grouped(witnesses.run[places], len(priors.direction), *columns)


def _set_worst_aside(runs: Whole, places: Whole, fixes: Grouped, witnesses: Witnesses) -> None:
    """Of each run, the fix with the largest residual is kept no longer."""
    for _, where in batches(runs, fixes):
        at = places[where]
        worst = np.abs(witnesses.residual[at]).argmax(axis=0)
        witnesses.kept[np.take_along_axis(at, worst[None], axis=0)] = False


def _report(runs: Whole, places: Whole, witnesses: Witnesses, doubts: Doubts) -> None:
    """One fix against its launch: a conflict, and sigmas as much wider as the residual has sigmas."""
    doubts.conflict[runs] = True
    doubts.widening[runs] = np.abs(witnesses.residual[places])


def _grouped(run: Whole, runs: int, paid_m: Floats, off_m: Floats, variance: Floats) -> Grouped:
    count = np.bincount(run, minlength=runs).astype(np.intp)
    return Grouped(np.cumsum(count) - count, count, paid_m, off_m, variance)


def _among(some: Whole, of: int) -> Flags:
    among = np.zeros(of, bool)
    among[some] = True
    return among


def _rising(run: Whole, *columns: Floats) -> bool:
    """Whether rows are already sorted by run, then by the columns, the first weighing most."""
    rising = np.ones(max(0, len(run) - 1), bool)
    for column in reversed(columns):
        rising &= column[1:] == column[:-1]
        rising |= column[1:] > column[:-1]
    rising &= run[1:] == run[:-1]
    rising |= run[1:] > run[:-1]
    return bool(rising.all())
