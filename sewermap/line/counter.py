"""Readings of a camera's counter to measures along the lateral, each with its sigma.

A reading says how much cable was paid out since the launch. Where the launch really was, the counter's scale and the slip
of its wheel are uncertain; fixes (points passed whose measure is known) tell more of each. The posterior of a Gaussian
process puts this together: see ``counter_curves`` for the formulae, ``counter_conflicts`` for fixes that contradict each
other, ``counter_fit`` for the figures that a town's own runs support, and counter.toml for the ones assumed.
"""

from dataclasses import dataclass, replace

import numpy as np

from sewermap.line.counter_conflicts import Witnesses, examine, priors_of, solve_kept, witnesses_of
from sewermap.line.counter_curves import Curves
from sewermap.line.counter_fit import fit_model
from sewermap.line.counter_model import (
    CounterModel,
    Fixes,
    Flags,
    Floats,
    Readings,
    Runs,
    Texts,
    Verdict,
    Whole,
    model_from_toml,
    no_fixes,
)
from sewermap.line.counter_notes import notes_of, out_of_order

__all__ = [
    "Calibration",
    "CounterModel",
    "Coverage",
    "Fixes",
    "Placement",
    "Readings",
    "Runs",
    "Verdict",
    "calibrate",
    "coverage",
    "fit_model",
    "judge_ends",
    "judged_at_ends",
    "model_from_toml",
    "no_fixes",
    "place",
]

_AT_ONCE = 32_768
_TOUCHING_M = 1e-9
"""Rounding of floating-point numbers: this near an end is not past it."""
_SHORT_M = 0.05
"""Less would read 0.0 m with one decimal."""


@dataclass(frozen=True)
class Calibration:
    """Each run's counter as its fixes have it, and what was thought of the fixes."""

    curves: Curves
    verdict: Verdict


@dataclass(frozen=True)
class Placement:
    """Readings placed: ``measure_m`` (NaN where unplaced), ``sigma_m``, ``reason`` ("" where nothing is to be said).

    ``measure_m`` lies within the line. ``sigma_m`` holds the map's accuracy along the line; it is NaN where unplaced.
    """

    measure_m: Floats
    sigma_m: Floats
    reason: Texts
    calibration: Calibration

    @property
    def verdict(self) -> Verdict:
        """What was thought of fixes and launches."""
        return self.calibration.verdict


@dataclass(frozen=True)
class Coverage:
    """The stretch that each run passed, in the order of measures: from_measure_m ≤ to_measure_m, NaN where not known."""

    from_measure_m: Floats
    to_measure_m: Floats


def calibrate(runs: Runs, fixes: Fixes, model: CounterModel) -> Calibration:
    """The posterior of each run given its fixes, without those that the others contradict.

    The order of fixes means nothing. Raises ValueError for a fix of a run that is not there.
    """
    _check_runs(fixes.run, runs)
    priors = priors_of(runs, model)
    witnesses = witnesses_of(fixes, priors)
    counts = witnesses.fixes.count
    curves = Curves(counts, priors)
    curves.set_prior(np.flatnonzero(counts == 0))
    doubts, believed, changed = examine(witnesses, priors, model, curves.set_posterior)
    curves.believe(believed)
    solve_kept(changed, witnesses, believed, curves.set_posterior)
    in_conflict = np.flatnonzero(doubts.conflict)
    curves.widen(in_conflict, doubts.widening[in_conflict])
    aside = _residuals_of_the_rest(witnesses, curves, fixes)
    residual_m, residual = _as_given(witnesses, fixes)
    verdict = Verdict(
        set_aside=aside,
        out_of_order=out_of_order(witnesses, runs, fixes),
        residual_m=residual_m,
        residual=residual,
        launch_shifted=doubts.launch_shifted,
        conflict=doubts.conflict,
        widening=doubts.widening,
        used=np.bincount(witnesses.run[witnesses.kept], minlength=len(runs)),
        notes=np.full(len(runs), "", object),
    )
    return Calibration(curves, replace(verdict, notes=notes_of(verdict, runs, fixes, curves)))


def place(runs: Runs, readings: Readings, fixes: Fixes, model: CounterModel) -> Placement:
    """The measure and sigma of each reading.

    A reading whose measure lies past an end of its line by up to 3 of its sigmas is placed at that end, with the reason
    ``at end``; further past, it is unplaced, and the reason says by how much. Row order means nothing; sorted by run is
    fastest. Raises ValueError for a reading or fix of a run that is not there.

    >>> import numpy as np
    >>> run = Runs(np.array([20.0]), np.array([0.3]), np.array([-1.0]), np.array([20.0]))
    >>> readings = Readings(np.array([0, 0, 0]), np.array([5.0, 20.5, 26.0]))
    >>> placed = place(run, readings, no_fixes(), model_from_toml())
    >>> placed.measure_m.tolist(), placed.reason.tolist()
    ([15.0, 0.0, nan], ['', 'at end', 'past the tie-in by 6.0 m'])
    """
    _check_runs(readings.run, runs)
    calibration = calibrate(runs, fixes, model)
    n = len(readings)
    placement = Placement(np.empty(n), np.empty(n), np.full(n, "", object), calibration)
    last_m = np.where(np.isnan(runs.length_m), np.inf, runs.length_m)
    outside = [np.zeros(0, np.intp)]
    for begin in range(0, n, _AT_ONCE):
        part = slice(begin, begin + _AT_ONCE)
        measure_m, run = placement.measure_m[part], readings.run[part]
        calibration.curves.at(run, readings.paid_m[part], measure_m, placement.sigma_m[part])
        inside = measure_m >= 0.0
        inside &= measure_m <= last_m.take(run)
        if not inside.all():
            outside.append(np.flatnonzero(~inside) + begin)
    judge_ends(np.concatenate(outside), readings, runs, last_m, model, placement)
    return placement


