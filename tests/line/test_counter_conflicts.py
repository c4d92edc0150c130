"""Fixes and launches that contradict each other: who is believed, and what is reported."""

import dataclasses

import numpy as np
import pytest

from sewermap.line.counter import calibrate, model_from_toml, no_fixes, place
from tests.line.counter_cases import drawn, fixes, joined, one_run, readings, reordered, runs

MODEL = model_from_toml()


def test_fixes_that_agree_are_all_used() -> None:
    """Nothing is set aside, nothing reported."""
    verdict = calibrate(one_run(), fixes((10.0, 10.3), (20.0, 20.1), (30.0, 30.4)), MODEL).verdict
    assert not verdict.set_aside.any()
    assert verdict.notes.tolist() == [""]
    assert verdict.used.tolist() == [3]


def test_a_fix_that_launch_and_others_contradict_is_set_aside() -> None:
    """One wrong fix of three: the run is placed as if it had the other two, and the report says how far off it is."""
    wrong = fixes((10.0, 10.1), (20.0, 24.2), (30.0, 30.1))
    placed = place(one_run(), readings(5.0, 25.0), wrong, MODEL)
    without = place(one_run(), readings(5.0, 25.0), fixes((10.0, 10.1), (30.0, 30.1)), MODEL)
    assert placed.verdict.set_aside.tolist() == [False, True, False]
    assert placed.measure_m.tolist() == without.measure_m.tolist()
    assert placed.sigma_m.tolist() == without.sigma_m.tolist()
    assert placed.verdict.residual_m[1] == pytest.approx(4.1, abs=0.1)
    assert placed.verdict.residual[1] > 3
    assert placed.verdict.notes[0].startswith("the fix at 20.0 m of cable was set aside: it is 4.1 m (")


def test_two_wrong_fixes_are_set_aside_one_after_the_other() -> None:
    """The worst goes first, and the rest is looked at again: right fixes that only the wrong ones contradicted stay."""
    rows = [(5.0, 5.0), (10.0, 14.0), (15.0, 15.1), (20.0, 20.0), (25.0, 40.0), (30.0, 30.2), (35.0, 35.1)]
    verdict = calibrate(one_run(), fixes(*rows), MODEL).verdict
    assert np.flatnonzero(verdict.set_aside).tolist() == [1, 4]
    assert not verdict.launch_shifted.any()


def test_a_shifted_launch_is_tried_before_any_fix_is_set_aside() -> None:
    """Fixes that agree among themselves but not with the launch are all kept; the launch is found where they put it."""
    placed = place(one_run(), readings(0.0, 15.0), fixes((10.0, 13.0), (20.0, 23.1), (30.0, 33.0)), MODEL)
    assert placed.verdict.launch_shifted.tolist() == [True]
    assert not placed.verdict.set_aside.any()
    np.testing.assert_allclose(placed.measure_m, [3.0, 18.0], atol=0.15)
    assert placed.verdict.notes.tolist() == ["launch shifted by 3.0 m, its measure was not used"]
    assert (np.abs(placed.verdict.residual) <= 3).all()


def test_two_fixes_against_the_launch_outvote_it() -> None:
    """Two are enough to say that the launch is shifted."""
    verdict = calibrate(one_run(), fixes((10.0, 15.0), (20.0, 25.0)), MODEL).verdict
    assert verdict.launch_shifted.tolist() == [True]


def test_a_shifted_launch_and_a_wrong_fix_are_told_apart() -> None:
    """Four fixes 5 m on and one elsewhere: the one is set aside, then the launch is seen to be shifted."""
    rows = [(10.0, 15.0), (20.0, 25.1), (30.0, 22.0), (40.0, 45.0), (50.0, 55.1)]
    verdict = calibrate(one_run(), fixes(*rows), MODEL).verdict
    assert np.flatnonzero(verdict.set_aside).tolist() == [2]
    assert verdict.launch_shifted.tolist() == [True]
    assert verdict.notes[0].count(";") == 2  # launch, fix, order


def test_one_fix_against_the_launch_is_a_conflict_and_widens_sigma() -> None:
    """Nobody can say which is wrong: the mean stays, sigma grows by the residual's sigmas (Birge ratio)."""
    lone = fixes((10.0, 14.0), sigma_m=0.3)
    calm = place(one_run(), readings(0.0, 5.0, 20.0), lone, dataclasses.replace(MODEL, widest_residual=1e9))
    placed = place(one_run(), readings(0.0, 5.0, 20.0), lone, MODEL)
    sigmas = 4.0 / np.sqrt(0.18 + 0.15**2 + 0.004 + 0.09)
    assert placed.verdict.conflict.tolist() == [True]
    assert not placed.verdict.set_aside.any()
    assert placed.verdict.residual[0] == pytest.approx(sigmas)
    assert placed.verdict.widening.tolist() == pytest.approx([sigmas])
    assert placed.measure_m.tolist() == calm.measure_m.tolist()
    np.testing.assert_allclose(placed.sigma_m, sigmas * calm.sigma_m, rtol=1e-12)
    assert placed.verdict.notes[0].startswith("its one fix is 4.0 m (")


def test_just_under_three_sigma_is_no_conflict() -> None:
    """The limit is 3: a fix 2.99 sigma off is believed, one 3.01 off is not."""
    one_sigma_m = np.sqrt(0.18 + 0.15**2 + 0.004 + 0.09)
    for sigmas, wanted in ((2.99, False), (3.01, True)):
        lone = fixes((10.0, 10.0 + sigmas * one_sigma_m), sigma_m=0.3)
        assert calibrate(one_run(), lone, MODEL).verdict.conflict.tolist() == [wanted]


