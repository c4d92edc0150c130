"""On whose side of a limit a measure lies: never more than a probability.

Where private ends, and whose duty follows from it, is for the local code and the survey to say.
"""

from functools import cache
from math import erf, sqrt
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

SURE = 0.95
"""Probability from which a side is told; common practice, no source."""

JOINT_SIGMA_M = 0.05
"""The joint of two materials at a property line is this near to it; common practice, no source."""

_SIDES = ("private", "public", "undetermined")
_ROUNDING = 1e-12
_LEAST_SIGMA_M = 1e-6

Floats = NDArray[np.float64]
Texts = Any
"""A pandas text array."""


def side_of(
    measure_m: ArrayLike, sigma_m: ArrayLike, property_line_m: ArrayLike, property_line_sigma_m: ArrayLike, sure: float = SURE
) -> tuple[Texts, Floats]:
    """On whose side of the property line each measure lies, and the probability (N,) that it is the private one.

    All in metres, (N,) or one for all. Private is the building's side, the higher measures. The probability is the normal
    distribution of the difference; for the side, a text array (N,), see ``told``. Both are missing where any of the four is
    unknown.

    >>> side, probability = side_of([4.0, 9.0, 6.1], 0.5, 6.0, 0.3)
    >>> list(side), probability.round(3).tolist()
    (['public', 'private', 'undetermined'], [0.0, 1.0, 0.568])
    """
    measure, sigma, line, line_sigma = np.broadcast_arrays(
        *(np.atleast_1d(np.asarray(value, np.float64)) for value in (measure_m, sigma_m, property_line_m, property_line_sigma_m))
    )
    spread = np.hypot(sigma, line_sigma)
    difference = measure - line
    with np.errstate(divide="ignore", invalid="ignore"):
        score = np.where((spread == 0) & (difference == 0), 0.0, difference / spread)
    probability = np.where(np.isnan(score), np.nan, _normal_below(score))
    return told(probability, sure), probability


def told(probability: Floats, sure: float = SURE) -> Texts:
    """The side, a text array (N,): ``private`` from the probability ``sure``, ``public`` up to 1 − ``sure``, else
    ``undetermined``; missing where the probability is.

    >>> list(told(np.array([0.97, 0.04, 0.9]))), list(told(np.array([0.9]), sure=0.9))
    (['private', 'public', 'undetermined'], ['private'])
    """
    # 1 − 0.95 is not 0.05 to the last digit.
    code = np.select([np.isnan(probability), probability >= sure, probability <= 1 - sure + _ROUNDING], [-1, 0, 1], 2)
    return pd.array(_SIDES, dtype="str").take(code, allow_fill=True)


def joint_or_elsewhere(
    probability: ArrayLike, away_m: ArrayLike, sigma_m: ArrayLike, length_m: ArrayLike, share: float
) -> Floats:
    """Probabilities (N,) of private for things that may be the very joint at the property line, such as couplings.

    ``probability`` is what the measure says of a thing that stands anywhere, ``away_m`` how far it was read from the property
    line and ``sigma_m`` the deviation of that, ``length_m`` that of the lateral. A ``share`` of such things stand at the line
    (within JOINT_SIGMA_M, on either side), where a reading tells their side hardly better than a coin. The rest are spread evenly
    over the lateral. By Bayes' rule.

    >>> joint_or_elsewhere([0.9, 1.0], [0.4, 4.0], 0.3, 20.0, 0.5).round(3).tolist()
    [0.613, 1.0]
    """
    chance, away, sigma, length = (np.asarray(value, np.float64) for value in (probability, away_m, sigma_m, length_m))
    spread = np.hypot(sigma, JOINT_SIGMA_M)
    at_line = share * np.exp(-0.5 * (away / spread) ** 2) / (np.sqrt(2 * np.pi) * spread)
    elsewhere = (1.0 - share) / np.maximum(length, spread)
    beyond = _normal_below(away * JOINT_SIGMA_M / (np.maximum(sigma, _LEAST_SIGMA_M) * spread))
    mixed: Floats = (beyond * at_line + chance * elsewhere) / (at_line + elsewhere)
    return mixed


def _normal_below(score: Floats) -> Floats:
    """The normal distribution function, to 1e-11: a table of it with its slope, joined by cubics (Hermite)."""
    table, step = _normal_table()
    place = (np.clip(np.nan_to_num(score), -9.0, 9.0) + 9.0) / step
    cell = np.minimum(place.astype(np.int64), len(table) - 2)
    t = place - cell
    low, high = table[cell], table[cell + 1]
    value: Floats = (
        (1 + 2 * t) * (1 - t) ** 2 * low[..., 0]
        + t * (1 - t) ** 2 * step * low[..., 1]
        + t**2 * (3 - 2 * t) * high[..., 0]
        + t**2 * (t - 1) * step * high[..., 1]
    )
    return np.clip(value, 0.0, 1.0)


@cache
def _normal_table() -> tuple[Floats, float]:
    scores = np.linspace(-9.0, 9.0, 2049)
    below = [0.5 * (1 + erf(score / sqrt(2))) for score in scores]
    slope = np.exp(-0.5 * scores**2) / np.sqrt(2 * np.pi)
    return np.column_stack([below, slope]), float(scores[1] - scores[0])
