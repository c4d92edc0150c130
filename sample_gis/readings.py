"""What the counter showed: the true way of the camera turned into readings, with all that a counter does wrong.

The model is that of the placing turned round: a camera that is truly ``p`` metres down the line from its launch has paid out
``d`` metres of cable with p = d + launch error + scale error · d + slip(d), the slip a random walk of variance ``slip_m`` m² a
metre. Common practice, no source.
"""

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sample_gis.settings import Settings

Floats = NDArray[np.float64]
METRES_PER_FOOT = 0.3048
INCH_M = 0.0254
CENTIMETRE_M = 0.01
UNITS = ("ft", "m", "ft")
"""The unit of each crew's counter: feet with a decimal, metres, feet and inches."""


def steps_m(crew: NDArray[np.int64], settings: Settings) -> Floats:
    """The finest step that each crew's counter shows."""
    return np.array([settings.reading_step_ft * METRES_PER_FOOT, CENTIMETRE_M, INCH_M])[crew]


def read_counters(runs: pd.DataFrame, observations: pd.DataFrame, settings: Settings, rng: np.random.Generator) -> None:
    """Give observations ``reading_m`` and ``to_reading_m``, and runs ``end_reading_m`` and rounded launch readings, in metres.

    ``observations`` has run (row of ``runs``), true_measure_m and true_to_measure_m. Readings are steps of the crew's counter.
    """
    step_m = steps_m(runs["crew"].to_numpy(), settings)
    for column in ("launch_reading_m", "lead_in_m"):
        runs[column] = _rounded(runs[column].to_numpy(float), step_m)
    run = observations["run"].to_numpy()
    all_runs = np.arange(len(runs))
    stretch = np.flatnonzero(observations["true_to_measure_m"].notna().to_numpy())
    rows = np.concatenate([run, run[stretch], all_runs])
    measure_m = np.concatenate(
        [
            observations["true_measure_m"].to_numpy(float),
            observations["true_to_measure_m"].to_numpy(float)[stretch],
            runs["true_end_m"].to_numpy(float),
        ]
    )
    way_m = np.abs(measure_m - runs["true_launch_m"].to_numpy(float)[rows])
    paid_m = _paid(way_m, rows, runs, settings, rng)
    zero_m = (runs["launch_reading_m"] + runs["lead_in_m"]).to_numpy(float)[rows]
    # No counter shows less than nothing: right at the launch a badly zeroed one stands at 0.
    shown_m = _rounded(np.maximum(paid_m + zero_m, 0.0), step_m[rows])
    observations["reading_m"] = shown_m[: len(run)]
    to_m = np.full(len(run), np.nan)
    to_m[stretch] = shown_m[len(run) : len(run) + len(stretch)]
    observations["to_reading_m"] = to_m
    runs["end_reading_m"] = shown_m[len(run) + len(stretch) :]


def _paid(way_m: Floats, run: NDArray[np.int64], runs: pd.DataFrame, settings: Settings, rng: np.random.Generator) -> Floats:
    slip = _walks(way_m, run, settings.slip_m, rng)
    launch, scale = runs["launch_error_m"].to_numpy(float)[run], runs["scale_error"].to_numpy(float)[run]
    return np.asarray((way_m - launch - slip) / (1.0 + scale))


def _walks(way_m: Floats, run: NDArray[np.int64], variance_a_metre: float, rng: np.random.Generator) -> Floats:
    """One random walk a run, from its launch, at the ways that it was read at; equal ways share their slip."""
    order = np.lexsort([way_m, run])
    run, way = run[order], way_m[order]
    first = np.concatenate([[True], run[1:] != run[:-1]])
    before = np.where(first, 0.0, np.concatenate([[0.0], way[:-1]]))
    walked = np.cumsum(rng.normal(size=len(way)) * np.sqrt(variance_a_metre * np.maximum(way - before, 0.0)))
    starts = np.flatnonzero(first)
    base = np.concatenate([[0.0], walked[starts[1:] - 1]])
    walked -= np.repeat(base, np.diff(np.append(starts, len(way))))
    slip = np.empty(len(way))
    slip[order] = walked
    return slip


def _rounded(values_m: Floats, step_m: Floats) -> Floats:
    return np.asarray(np.round(values_m / step_m) * step_m)