def test_three_witnesses_that_all_disagree_leave_a_conflict() -> None:
    """Two fixes and the launch, each metres from the others: one fix is set aside, the last is in conflict."""
    verdict = calibrate(one_run(), fixes((10.0, 18.0), (20.0, 60.0)), MODEL).verdict
    assert verdict.set_aside.tolist() == [False, True]
    assert verdict.conflict.tolist() == [True]
    assert verdict.widening[0] > 3


def test_runs_do_not_disturb_each_other() -> None:
    """Each run of a batch is settled and placed as if it stood alone, to the last bit."""
    cases = [
        fixes((10.0, 10.1), (20.0, 24.2), (30.0, 30.1)),
        no_fixes(),
        fixes((10.0, 13.0), (20.0, 23.1), (30.0, 33.0)),
        fixes((10.0, 14.0)),
        fixes((10.0, 10.3), (20.0, 20.1), (30.0, 30.4)),
        fixes(*[(float(d), d + 0.1) for d in range(1, 12)], (12.0, 19.0)),
    ]
    together = joined(*(dataclasses.replace(case, run=case.run + i) for i, case in enumerate(cases)))
    n = len(cases)
    many = runs([0.0] * n, [1.0] * n, [1000.0] * n)
    whole = calibrate(many, together, MODEL)
    asked = np.linspace(-1.0, 50.0, 30)
    for i, case in enumerate(cases):
        alone = calibrate(one_run(), case, MODEL)
        results = np.empty((4, 30))
        whole.curves.at(np.full(30, i), asked, results[0], results[1])
        alone.curves.at(np.zeros(30, int), asked, results[2], results[3])
        assert results[:2].tolist() == results[2:].tolist()
        assert whole.verdict.set_aside[together.run == i].tolist() == alone.verdict.set_aside.tolist()
        assert whole.verdict.notes[i] == alone.verdict.notes[0]


def test_fixes_against_the_order_of_the_line_are_reported_and_still_used() -> None:
    """Two fixes swapped by little: both are named, both used, everything placed; equal readings have no order."""
    placed = place(one_run(), readings(15.0), fixes((10.0, 10.4), (10.2, 10.1), (30.0, 30.0)), MODEL)
    assert placed.verdict.out_of_order.tolist() == [True, True, False]
    assert placed.verdict.notes.tolist() == ["fixes contradict the order of the line"]
    assert placed.verdict.used.tolist() == [3]
    assert not np.isnan(placed.measure_m).any()
    tied = calibrate(one_run(), fixes((10.0, 10.4), (10.0, 10.1), (30.0, 30.0)), MODEL).verdict
    assert not tied.out_of_order.any()


def test_order_is_judged_along_the_direction_of_the_run() -> None:
    """Towards the main measures fall as the cable goes on, and that is in order; also where readings tie."""
    some = one_run(launch_m=50.0, direction=-1.0)
    assert not calibrate(some, fixes((10.0, 40.0), (20.0, 30.1), (20.0, 29.9), (30.0, 20.0)), MODEL).verdict.out_of_order.any()
    assert calibrate(some, fixes((10.0, 40.0), (10.3, 40.2)), MODEL).verdict.out_of_order.all()


def test_few_good_fixes_are_set_aside() -> None:
    """Of fixes drawn from the model itself, less than one in a hundred is doubted; of launches too."""
    some, marks = drawn(3, 3000, 4, MODEL)
    verdict = calibrate(some, marks, MODEL).verdict
    assert verdict.set_aside.mean() < 0.01
    assert verdict.launch_shifted.mean() + verdict.conflict.mean() < 0.01
    standard = verdict.residual[~np.isnan(verdict.residual)]
    assert standard.std() == pytest.approx(1.0, abs=0.03)


def test_most_wrong_fixes_are_found() -> None:
    """Where each run has 5 fixes and one is 6 m off, that one and nearly no other is set aside."""
    some, marks = drawn(4, 600, 5, MODEL)
    count = np.bincount(marks.run, minlength=len(some))
    wrong = np.flatnonzero((marks.run[1:] != marks.run[:-1]) & (count[marks.run[1:]] >= 4)) + 1  # the first fix of a run
    off = marks.measure_m.copy()
    off[wrong] += 6.0
    verdict = calibrate(some, dataclasses.replace(marks, measure_m=off), MODEL).verdict
    assert verdict.set_aside[wrong].mean() > 0.97
    assert np.delete(verdict.set_aside, wrong).mean() < 0.02


def test_row_order_means_nothing_where_fixes_are_set_aside() -> None:
    """Fixes in any order give the same verdict and the same curves, to the last bit."""
    some, marks = drawn(5, 200, 6, MODEL)
    random = np.random.default_rng(0)
    shaken = dataclasses.replace(marks, measure_m=marks.measure_m + random.choice([0.0, 5.0], len(marks), p=[0.8, 0.2]))
    order = random.permutation(len(marks))
    one, other = calibrate(some, shaken, MODEL), calibrate(some, reordered(shaken, order), MODEL)
    assert one.verdict.set_aside.any()
    assert one.verdict.launch_shifted.any()
    assert one.verdict.conflict.any()
    assert one.curves.figures.tobytes() == other.curves.figures.tobytes()
    assert one.verdict.set_aside[order].tolist() == other.verdict.set_aside.tolist()
    assert one.verdict.residual[order].tolist() == other.verdict.residual.tolist()
    assert one.verdict.notes.tolist() == other.verdict.notes.tolist()
