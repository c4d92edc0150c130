"""The counter's figures from a town's own runs: marginal likelihood, what it needs, and what it leaves alone."""

import dataclasses
import time
from collections.abc import Iterator

import numpy as np
import pytest
from scipy.optimize import approx_fprime, minimize
from scipy.stats import multivariate_normal

from sewermap.line.counter import CounterModel, Fixes, Runs, fit_model, model_from_toml, no_fixes
from sewermap.line.counter_fit import FLOORS, fix_sets, likelihood, most_likely
from tests.line.counter_cases import drawn, fixes, joined, reordered, runs

MODEL = model_from_toml()
TRUTH = dataclasses.replace(MODEL, launch_m=0.6, scale=0.02, slip_m=0.004)
ALL_BELIEVED = dataclasses.replace(MODEL, widest_residual=1e9)


def covariances(variances: np.ndarray, some: Runs, marks: Fixes) -> Iterator[tuple[np.ndarray, np.ndarray]]:
    """Run by run: how far its fixes are off the prior mean, and their covariance."""
    for run in range(len(some)):
        own = np.flatnonzero(marks.run == run)
        paid_m = marks.paid_m[own]
        covariance = variances[0] + some.launch_map_sigma_m[run] ** 2 + variances[1] * np.outer(paid_m, paid_m)
        covariance = covariance + variances[2] * np.minimum.outer(paid_m, paid_m) + np.diag(marks.sigma_m[own] ** 2)
        yield marks.measure_m[own] - some.launch_measure_m[run] - some.direction[run] * paid_m, covariance


def written_out(variances: np.ndarray, some: Runs, marks: Fixes) -> float:
    """The marginal likelihood run by run, without its constant."""
    total = 0.0
    for off_m, covariance in covariances(variances, some, marks):
        total -= (np.linalg.slogdet(covariance)[1] + off_m @ np.linalg.solve(covariance, off_m)) / 2
    return total


def given(model: CounterModel) -> np.ndarray:
    """The model's variances."""
    return np.array([model.launch_m**2, model.scale**2, model.slip_m])


def test_likelihood_equals_scipy() -> None:
    """The value agrees with scipy.stats.multivariate_normal, and the score is its derivative."""
    some, marks = drawn(1, 20, 4, TRUTH)
    sets = fix_sets(some, marks, ALL_BELIEVED)
    at = np.array([0.2, 0.0003, 0.003])
    by_scipy = sum(multivariate_normal(cov=covariance).logpdf(off_m) for off_m, covariance in covariances(at, some, marks))
    assert likelihood(sets, at).value - len(marks) * np.log(2 * np.pi) / 2 == pytest.approx(by_scipy, abs=1e-9)
    slope = approx_fprime(np.zeros(3), lambda step: written_out(at * np.exp(step), some, marks), 1e-6)
    np.testing.assert_allclose(likelihood(sets, at).score * at, slope, rtol=1e-4, atol=1e-4)


def test_information_is_the_spread_of_the_score() -> None:
    """At the truth the score's covariance over many towns equals the expected information (Fisher's identity)."""
    some, marks = drawn(2, 40, 3, TRUTH)
    at = given(TRUTH)
    sets = fix_sets(some, marks, ALL_BELIEVED)
    information = likelihood(sets, at).information * np.outer(at, at)
    random = np.random.default_rng(9)
    scores = []
    for _ in range(1500):
        fresh = []
        for one in sets:
            covariance = at[0] + one.map_variance + at[1] * one.paid_m[:, None] * one.paid_m
            covariance = covariance + at[2] * np.minimum(one.paid_m[:, None], one.paid_m)
            covariance = covariance.transpose(2, 0, 1) + np.einsum("ir,ij->rij", one.variance, np.eye(len(one.paid_m)))
            noise = random.normal(size=(one.paid_m.shape[1], one.paid_m.shape[0], 1))
            fresh.append(dataclasses.replace(one, off_m=(np.linalg.cholesky(covariance) @ noise)[:, :, 0].T))
        scores.append(likelihood(fresh, at).score * at)
    np.testing.assert_allclose(np.cov(np.transpose(scores)), information, atol=0.08 * information.max())


