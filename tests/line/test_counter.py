"""Readings placed: the prior, the pull of fixes, the ends of the line, coverage."""

import dataclasses

import numpy as np
import pytest

from sewermap.line.counter import CounterModel, Fixes, Readings, calibrate, coverage, model_from_toml, no_fixes, place
from tests.line.counter_cases import fixes, joined, one_run, readings, runs

MODEL = model_from_toml()


def test_defaults_are_those_of_the_design() -> None:
    """The packaged figures: common practice, no source."""
    assert dataclasses.astuple(MODEL) == (0.3, 0.015, 0.0004, 0.1, 0.3, 0.5, 3.0, 3.0, 0.1, 50.0, 30)


def test_a_place_may_replace_figures_one_by_one() -> None:
    """What a text leaves out keeps its default."""
    own = model_from_toml("[counter]\nlaunch_m = 0.5")
    assert own == dataclasses.replace(MODEL, launch_m=0.5)


@pytest.mark.parametrize(
    "text", ["[counter]\nlanch_m = 0.5", "[counter]\nscale = -1", "[counter]\nscale = 'much'", "[counter]\nscale = true"]
)
def test_a_figure_that_means_nothing_is_refused(text: str) -> None:
    """A misspelt name or a figure that is no positive number is an error that names it."""
    with pytest.raises(ValueError, match=r"lanch_m|scale"):
        model_from_toml(text)


def test_without_fixes_a_reading_lies_where_the_counter_says() -> None:
    """The mean is launch ± paid out; sigma² = launch² + map² + (scale·d)² + slip·d, in closed form."""
    some = runs([5.0, 40.0], [1.0, -1.0], [100.0, 100.0])
    placed = place(some, Readings(np.array([0, 1, 1]), np.array([0.0, 30.0, 10.0])), no_fixes(), MODEL)
    assert placed.measure_m.tolist() == [5.0, 10.0, 30.0]
    paid_m = np.array([0.0, 30.0, 10.0])
    np.testing.assert_allclose(placed.sigma_m**2, 0.09 + 0.09 + (0.015 * paid_m) ** 2 + 0.0004 * paid_m, rtol=1e-12)
    assert placed.reason.tolist() == ["", "", ""]


def test_before_the_launch_nothing_slips() -> None:
    """A reading a little under the launch's is placed by launch and scale alone."""
    placed = place(one_run(launch_m=5.0), readings(-0.5), no_fixes(), MODEL)
    assert placed.measure_m.tolist() == [4.5]
    assert placed.sigma_m[0] == pytest.approx(np.sqrt(0.18 + (0.015 * 0.5) ** 2), rel=1e-12)


def test_exact_fixes_calibrate_as_numpy_interp() -> None:
    """Marks 0, 40, 100 at 0, 42, 98: readings 20, 40, 70, 100 lie at 21, 42, 70, 98 (numpy.interp), as fixes become exact."""
    marks = [(0.0, 0.0), (40.0, 42.0), (100.0, 98.0)]
    loose = dataclasses.replace(MODEL, slip_m=10.0, scale=1e-9)
    placed = place(one_run(), readings(20, 40, 70, 100), fixes(*marks, sigma_m=0.001), loose)
    wanted = np.interp([20, 40, 70, 100], *np.transpose(marks))
    np.testing.assert_allclose(placed.measure_m, wanted, atol=1e-6)
    assert wanted.tolist() == [21.0, 42.0, 70.0, 98.0]


def test_one_fix_shares_its_surprise_between_launch_and_itself() -> None:
    """The mean at the fix is the prior's and the fix's weighted by their variances: worked by hand for one fix."""
    placed = place(one_run(), readings(10.0), fixes((10.0, 10.8), sigma_m=0.3), MODEL)
    prior_2, fix_2 = 0.18 + 0.15**2 + 0.004, 0.09
    assert placed.measure_m[0] == pytest.approx(10.0 + 0.8 * prior_2 / (prior_2 + fix_2), abs=1e-12)
    assert placed.sigma_m[0] == pytest.approx(np.sqrt(prior_2 * fix_2 / (prior_2 + fix_2)), abs=1e-12)


def test_up_to_three_sigma_past_an_end_is_at_the_end() -> None:
    """Just inside 3 sigma: the end itself, with a reason; just outside: unplaced, and the reason says by how much."""
    three_sigma_m = 3.0 * np.sqrt(0.18 + (0.015 * 20) ** 2 + 0.0004 * 20)
    some = runs([0.0], [1.0], [20.0 - three_sigma_m + 0.001])
    near = place(some, readings(20.0), no_fixes(), MODEL)
    assert (near.measure_m.tolist(), near.reason.tolist()) == (some.length_m.tolist(), ["at end"])
    far = place(dataclasses.replace(some, length_m=some.length_m - 0.002), readings(20.0), no_fixes(), MODEL)
    assert np.isnan([far.measure_m[0], far.sigma_m[0]]).all()
    assert far.reason.tolist() == [f"past the end of the line by {three_sigma_m:.1f} m"]


def test_the_tie_in_is_an_end_too() -> None:
    """A run towards the main that reads on past it is placed at measure 0, or unplaced."""
    placed = place(one_run(20.0, -1.0, 25.0), readings(19.0, 21.0, 24.2), no_fixes(), MODEL)
    assert placed.measure_m[:2].tolist() == [1.0, 0.0]
    assert np.isnan(placed.measure_m[2])
    assert placed.reason.tolist() == ["", "at end", "past the tie-in by 4.2 m"]


