"""All runs of a lateral solved together, against the same problem solved by dense algebra in another form."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sewermap.line import counter
from sewermap.line.register import Town, figures_of, relate, relation_of, solve

MODEL = counter.model_from_toml()
NOTING = 0.05
FIGURES = figures_of(MODEL, NOTING)


def town(seed: int, *, runs: int = 3, per_run: int = 5, extra: int = 0) -> Town:
    """One lateral of 30 m, two known points, runs both ways, some readings fixed; ``extra`` readings that take no part."""
    random = np.random.default_rng(seed)
    direction = random.choice([-1.0, 1.0], runs)
    run = np.repeat(np.arange(runs), per_run + extra)
    fix_point = np.where(random.random(len(run)) < 0.2, random.integers(0, 2, len(run)), -1)
    is_extra = np.tile(np.arange(per_run + extra) >= per_run, runs)
    return Town(
        run_first=np.array([0, runs]),
        reading_first=np.array([0, len(run)]),
        point_first=np.array([0, 2]),
        launch_m=np.where(direction > 0, 0.0, 30.0),
        direction=direction,
        launch_variance=random.uniform(0.01, 0.3, runs),
        launch_point=np.where(direction > 0, 0, random.choice([-1, 1], runs)),
        point_variance=np.array([0.03, 0.05]),
        run=run,
        paid_m=random.uniform(0.0, 30.0, len(run)),
        extra=is_extra,
        fix_point=np.where(is_extra, -1, fix_point),
        fix_m=np.where(fix_point == 1, 30.0, 0.0),
        fix_variance=np.full(len(run), 0.004),
    )


def dense(given_town: Town, thing: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """The same by information: the places of the things stand in the vector too, with no prior of their own."""
    run, paid = given_town.run, given_town.paid_m
    n, points, names = len(run), len(given_town.point_variance), np.unique(thing[thing >= 0])
    same = run[:, None] == run
    launched = given_town.launch_point[run]
    among = np.where(same, given_town.launch_variance[run] + FIGURES.scale_2 * np.outer(paid, paid), 0.0)
    among += np.where(same, FIGURES.slip_m * np.minimum.outer(paid, paid), 0.0)
    to_points = (launched[:, None] == np.arange(points)) * 1.0
    spread = np.diag(given_town.point_variance)
    prior = np.block([[among + to_points @ spread @ to_points.T, to_points @ spread], [spread @ to_points.T, spread]])
    size = n + points + len(names)
    information, pull = np.zeros((size, size)), np.zeros(size)
    information[: n + points, : n + points] = np.linalg.inv(prior + 1e-10 * np.eye(n + points))
    mean = np.concatenate([given_town.launch_m[run] + given_town.direction[run] * paid, np.zeros(points)])
    pull[: n + points] = information[: n + points, : n + points] @ mean
    for i in range(n):
        row = np.zeros(size)
        if given_town.fix_point[i] >= 0:
            row[i], row[n + given_town.fix_point[i]] = 1.0, -1.0
            information += np.outer(row, row) / given_town.fix_variance[i]
            pull += row * given_town.fix_m[i] / given_town.fix_variance[i]
        if thing[i] >= 0:
            row = np.zeros(size)
            row[i], row[n + points + np.flatnonzero(names == thing[i])[0]] = 1.0, -1.0
            information += np.outer(row, row) / FIGURES.noting
    covariance = np.linalg.inv(information)
    return (covariance @ pull)[:n], np.diag(covariance)[:n]


@given(st.integers(0, 2**32 - 1))
@settings(max_examples=25, deadline=None)
def test_equals_the_same_problem_in_another_form(seed) -> None:
    """Contrasts of sightings say what a flat prior over each thing's place says (numpy.linalg, information form)."""
    given_town = town(seed)
    thing = np.random.default_rng(seed).integers(-1, 4, len(given_town.run))
    solved = solve(given_town, np.array([0]), thing, FIGURES)
    mean, variance = dense(given_town, thing)
    np.testing.assert_allclose(solved.measure_m, mean, atol=1e-4)
    np.testing.assert_allclose(solved.variance, variance, rtol=1e-3, atol=1e-6)


def test_one_run_by_itself_is_placed_as_the_counter_model_does() -> None:
    """With nothing in common with others and no shared error of the map, register and counter are one model."""
    paid_m, fix_m = np.array([2.0, 9.0, 17.0, 25.0]), 13.2
    runs = counter.Runs(np.array([30.0]), np.array([0.0]), np.array([-1.0]), np.array([30.0]))
    fixes = counter.Fixes(np.array([0]), np.array([17.0]), np.array([fix_m]), np.array([0.2]))
    placed = counter.place(runs, counter.Readings(np.zeros(4, int), paid_m), fixes, MODEL)
    ends = np.array([0, 1])
    alone = Town(
        ends, np.array([0, 4]), ends, np.array([30.0]), np.array([-1.0]), np.array([MODEL.launch_m**2]), np.array([-1]),
        np.array([0.03]), np.zeros(4, int), paid_m, np.zeros(4, bool), np.array([-1, -1, 0, -1]), np.full(4, fix_m),
        np.full(4, 0.01),
    )  # fmt: skip
    solved = solve(alone, np.array([0]), np.full(4, -1), FIGURES)
    np.testing.assert_allclose(solved.measure_m, placed.measure_m, atol=1e-9)
    np.testing.assert_allclose(np.sqrt(solved.variance), placed.sigma_m, atol=1e-9)