@pytest.mark.parametrize(("seed", "truth"), [(1, TRUTH), (2, TRUTH), (3, MODEL), (4, dataclasses.replace(TRUTH, slip_m=1e-9))])
def test_the_maximum_is_that_of_a_brute_force_search(seed: int, truth: CounterModel) -> None:
    """scipy.optimize on the likelihood written out (in logarithms, above the floors) finds the same variances."""
    some, marks = drawn(seed, 40, 3, truth)
    told, best = most_likely(fix_sets(some, marks, ALL_BELIEVED), given(MODEL))
    assert told.all()
    found = minimize(
        lambda logs: -written_out(np.exp(logs), some, marks),
        np.log(given(MODEL)),
        method="L-BFGS-B",
        bounds=[(np.log(floor), 5.0) for floor in FLOORS],
        options={"ftol": 1e-15, "gtol": 1e-7},
    )
    assert written_out(best, some, marks) >= -found.fun - 1e-7
    np.testing.assert_allclose(np.log(best), found.x, atol=2e-3)


def test_known_figures_are_recovered() -> None:
    """From 2500 runs drawn with figures much wider than the given ones, these are found within a tenth (slip: a fifth)."""
    some, marks = drawn(6, 2500, 5, TRUTH)
    fitted = fit_model(some, marks, MODEL)
    assert fitted.launch_m == pytest.approx(0.6, rel=0.1)
    assert fitted.scale == pytest.approx(0.02, rel=0.1)
    assert fitted.slip_m == pytest.approx(0.004, rel=0.2)
    assert dataclasses.replace(fitted, launch_m=0.3, scale=0.015, slip_m=0.0004) == MODEL


def test_wrong_fixes_and_shifted_launches_hardly_move_the_figures() -> None:
    """With a tenth of the launches and a tenth of the fixes metres off, the figures stay within a fifth of the truth."""
    some, marks = drawn(17, 3000, 3, MODEL)
    random = np.random.default_rng(0)
    launch_m = random.normal(0.0, 5.0, len(some)) * (random.uniform(size=len(some)) < 0.1)
    fix_m = random.normal(0.0, 5.0, len(marks)) * (random.uniform(size=len(marks)) < 0.1)
    fitted = fit_model(some, dataclasses.replace(marks, measure_m=marks.measure_m + launch_m[marks.run] + fix_m), MODEL)
    assert fitted.launch_m == pytest.approx(MODEL.launch_m, rel=0.2)
    assert fitted.scale == pytest.approx(MODEL.scale, rel=0.2)


def test_figures_have_two_significant_digits() -> None:
    """So that a database does not move with every fix that is added."""
    some, marks = drawn(7, 100, 3, TRUTH)
    fitted = fit_model(some, marks, MODEL)
    for figure in (fitted.launch_m, fitted.scale, fitted.slip_m):
        assert figure == float(f"{figure:.1e}")


def test_row_order_means_nothing() -> None:
    """Rows of runs and fixes in another order give the same variances, to the last bit."""
    some, marks = drawn(8, 120, 4, TRUTH)
    random = np.random.default_rng(1)
    new_row = random.permutation(len(some))
    old_row = np.argsort(new_row)
    others = Runs(*(getattr(some, field.name)[old_row] for field in dataclasses.fields(some)))
    moved = reordered(dataclasses.replace(marks, run=new_row[marks.run]), random.permutation(len(marks)))
    one = most_likely(fix_sets(some, marks, MODEL), given(MODEL))
    other = most_likely(fix_sets(others, moved, MODEL), given(MODEL))
    assert one[1].tolist() == other[1].tolist()


