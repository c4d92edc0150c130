"""The counter's posterior beside a reference library: scikit-learn's GaussianProcessRegressor (Rasmussen & Williams 2006)."""

import numpy as np
import pytest
from sklearn.gaussian_process import GaussianProcessRegressor
from sklearn.gaussian_process.kernels import Kernel

from sewermap.line.counter import CounterModel, Fixes, Readings, Runs, calibrate, model_from_toml


class CounterKernel(Kernel):
    """The prior covariance of two readings, as the design writes it."""

    def __init__(self, launch_2: float = 0.1, scale_2: float = 0.1, slip_m: float = 0.1) -> None:
        self.launch_2, self.scale_2, self.slip_m = launch_2, scale_2, slip_m

    def __call__(self, one: np.ndarray, other: np.ndarray | None = None, *, eval_gradient: bool = False) -> np.ndarray:
        """The covariances between all of the one and all of the other."""
        assert not eval_gradient
        other = one if other is None else other
        walked = np.minimum(np.maximum(one, 0.0), np.maximum(other, 0.0).T)
        return self.launch_2 + self.scale_2 * one @ other.T + self.slip_m * walked

    def diag(self, one: np.ndarray) -> np.ndarray:
        """The variances alone."""
        return self.launch_2 + self.scale_2 * one[:, 0] ** 2 + self.slip_m * np.maximum(one[:, 0], 0.0)

    def is_stationary(self) -> bool:
        """It depends on where the launch is."""
        return False


def by_sklearn(model: CounterModel, runs: Runs, run: int, fixes: Fixes, paid_m: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Posterior mean and deviation of one run."""
    launch_2 = model.launch_m**2 + runs.launch_map_sigma_m[run] ** 2
    own = fixes.run == run
    prior = runs.launch_measure_m[run] + runs.direction[run] * np.concatenate([fixes.paid_m[own], paid_m])
    process = GaussianProcessRegressor(
        CounterKernel(launch_2, model.scale**2, model.slip_m), alpha=fixes.sigma_m[own] ** 2, optimizer=None
    )
    process.fit(fixes.paid_m[own][:, None], fixes.measure_m[own] - prior[: own.sum()])
    mean, deviation = process.predict(paid_m[:, None], return_std=True)
    return prior[own.sum() :] + mean, deviation


@pytest.mark.parametrize("seed", range(6))
def test_posterior_equals_scikit_learn(seed: int) -> None:
    """Mean and sigma of every reading agree to 1e-9, whatever the fixes: tied, before the launch, many, out of order."""
    random = np.random.default_rng(seed)
    model = model_from_toml(f"""[counter]
        launch_m = {random.uniform(0.05, 1.0)}
        scale = {random.uniform(0.001, 0.05)}
        slip_m = {10.0 ** random.uniform(-5, -1)}
        [judging]
        widest_residual = 1e9  # all are believed""")
    n = 12
    count = np.concatenate([[1, 2, 3, 9, 14], random.integers(1, 6, n - 5)])
    runs = Runs(random.uniform(0, 60, n), random.uniform(0.01, 1.0, n), random.choice([-1.0, 1.0], n), random.uniform(20, 80, n))
    run = random.permutation(np.repeat(np.arange(n), count))
    paid_m = np.round(random.uniform(-3, 80, len(run)))
    fixes = Fixes(run, paid_m, random.uniform(0, 80, len(run)), random.uniform(0.05, 2.0, len(run)))
    asked = np.concatenate([random.uniform(-5, 100, 25), paid_m[:10], [0.0]])
    curves = calibrate(runs, fixes, model).curves
    for each in range(n):
        measure_m, sigma_m = np.empty(len(asked)), np.empty(len(asked))
        curves.at(np.full(len(asked), each), asked, measure_m, sigma_m)
        mean, deviation = by_sklearn(model, runs, each, fixes, asked)
        np.testing.assert_allclose(measure_m, mean, rtol=0, atol=1e-9)
        np.testing.assert_allclose(sigma_m, deviation, rtol=0, atol=1e-9)


def test_residuals_are_those_of_fitting_without_the_fix() -> None:
    """A residual equals the fix less what scikit-learn, fitted without it, predicts there, in deviations of that difference."""
    model = model_from_toml("[judging]\nwidest_residual = 1e9")
    runs = Runs(np.array([4.0]), np.array([0.3]), np.array([1.0]), np.array([90.0]))
    fixes = Fixes(
        np.zeros(4, int), np.array([30.0, 5.0, 12.0, 50.0]), np.array([34.8, 9.1, 15.0, 54.0]), np.array([0.3, 0.1, 0.2, 0.5])
    )
    verdict = calibrate(runs, fixes, model).verdict
    for left_out in range(4):
        rest = np.arange(4) != left_out
        others = Fixes(fixes.run[rest], fixes.paid_m[rest], fixes.measure_m[rest], fixes.sigma_m[rest])
        mean, deviation = by_sklearn(model, runs, 0, others, fixes.paid_m[[left_out]])
        off_m = fixes.measure_m[left_out] - mean[0]
        assert verdict.residual_m[left_out] == pytest.approx(off_m, abs=1e-9)
        assert verdict.residual[left_out] == pytest.approx(off_m / np.hypot(deviation[0], fixes.sigma_m[left_out]), abs=1e-9)


def test_a_batch_gives_what_scikit_learn_gives_after_one_fix_is_set_aside() -> None:
    """A run whose wrong fix was set aside has the posterior of the others, as scikit-learn computes it from these alone."""
    model = model_from_toml()
    runs = Runs(np.array([0.0, 0.0]), np.array([0.3, 0.3]), np.array([1.0, 1.0]), np.array([90.0, 90.0]))
    run = np.array([0, 0, 0, 0, 1, 1])
    paid_m = np.array([10.0, 20.0, 30.0, 40.0, 10.0, 20.0])
    off_m = np.array([0.1, 6.0, 0.3, 0.2, 0.1, 0.2])
    fixes = Fixes(run, paid_m, paid_m + off_m, np.full(6, 0.3))
    calibration = calibrate(runs, fixes, model)
    assert calibration.verdict.set_aside.tolist() == [False, True, False, False, False, False]
    kept = Fixes(run[[0, 2, 3]], paid_m[[0, 2, 3]], fixes.measure_m[[0, 2, 3]], fixes.sigma_m[[0, 2, 3]])
    asked = Readings(np.zeros(40, int), np.linspace(-1, 60, 40))
    measure_m, sigma_m = np.empty(40), np.empty(40)
    calibration.curves.at(asked.run, asked.paid_m, measure_m, sigma_m)
    mean, deviation = by_sklearn(model, runs, 0, kept, asked.paid_m)
    np.testing.assert_allclose(measure_m, mean, rtol=0, atol=1e-9)
    np.testing.assert_allclose(sigma_m, deviation, rtol=0, atol=1e-9)
