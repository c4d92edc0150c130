"""What the simulated counters show."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from sample_gis import DEMO, make_town
from sample_gis.readings import METRES_PER_FOOT, read_counters
from sample_gis.wording import as_written
from sewermap.units import length_m

PERFECT = replace(DEMO, launch_sd_m=0.0, badly_zeroed=0.0, scale_sd=0.0, slip_m=0.0)


def errors_m(settings, way_m, runs=20_000, seed=3):
    """What many counters show at one way down the line, less the way."""
    rng = np.random.default_rng(seed)
    table = pd.DataFrame(
        {
            "crew": np.zeros(runs, dtype=np.int64),
            "true_launch_m": 30.0,
            "true_end_m": 0.0,
            "launch_error_m": rng.normal(0.0, settings.launch_sd_m, runs),
            "scale_error": rng.normal(0.0, settings.scale_sd, runs),
            "launch_reading_m": 3.048,
            "lead_in_m": 0.0,
        }
    )
    seen = pd.DataFrame({"run": np.arange(runs), "true_measure_m": 30.0 - way_m, "true_to_measure_m": np.nan})
    read_counters(table, seen, settings, rng)
    return seen["reading_m"].to_numpy() - 3.048 - way_m


def test_perfect_counter_shows_the_way():
    """Without errors a reading is the launch reading, the riser and the way, to half a step of the counter."""
    town = make_town(5, 200, PERFECT)
    run = town.observations["run"].to_numpy()
    runs = town.runs.iloc[run]
    way = np.abs(town.observations["true_measure_m"].to_numpy(float) - runs["true_launch_m"].to_numpy())
    shown = town.observations["reading_m"].to_numpy() - (runs["launch_reading_m"] + runs["lead_in_m"]).to_numpy()
    half_step = np.array([0.05 * METRES_PER_FOOT, 0.005, 0.0127])[runs["crew"].to_numpy()]
    assert (np.abs(shown - way) <= half_step + 1e-9).all()


@pytest.mark.parametrize(
    ("settings", "way_m", "expected_sd_m"),
    [
        (replace(PERFECT, launch_sd_m=0.3), 20.0, 0.3),
        (replace(PERFECT, scale_sd=0.01), 20.0, 0.2),
        (replace(PERFECT, slip_m=0.0004), 25.0, 0.1),
        (replace(PERFECT, launch_sd_m=0.3, scale_sd=0.015, slip_m=0.0004), 20.0, np.hypot(0.3, np.hypot(0.3, 0.0894427))),
    ],
)
def test_errors_have_the_variance_asked_for(settings, way_m, expected_sd_m):
    """Launch, scale times way and slip (a random walk: its variance grows with the way) add up as variances do."""
    assert errors_m(settings, way_m).std() == pytest.approx(expected_sd_m, rel=0.03)


def test_readings_never_fall_below_nothing():
    """A counter shows nothing less than 0, so no good row of the town is rejected for it."""
    town = make_town(6, 300)
    assert (town.observations["reading_m"] >= 0.0).all()


def test_readings_as_written_are_readings_as_meant():
    """What each crew writes means the length it saw: the project's own reader of lengths reads it back."""
    town = make_town(5, 60)
    seen = town.observations
    units = town.runs["unit"].to_numpy(object)[seen["run"]]
    read = [length_m(text, unit) for text, unit in zip(seen["reading"], units, strict=True)]
    assert np.abs(np.array(read) - seen["reading_m"].to_numpy()).max() < 1e-6


def test_three_crews_write_three_ways():
    """Feet with a decimal, metres with a comma, feet and inches; 44 ft 6 in is 44.5 ft is 13.5636 m (1 ft = 0.3048 m exactly,
    international foot of 1959).
    """
    assert as_written(np.array([13.5636] * 3), np.array([0, 1, 2])).tolist() == ["44.5", "13,56", "44' 6\""]
