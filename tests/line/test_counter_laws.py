"""Laws that placing keeps for any runs, readings and fixes."""

import dataclasses

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from sewermap.line.counter import CounterModel, Fixes, Readings, Runs, coverage, model_from_toml, place
from tests.line.counter_cases import reordered

MODEL = model_from_toml()
ALL_BELIEVED = dataclasses.replace(MODEL, widest_residual=1e9)
NO_ENDS = 1e9
unhurried = settings(deadline=None, max_examples=60)
"""A busy machine breaks no law."""


@dataclasses.dataclass(frozen=True)
class Town:
    """Some runs, with readings and fixes."""

    runs: Runs
    readings: Readings
    fixes: Fixes


def column(least: float, most: float, n: int) -> st.SearchStrategy[np.ndarray]:
    """A column of n numbers, to the millimetre."""
    whole = st.integers(round(least * 1000), round(most * 1000))
    return st.lists(whole, min_size=n, max_size=n).map(lambda numbers: np.array(numbers, float) / 1000)


@st.composite
def towns(draw: st.DrawFn, *, ends: bool = True, wild: bool = True) -> Town:
    """A few runs; fixes near where the counter puts them, and, where wild, anywhere."""
    n = draw(st.integers(1, 4))
    length_m = draw(column(5, 100, n)) if ends else np.full(n, NO_ENDS)
    direction = np.array(draw(st.lists(st.sampled_from([-1.0, 1.0]), min_size=n, max_size=n)))
    launch_m = draw(column(0, 100, n)) + (0.0 if ends else NO_ENDS / 2)
    some = Runs(launch_m, draw(column(0.01, 1, n)), direction, length_m)
    asked = draw(st.integers(0, 12))
    known = draw(st.integers(0, 10))
    run = np.array(draw(st.lists(st.integers(0, n - 1), min_size=known, max_size=known)), np.intp)
    paid_m = draw(column(-1, 100, known))
    off_m = draw(column(-6, 6, known) if wild else column(-0.2, 0.2, known))
    fixes = Fixes(run, paid_m, launch_m[run] + direction[run] * paid_m + off_m, draw(column(0.05, 1, known)))
    readings = Readings(
        np.array(draw(st.lists(st.integers(0, n - 1), min_size=asked, max_size=asked)), np.intp), draw(column(-1, 120, asked))
    )
    return Town(some, readings, fixes)


def sigma_of(town: Town, fixes: Fixes, model: CounterModel) -> np.ndarray:
    """Sigma of each reading."""
    return place(town.runs, town.readings, fixes, model).sigma_m


@unhurried
@given(towns(), st.randoms(use_true_random=False))
def test_the_order_of_rows_means_nothing(town: Town, random: object) -> None:
    """Readings and fixes in another order give the same rows, to the last bit."""
    rows, marks = list(range(len(town.readings))), list(range(len(town.fixes)))
    random.shuffle(rows)
    random.shuffle(marks)
    rows, marks = np.array(rows, int), np.array(marks, int)
    one = place(town.runs, town.readings, town.fixes, MODEL)
    other = place(town.runs, Readings(town.readings.run[rows], town.readings.paid_m[rows]), reordered(town.fixes, marks), MODEL)
    assert one.measure_m[rows].tobytes() == other.measure_m.tobytes()
    assert one.sigma_m[rows].tobytes() == other.sigma_m.tobytes()
    assert one.reason[rows].tolist() == other.reason.tolist()
    assert one.verdict.notes.tolist() == other.verdict.notes.tolist()


@unhurried
@given(towns())
def test_a_placed_reading_lies_on_its_line_and_an_unplaced_one_has_a_reason(town: Town) -> None:
    """Never outside, never without a sigma, never without a word; whatever the fixes say."""
    placed = place(town.runs, town.readings, town.fixes, MODEL)
    on = ~np.isnan(placed.measure_m)
    assert (placed.measure_m[on] >= 0).all()
    assert (placed.measure_m[on] <= town.runs.length_m[town.readings.run[on]]).all()
    assert (placed.sigma_m[on] > 0).all()
    assert np.isnan(placed.sigma_m[~on]).all()
    assert all(text.endswith(" m") for text in placed.reason[~on])
    assert set(placed.reason[on]) <= {"", "at end"}


@unhurried
@given(towns(ends=False))
def test_a_fix_never_increases_sigma(town: Town) -> None:
    """As long as all fixes are believed, each one more makes every sigma of its run smaller or leaves it."""
    for n in range(len(town.fixes)):
        fewer = sigma_of(town, reordered(town.fixes, np.arange(n)), ALL_BELIEVED)
        more = sigma_of(town, reordered(town.fixes, np.arange(n + 1)), ALL_BELIEVED)
        assert (more <= fewer + 1e-9).all()


