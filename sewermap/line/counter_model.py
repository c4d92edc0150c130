"""The figures of the counter model, and the columns that go into and come out of placing.

Everything is in metres and held as flat columns, one entry per run, reading or fix, never as objects per row.
"""

import tomllib
from dataclasses import dataclass, field
from importlib import resources
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Whole = NDArray[np.intp]
Flags = NDArray[np.bool_]
Texts = NDArray[np.object_]


@dataclass(frozen=True)
class CounterModel:
    """What is assumed of a counter and of the judging of its fixes; the figures stand, explained, in counter.toml."""

    launch_m: float
    scale: float
    slip_m: float
    fix_sigma_m: float
    map_accuracy_m: float
    map_shared: float
    widest_residual: float
    past_end_sigmas: float
    covered_beyond_m: float
    shifted_launch_m: float
    least_runs: int


def model_from_toml(text: str | None = None) -> CounterModel:
    r"""The model of a TOML text with tables ``counter`` and ``judging``; without a text, the packaged defaults.

    What the text leaves out keeps its default. Raises ValueError for a name that the model does not have or a figure
    that is no positive number.

    >>> model_from_toml().launch_m
    0.3
    >>> model_from_toml("[counter]\nscale = 0.02").scale
    0.02
    """
    figures = _figures(resources.files("sewermap.line").joinpath("counter.toml").read_text(encoding="utf-8"))
    given = {} if text is None else _figures(text)
    for name, value in given.items():
        if name not in figures:
            raise ValueError(f"the counter model has no figure '{name}'; it has " + ", ".join(figures))
        if isinstance(value, bool) or not isinstance(value, int | float) or not 0 < value < float("inf"):
            raise ValueError(f"the counter model's '{name}' must be a positive number, not {value!r}")
    figures |= given
    return CounterModel(least_runs=int(figures.pop("least_runs")), **{name: float(value) for name, value in figures.items()})


def _figures(text: str) -> dict[str, Any]:
    return {name: value for table in tomllib.loads(text).values() for name, value in table.items()}


@dataclass(frozen=True)
class Runs:
    """Columns of N runs.

    launch_measure_m: measure of the launch (NaN: not known, nothing of the run can be placed).
    launch_map_sigma_m: map accuracy of the lateral (NaN: the model's).
    direction: +1 towards the building, −1 towards the main.
    length_m: length of the lateral's line (NaN: no far end to judge by).
    """

    launch_measure_m: Floats
    launch_map_sigma_m: Floats
    direction: Floats
    length_m: Floats

    def __len__(self) -> int:
        """How many runs."""
        return len(self.launch_measure_m)


@dataclass(frozen=True)
class Readings:
    """Columns of readings: ``run`` (index into the runs), ``paid_m`` (reading − launch reading − lead-in: cable paid out)."""

    run: Whole
    paid_m: Floats

    def __len__(self) -> int:
        """How many readings."""
        return len(self.paid_m)


@dataclass(frozen=True)
class Fixes:
    """Columns of fixes: ``run``, ``paid_m``, known ``measure_m`` and its ``sigma_m`` (the map's accuracy already in it).

    A fix with a missing figure is not used and not set aside.
    """

    run: Whole
    paid_m: Floats
    measure_m: Floats
    sigma_m: Floats

    def __len__(self) -> int:
        """How many fixes."""
        return len(self.paid_m)


def no_fixes() -> Fixes:
    """Empty columns, for runs that passed nothing known."""
    return Fixes(np.zeros(0, np.intp), np.zeros(0), np.zeros(0), np.zeros(0))


@dataclass(frozen=True)
class Verdict:
    """What was thought of fixes and launches.

    Per fix: ``set_aside``; ``out_of_order`` (with a neighbour in its run, it contradicts the order of the line);
    ``residual_m`` and ``residual``, how far the fix lies from where the launch and the other kept fixes put it, in
    metres and in sigmas (NaN for a fix that could not be used). Per run: ``launch_shifted`` (the launch's measure was
    not believed and not used); ``conflict`` (its one fix contradicts its launch); ``widening``, the factor by which
    its sigmas were widened for that (1 elsewhere); ``used`` fixes; ``notes`` in plain words, "" where there is nothing
    to report.
    """

    set_aside: Flags
    out_of_order: Flags
    residual_m: Floats
    residual: Floats
    launch_shifted: Flags
    conflict: Flags
    widening: Floats
    used: Whole
    notes: Texts = field(repr=False)