def test_the_fit_is_judged_after_the_fixes() -> None:
    """A counter that runs long is put right by its fixes: what seemed far past the end is on the line."""
    some = runs([0.0], [1.0], [47.0])
    marks = fixes((25.0, 23.5), (40.0, 37.6), (50.0, 47.0), sigma_m=0.05)
    model = dataclasses.replace(MODEL, scale=0.05)
    assert place(some, readings(60.0), no_fixes(), dataclasses.replace(MODEL, scale=0.015)).reason[0].startswith("past the end")
    placed = place(some, readings(49.0), marks, model)
    assert placed.reason.tolist() == [""]
    assert placed.measure_m[0] == pytest.approx(46.1, abs=0.2)


def test_rounding_at_an_end_is_not_past_it() -> None:
    """A reading that ends exactly at the end carries no reason, whatever the last bit of the sum says."""
    for length_m in (0.1 + 0.2, 31.7, 12.3456789):
        placed = place(one_run(length_m, -1.0, length_m), readings(length_m, 0.0), no_fixes(), MODEL)
        assert placed.reason.tolist() == ["", ""]
        assert placed.measure_m.tolist() == [0.0, length_m]


def test_a_launch_that_is_not_known_places_nothing() -> None:
    """A run without a launch, and a row without a reading, say so; the others are placed."""
    some = runs([np.nan, 0.0], [1.0, 1.0], [50.0, 50.0])
    asked = Readings(np.array([0, 1, 1]), np.array([5.0, np.nan, 5.0]))
    placed = place(some, asked, joined(fixes((3.0, 3.0)), fixes((4.0, 4.0), run=1)), MODEL)
    assert np.isnan(placed.measure_m).tolist() == [True, True, False]
    assert placed.reason.tolist() == ["the measure of the run's launch is not known", "no reading", ""]


def test_a_line_of_unknown_length_has_no_far_end() -> None:
    """Readings are then placed beyond anything, but not before the tie-in."""
    placed = place(runs([0.0], [1.0], [np.nan]), readings(250.0, -9.0), no_fixes(), MODEL)
    assert placed.measure_m[0] == 250.0
    assert placed.reason.tolist() == ["", "past the tie-in by 9.0 m"]


def test_a_map_of_unknown_accuracy_is_as_good_as_assumed() -> None:
    """A missing map accuracy is the model's."""
    known, unknown = one_run(), dataclasses.replace(one_run(), launch_map_sigma_m=np.array([np.nan]))
    asked = readings(3.0, 30.0)
    assert place(known, asked, no_fixes(), MODEL).sigma_m.tolist() == place(unknown, asked, no_fixes(), MODEL).sigma_m.tolist()


def test_a_fix_with_a_missing_figure_is_not_used() -> None:
    """It changes nothing, is not called set aside, and has no residual."""
    holes = Fixes(np.zeros(3, int), np.array([np.nan, 5.0, 5.0]), np.array([5.0, np.nan, 9.0]), np.array([0.3, 0.3, np.nan]))
    placed = place(one_run(), readings(8.0), holes, MODEL)
    assert placed.measure_m.tolist() == [8.0]
    assert not placed.verdict.set_aside.any()
    assert np.isnan(placed.verdict.residual).all()
    assert placed.verdict.used.tolist() == [0]


def test_empty_columns_give_empty_columns() -> None:
    """No runs, no readings, no fixes: nothing is computed and nothing fails."""
    nothing = runs([], [], [])
    placed = place(nothing, Readings(np.zeros(0, int), np.zeros(0)), no_fixes(), MODEL)
    assert (len(placed.measure_m), len(placed.sigma_m), len(placed.reason)) == (0, 0, 0)
    assert len(coverage(placed.calibration, nothing, np.zeros(0), MODEL).from_measure_m) == 0
    assert len(place(one_run(), readings(), fixes((3.0, 3.1)), MODEL).measure_m) == 0


@pytest.mark.parametrize("run", [-1, 1])
def test_a_run_that_is_not_there_is_refused(run: int) -> None:
    """An index outside the runs never reads another run's figures."""
    with pytest.raises(ValueError, match="of 1 runs"):
        place(one_run(), readings(3.0, run=run), no_fixes(), MODEL)
    with pytest.raises(ValueError, match="of 1 runs"):
        calibrate(one_run(), fixes((3.0, 3.0), run=run), MODEL)


def test_coverage_runs_from_launch_to_a_little_past_the_end_of_the_push() -> None:
    """In the order of measures, clipped to the line, 0.1 m further than the last reading; nothing where no end is known."""
    some = runs([2.0, 30.0, 0.0, 5.0], [1.0, -1.0, 1.0, 1.0], [50.0, 50.0, 8.0, 50.0])
    stretch = coverage(calibrate(some, no_fixes(), MODEL), some, np.array([10.0, 20.0, 9.0, np.nan]), MODEL)
    np.testing.assert_allclose(stretch.from_measure_m, [2.0, 9.9, 0.0, np.nan])
    np.testing.assert_allclose(stretch.to_measure_m, [12.1, 30.0, 8.0, np.nan])


def test_coverage_follows_the_fixes() -> None:
    """The stretch ends where the fixes put the end of the push, not where the counter alone would."""
    some = one_run(length_m=100.0)
    marks = fixes((20.0, 21.0), (40.0, 41.0), (60.0, 61.0), sigma_m=0.05)
    model: CounterModel = dataclasses.replace(MODEL, launch_m=1.0)
    stretch = coverage(calibrate(some, marks, model), some, np.array([60.0]), model)
    assert stretch.to_measure_m[0] == pytest.approx(61.1, abs=0.05)
    assert stretch.from_measure_m[0] == pytest.approx(1.0, abs=0.1)