@unhurried
@given(towns(ends=False))
def test_without_fixes_sigma_is_the_prior(town: Town) -> None:
    """Fixes of other runs change nothing: a run without fixes has the sigma of launch, map, scale and slip."""
    alone = ~np.isin(town.readings.run, town.fixes.run)
    run, paid_m = town.readings.run[alone], town.readings.paid_m[alone]
    prior_2 = 0.09 + town.runs.launch_map_sigma_m[run] ** 2 + (0.015 * paid_m) ** 2 + 0.0004 * np.maximum(paid_m, 0)
    np.testing.assert_allclose(sigma_of(town, town.fixes, MODEL)[alone], np.sqrt(prior_2), rtol=1e-9)


@unhurried
@given(towns(ends=False, wild=False))
def test_feet_and_metres_tell_the_same(town: Town) -> None:
    """The same town and model with all lengths in feet give the same measures and sigmas in feet."""
    feet = 1 / 0.3048
    runs, marks, asked = town.runs, town.fixes, town.readings
    in_feet = dataclasses.replace(
        MODEL,
        launch_m=MODEL.launch_m * feet,
        slip_m=MODEL.slip_m * feet,
        map_accuracy_m=MODEL.map_accuracy_m * feet,
        shifted_launch_m=MODEL.shifted_launch_m * feet,
    )
    one = place(runs, asked, marks, MODEL)
    other = place(
        Runs(runs.launch_measure_m * feet, runs.launch_map_sigma_m * feet, runs.direction, runs.length_m * feet),
        Readings(asked.run, asked.paid_m * feet),
        Fixes(marks.run, marks.paid_m * feet, marks.measure_m * feet, marks.sigma_m * feet),
        in_feet,
    )
    np.testing.assert_allclose(other.measure_m / feet, one.measure_m, atol=1e-6)
    np.testing.assert_allclose(other.sigma_m / feet, one.sigma_m, atol=1e-9)


@unhurried
@given(towns(ends=False, wild=False), st.integers(-400, 400))
def test_moving_everything_moves_the_result_by_as_much(town: Town, quarters: int) -> None:
    """Launches and fixes further along by a constant: measures too, sigmas not at all."""
    by_m = quarters / 4
    runs = dataclasses.replace(town.runs, launch_measure_m=town.runs.launch_measure_m + by_m)
    moved = place(runs, town.readings, dataclasses.replace(town.fixes, measure_m=town.fixes.measure_m + by_m), ALL_BELIEVED)
    one = place(town.runs, town.readings, town.fixes, ALL_BELIEVED)
    np.testing.assert_allclose(moved.measure_m - by_m, one.measure_m, atol=1e-6)
    np.testing.assert_allclose(moved.sigma_m, one.sigma_m, atol=1e-9)


@unhurried
@given(towns(ends=False, wild=False))
def test_a_run_and_its_mirror_image_agree(town: Town) -> None:
    """The same cable paid out the other way, with fixes mirrored about the launch, lies as far on the other side."""
    runs, marks = town.runs, town.fixes
    mirrored = 2 * runs.launch_measure_m[marks.run] - marks.measure_m
    one = place(runs, town.readings, marks, ALL_BELIEVED)
    other = place(
        dataclasses.replace(runs, direction=-runs.direction),
        town.readings,
        dataclasses.replace(marks, measure_m=mirrored),
        ALL_BELIEVED,
    )
    middle = runs.launch_measure_m[town.readings.run]
    np.testing.assert_allclose(other.measure_m - middle, middle - one.measure_m, atol=1e-6)
    np.testing.assert_allclose(other.sigma_m, one.sigma_m, atol=1e-9)


@unhurried
@given(towns(ends=False))
def test_a_run_settles_with_at_least_one_fix_kept(town: Town) -> None:
    """However the fixes contradict each other, a run that had fixes keeps one; a kept residual over 3 is alone."""
    verdict = place(town.runs, town.readings, town.fixes, MODEL).verdict
    had = np.bincount(town.fixes.run, minlength=len(town.runs)) > 0
    assert (verdict.used[had] >= 1).all()
    kept = ~verdict.set_aside
    wide = kept & (np.abs(verdict.residual) > 3)
    assert (verdict.used[town.fixes.run[wide]] == 1).all()
    assert verdict.conflict[town.fixes.run[wide]].all()
    assert (verdict.widening[~verdict.conflict] == 1).all()
    assert (verdict.used[verdict.launch_shifted] >= 2).all()


@unhurried
@given(towns())
def test_coverage_lies_on_the_line(town: Town) -> None:
    """From ≤ to, both on the line."""
    placed = place(town.runs, town.readings, town.fixes, MODEL)
    stretch = coverage(placed.calibration, town.runs, np.full(len(town.runs), 30.0), MODEL)
    assert (stretch.from_measure_m >= 0).all()
    assert (stretch.from_measure_m <= stretch.to_measure_m).all()
    assert (stretch.to_measure_m <= town.runs.length_m).all()