def coverage(calibration: Calibration, runs: Runs, end_paid_m: Floats, model: CounterModel) -> Coverage:
    """The stretch of each run from its launch to where the push ended, by posterior means, clipped to the line.

    ``end_paid_m``: cable paid out at the end of each push (NaN: not known, and then nothing is). A reading up to
    ``covered_beyond_m`` past the end of the push is covered, so the stretch reaches that much further.
    """
    all_runs = np.arange(len(runs))
    ends = np.empty((2, len(runs)))
    sigma_m = np.empty(len(runs))
    calibration.curves.at(all_runs, np.zeros(len(runs)), ends[0], sigma_m)
    calibration.curves.at(all_runs, np.maximum(end_paid_m, 0.0) + model.covered_beyond_m, ends[1], sigma_m)
    last_m = np.where(np.isnan(runs.length_m), np.inf, runs.length_m)
    ends = np.clip(ends, 0.0, last_m)
    return Coverage(ends.min(axis=0), ends.max(axis=0))


def judged_at_ends(measure_m: Floats, sigma_m: Floats, last_m: Floats, model: CounterModel) -> tuple[Floats, Floats, Texts]:
    """Measures that may lie outside their line (0 to ``last_m``): inside as they are, near an end at that end, else NaN.

    Near means up to ``past_end_sigmas`` of its own sigma. Returns measures, sigmas and reasons ("" where all is well).
    """
    past_m = np.maximum(measure_m - last_m, -measure_m)
    near = past_m <= np.maximum(model.past_end_sigmas * sigma_m, _TOUCHING_M)
    reason = np.full(len(measure_m), "", object)
    reason[near & (past_m > _TOUCHING_M)] = "at end"
    far = ~near & np.isfinite(past_m)
    _name_distance(reason, far & (measure_m > last_m), "past the end of the line by", past_m)
    _name_distance(reason, far & (measure_m < 0.0), "past the tie-in by", past_m)
    reason[np.isnan(measure_m)] = "no reading"
    return np.where(near, np.clip(measure_m, 0.0, last_m), np.nan), np.where(near, sigma_m, np.nan), reason


def judge_ends(rows: Whole, readings: Readings, runs: Runs, last_m: Floats, model: CounterModel, placement: Placement) -> None:
    """Readings outside their line, or nowhere: to the end, or unplaced, with the reason."""
    run = readings.run[rows]
    measure_m, sigma_m, reason = judged_at_ends(placement.measure_m[rows], placement.sigma_m[rows], last_m[run], model)
    reason[np.isnan(runs.launch_measure_m[run])] = "the measure of the run's launch is not known"
    placement.measure_m[rows], placement.sigma_m[rows], placement.reason[rows] = measure_m, sigma_m, reason


def _name_distance(reason: Texts, which: Flags, words: str, past_m: Floats) -> None:
    past = past_m[which]
    metres = np.where(past < _SHORT_M, np.char.mod("%.3f", past), np.char.mod("%.1f", past))
    reason[which] = np.char.add(np.char.add(words + " ", metres), " m").astype(object)


def _residuals_of_the_rest(witnesses: Witnesses, curves: Curves, fixes: Fixes) -> Flags:
    """Residuals of fixes set aside, from the posterior of the kept ones; returns which they are, as given."""
    places = np.flatnonzero(~witnesses.kept)
    rows = witnesses.order[places]
    mean_m, sigma_m = np.empty(len(rows)), np.empty(len(rows))
    curves.at(fixes.run[rows], fixes.paid_m[rows], mean_m, sigma_m)
    witnesses.residual_m[places] = fixes.measure_m[rows] - mean_m
    witnesses.residual[places] = witnesses.residual_m[places] / np.hypot(sigma_m, fixes.sigma_m[rows])
    aside = np.zeros(len(fixes), bool)
    aside[rows] = True
    return aside


def _as_given(witnesses: Witnesses, fixes: Fixes) -> tuple[Floats, Floats]:
    """The residuals in the order of the fixes as given."""
    if len(witnesses.order) == len(fixes) and (witnesses.order[1:] > witnesses.order[:-1]).all():
        return witnesses.residual_m, witnesses.residual
    residuals = np.full((2, len(fixes)), np.nan)
    residuals[0, witnesses.order] = witnesses.residual_m
    residuals[1, witnesses.order] = witnesses.residual
    return residuals[0], residuals[1]


def _check_runs(run: Whole, runs: Runs) -> None:
    if len(run) and not 0 <= int(run.min()) <= int(run.max()) < len(runs):
        raise ValueError(f"a reading or fix names run {int(run.max())} (or one under 0) of {len(runs)} runs")
