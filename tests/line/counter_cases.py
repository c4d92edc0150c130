"""Runs, readings and fixes for tests of the counter, written short."""

from collections.abc import Sequence

import numpy as np

from sewermap.line.counter import Fixes, Readings, Runs


def runs(launch_m: Sequence[float], direction: Sequence[float], length_m: Sequence[float], map_sigma_m: float = 0.3) -> Runs:
    """Runs on laterals drawn as well as each other."""
    return Runs(
        np.array(launch_m, float), np.full(len(launch_m), map_sigma_m), np.array(direction, float), np.array(length_m, float)
    )


def one_run(launch_m: float = 0.0, direction: float = 1.0, length_m: float = 1000.0) -> Runs:
    """A run from the tie-in along a line that is never too short."""
    return runs([launch_m], [direction], [length_m])


def readings(*paid_m: float, run: int = 0) -> Readings:
    """Readings of one run."""
    return Readings(np.full(len(paid_m), run), np.array(paid_m, float))


def fixes(*rows: tuple[float, float], sigma_m: float = 0.32, run: int = 0) -> Fixes:
    """Fixes of one run, each (paid, measure)."""
    paid_m, measure_m = np.array(rows, float).reshape(-1, 2).T
    return Fixes(np.full(len(rows), run), paid_m, measure_m, np.full(len(rows), sigma_m))


def joined(*each: Fixes) -> Fixes:
    """Fixes of several runs as one set of columns."""
    return Fixes(
        np.concatenate([one.run for one in each]),
        np.concatenate([one.paid_m for one in each]),
        np.concatenate([one.measure_m for one in each]),
        np.concatenate([one.sigma_m for one in each]),
    )


def reordered(some: Fixes, order: np.ndarray) -> Fixes:
    """The same fixes in another order of rows."""
    return Fixes(some.run[order], some.paid_m[order], some.measure_m[order], some.sigma_m[order])


def drawn(seed: int, n: int, most_fixes: int, model: object, *, slip_m: float | None = None) -> tuple[Runs, Fixes]:
    """Runs and fixes drawn from the model itself, so that what the model says of them is true.

    The slip is drawn as a random walk from the launch through the fixes in their order.
    """
    random = np.random.default_rng(seed)
    count = random.integers(1, most_fixes + 1, n)
    run = np.repeat(np.arange(n), count)
    paid_m = random.uniform(1.0, 90.0, len(run))
    paid_m = paid_m[np.lexsort((paid_m, run))]
    before = np.concatenate([[0.0], paid_m[:-1]])
    first = np.concatenate([[True], run[1:] != run[:-1]]) if len(run) else np.zeros(0, bool)
    before[first] = 0.0
    slip = model.slip_m if slip_m is None else slip_m
    steps = random.normal(0.0, 1.0, len(run)) * np.sqrt(slip * (paid_m - before))
    walk = np.cumsum(steps)
    walk -= np.repeat((walk - steps)[first], count)
    direction = random.choice([-1.0, 1.0], n)
    some = Runs(random.uniform(0.0, 90.0, n), np.full(n, 0.05), direction, np.full(n, 300.0))
    launch = random.normal(0.0, np.hypot(model.launch_m, 0.05), n)
    scale = random.normal(0.0, model.scale, n)
    sigma_m = np.full(len(run), 0.05)
    off_m = launch[run] + scale[run] * paid_m + walk + random.normal(0.0, sigma_m)
    return some, Fixes(run, paid_m, some.launch_measure_m[run] + direction[run] * paid_m + off_m, sigma_m)