def test_readings_that_take_no_part_change_nothing() -> None:
    """Asking where one more reading lies moves none of the others, and it gets a place and a variance."""
    few, more = town(5), town(5, extra=0)
    keep = np.arange(len(few.run))
    thing = np.tile([0, 1, 2, -1, -1], 3)
    asked = more._replace(
        reading_first=np.array([0, len(keep) + 1]),
        run=np.append(more.run, 1),
        paid_m=np.append(more.paid_m, 12.0),
        extra=np.append(more.extra, True),
        fix_point=np.append(more.fix_point, -1),
        fix_m=np.append(more.fix_m, 0.0),
        fix_variance=np.append(more.fix_variance, 1.0),
    )
    before, after = solve(few, np.array([0]), thing, FIGURES), solve(asked, np.array([0]), np.append(thing, -1), FIGURES)
    np.testing.assert_allclose(after.measure_m[keep], before.measure_m, atol=1e-12)
    assert np.isfinite(after.measure_m[-1])
    assert after.variance[-1] > 0.0


def test_what_runs_have_in_common_draws_a_displaced_run_to_the_others() -> None:
    """Three runs over the same four things, one of them zeroed 0.8 m off: its readings come nearer to the truth."""
    true_m = np.array([4.0, 9.0, 15.0, 22.0])
    off_m = np.array([0.05, -0.1, 0.8])
    run = np.repeat(np.arange(3), 4)
    rows = len(run)
    shifted = Town(
        np.array([0, 3]), np.array([0, rows]), np.array([0, 0]), np.full(3, 30.0), np.full(3, -1.0), np.full(3, 0.09),
        np.full(3, -1), np.zeros(0), run, np.tile(30.0 - true_m, 3) + off_m[run], np.zeros(rows, bool), np.full(rows, -1),
        np.zeros(rows), np.ones(rows),
    )  # fmt: skip
    alone = solve(shifted, np.array([0]), np.full(rows, -1), FIGURES)
    joint = solve(shifted, np.array([0]), np.tile(np.arange(4), 3), FIGURES)
    truth = np.tile(true_m, 3)
    assert np.abs(alone.measure_m - truth)[8:].max() == pytest.approx(0.8)
    assert np.abs(joint.measure_m - truth)[8:].max() < 0.4
    assert (joint.variance < alone.variance).all()


def test_the_relation_of_a_run_knows_its_own_shift_alone() -> None:
    """Against things that two exact runs saw, a run's uncertain launch is the shift's variance, and the rests are small."""
    true_m = np.array([4.0, 9.0, 15.0, 22.0])
    run = np.repeat(np.arange(3), 4)
    rows = len(run)
    three = Town(
        np.array([0, 3]), np.array([0, rows]), np.array([0, 0]), np.full(3, 30.0), np.full(3, -1.0),
        np.array([1e-6, 1e-6, 0.09]), np.full(3, -1), np.zeros(0), run, np.tile(30.0 - true_m, 3), np.zeros(rows, bool),
        np.full(rows, -1), np.zeros(rows), np.ones(rows),
    )  # fmt: skip
    relation = relation_of(three)
    exact = FIGURES._replace(scale_2=1e-12, slip_m=1e-12)
    relate(three, (np.array([0]), np.array([2])), np.tile(np.arange(4), 3), exact, relation)
    assert relation.things[0] == 4
    np.testing.assert_allclose(relation.thing_m[:4], true_m, atol=1e-6)
    assert relation.spread[0, 0] == pytest.approx(0.09, rel=1e-3)
    np.testing.assert_allclose(relation.rest[8:], NOTING**2, rtol=1e-3)
    np.testing.assert_allclose(relation.thing_rest[:4], NOTING**2 / 2, rtol=1e-3)


def test_the_order_of_readings_in_a_lateral_does_not_matter() -> None:
    """Rows turned round give the same places."""
    given_town = town(9)
    thing = np.tile([0, 1, 2, 3, -1], 3)
    turned = np.arange(len(thing))[::-1]
    columns = ("run", "paid_m", "extra", "fix_point", "fix_m", "fix_variance")
    other = given_town._replace(**{name: getattr(given_town, name)[turned].copy() for name in columns})
    one, two = solve(given_town, np.array([0]), thing, FIGURES), solve(other, np.array([0]), thing[turned].copy(), FIGURES)
    np.testing.assert_allclose(two.measure_m, one.measure_m[turned], atol=1e-9)
