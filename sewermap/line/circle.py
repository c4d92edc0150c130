"""The radius of the circle that holds a share of a place's uncertainty.

Across the line a place is as good as the map, along it as good as the counter, so its uncertainty is a two-dimensional normal
with two deviations. How far a crew may have to look is one number: the radius of the circle round the place that holds 95 %.
"""

from functools import cache
from statistics import NormalDist

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sewermap.errors import LengthError

_RATIOS = 2049
"""Entries of the table over the ratio of the deviations; interpolated between them to about 1e-8 of the radius."""

_ANGLES = 128
"""Points of the integral over a quarter turn. The integrand is smooth and periodic, so the sum converges at once."""

_NEWTON_STEPS = 12


def within_m(along_sigma_m: ArrayLike, across_sigma_m: ArrayLike, share: float = 0.95) -> NDArray[np.float64]:
    """Radius (N,), metres, of the centred circle that holds ``share`` of a two-dimensional normal.

    ``along_sigma_m`` and ``across_sigma_m`` (N, or one for all; 0 or more) are its two deviations, metres, uncorrelated.
    Exact to 1e-6 of the radius for a share of a half and more. NaN where a deviation is unknown. With equal deviations it
    is ``sigma * sqrt(-2 ln(1 - share))``, with one of them zero the two-sided normal quantile.

    Raises LengthError where a deviation is negative or infinite, ValueError where ``share`` is not between 0 and 1.

    >>> within_m([1.0, 1.0, 0.3], [0.0, 1.0, 0.4]).round(4)
    array([1.96  , 2.4477, 0.8743])
    """
    if not 0 < share < 1:
        raise ValueError(f"the share of a circle is between 0 and 1, not {share}")
    along, across = np.broadcast_arrays(np.asarray(along_sigma_m, np.float64), np.asarray(across_sigma_m, np.float64))
    if ((along < 0) | (across < 0) | np.isinf(along) | np.isinf(across)).any():
        raise LengthError("a deviation is a length of 0 m or more; one of those given is negative or infinite")
    large, small = np.maximum(along, across), np.minimum(along, across)
    ratio = small / np.where(large > 0, large, 1.0)
    ratios, radii = _radii(share)
    radius: NDArray[np.float64] = large * np.interp(ratio, ratios, radii)
    return radius


@cache
def _radii(share: float) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """The radius for deviations 1 and q, for each q of a table from 0 to 1.

    In polar coordinates of the unit normal, the chance to be outside radius r is the mean over all directions of
    exp(-r² / 2B), B = cos² + q² sin² (the form of the normal integral after Craig, 1991). Solved by Newton's method; the
    chance is a convex function beyond the radii met here, and the start lies below the solution.
    """
    ratios = np.linspace(0.0, 1.0, _RATIOS)
    angle = (np.arange(_ANGLES) + 0.5) * (np.pi / 2 / _ANGLES)
    spread = np.cos(angle) ** 2 + (ratios[:, None] * np.sin(angle)) ** 2
    radius = np.full(_RATIOS, NormalDist().inv_cdf(0.5 + share / 2))
    for _ in range(_NEWTON_STEPS):
        outside = np.exp(-0.5 * radius[:, None] ** 2 / spread)
        slope = -radius * (outside / spread).mean(axis=1)
        radius -= (outside.mean(axis=1) - (1 - share)) / slope
    return ratios, radius