def test_fewer_than_thirty_runs_with_fixes_estimate_nothing() -> None:
    """29 runs with fixes, beside any number without, give the model back; 30 do not."""
    some, marks = drawn(9, 30, 2, TRUTH)
    more = runs([0.0] * 50, [1.0] * 50, [90.0] * 50)
    many = Runs(*(np.concatenate([getattr(some, name), getattr(more, name)]) for name in some.__dataclass_fields__))
    few = reordered(marks, np.flatnonzero(marks.run < 29))
    quiet = dataclasses.replace(MODEL, widest_residual=1e9)
    assert fit_model(many, few, quiet) is quiet
    assert fit_model(many, marks, quiet) != quiet
    assert fit_model(many, no_fixes(), quiet) is quiet
    assert fit_model(runs([], [], []), no_fixes(), quiet) is quiet


def test_what_is_not_believed_is_left_out() -> None:
    """Wrong fixes, shifted launches and conflicts leave the figures as they would be without these rows and runs."""
    some, marks = drawn(10, 60, 2, MODEL)
    wild = runs([0.0] * 3, [1.0] * 3, [300.0] * 3)
    whole = Runs(*(np.concatenate([getattr(some, name), getattr(wild, name)]) for name in some.__dataclass_fields__))
    shifted = fixes((10.0, 18.0), (20.0, 28.1), (30.0, 38.0), run=60)
    conflict = fixes((10.0, 19.0), run=61)
    good, wrong = fixes((10.0, 10.1), (30.0, 30.2), run=62), fixes((20.0, 44.0), run=62)
    without = fit_model(whole, joined(marks, good), MODEL)
    assert fit_model(whole, joined(marks, good, shifted, conflict, wrong), MODEL) == without


def test_figures_that_the_runs_cannot_tell_apart_keep_their_value() -> None:
    """Where every fix lies at one reading, launch, scale and slip look alike: one is estimated, the others stay."""
    some, _ = drawn(11, 60, 1, TRUTH)
    off_m = np.random.default_rng(3).normal(0.0, 1.0, 60)
    paid_m = np.full(60, 20.0)
    marks = Fixes(np.arange(60), paid_m, some.launch_measure_m + some.direction * paid_m + off_m, np.full(60, 0.1))
    told, best = most_likely(fix_sets(some, marks, ALL_BELIEVED), given(MODEL))
    assert told.tolist() == [True, False, False]
    assert best[1:].tolist() == given(MODEL)[1:].tolist()
    whole_2 = best[0] + 0.05**2 + best[1] * 400 + best[2] * 20 + 0.1**2
    assert whole_2 == pytest.approx((off_m**2).mean(), rel=1e-6)
    fitted = fit_model(some, marks, ALL_BELIEVED)
    assert (fitted.scale, fitted.slip_m) == (MODEL.scale, MODEL.slip_m)


def test_fixes_at_the_launch_tell_only_the_launch() -> None:
    """Nothing is learnt of scale and slip where no cable was paid out."""
    some, _ = drawn(12, 50, 1, TRUTH)
    marks = Fixes(
        np.arange(50), np.zeros(50), some.launch_measure_m + np.random.default_rng(4).normal(0, 0.5, 50), np.full(50, 0.1)
    )
    fitted = fit_model(some, marks, ALL_BELIEVED)
    assert fitted.launch_m == pytest.approx(0.5, rel=0.3)
    assert (fitted.scale, fitted.slip_m) == (MODEL.scale, MODEL.slip_m)


def test_no_figure_falls_under_its_floor() -> None:
    """Fixes that all lie exactly where the counter says do not make a perfect counter."""
    some, marks = drawn(13, 60, 3, TRUTH)
    exact = dataclasses.replace(marks, measure_m=some.launch_measure_m[marks.run] + some.direction[marks.run] * marks.paid_m)
    fitted = fit_model(some, exact, MODEL)
    assert (fitted.launch_m, fitted.scale, fitted.slip_m) == (0.01, 0.0005, 0.00001)


def test_a_city_is_estimated_within_seconds() -> None:
    """44,000 runs with two or three fixes: about half a second where it was measured; ten are allowed here."""
    some, marks = drawn(14, 44_000, 3, TRUTH)
    begin = time.perf_counter()
    fitted = fit_model(some, marks, MODEL)
    assert time.perf_counter() - begin < 10
    assert fitted != MODEL
