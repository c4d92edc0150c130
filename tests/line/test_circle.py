import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import integrate, optimize, stats

from sewermap.errors import LengthError
from sewermap.line.circle import within_m

sigmas = st.floats(1e-3, 50)


def by_integration(along, across, share):
    """The radius by scipy: the chance to be inside, integrated over the deviation with the smaller sigma, then solved."""
    large, small = max(along, across), min(along, across)

    def excess(radius):
        def inside(z):
            return stats.norm.pdf(z) * (2 * stats.norm.cdf(np.sqrt(radius**2 - (small * z) ** 2) / large) - 1)

        reach = min(radius / small, 10)
        return 2 * integrate.quad(inside, 0, reach, epsabs=1e-13, epsrel=1e-12, limit=400)[0] - share

    return optimize.brentq(excess, 0.01 * large, 8 * large, xtol=1e-13)


@pytest.mark.parametrize("share", [0.5, 0.95, 0.99])
@pytest.mark.parametrize("ratio", [0.01, 0.0501, 0.2003, 0.5, 0.77123, 0.9999])
def test_against_numerical_integration(ratio, share):
    """The radius agrees with scipy's integration of the normal density to 1e-6, whichever deviation is the larger."""
    expected = by_integration(0.4, 0.4 * ratio, share)
    np.testing.assert_allclose(within_m([0.4, 0.4 * ratio], [0.4 * ratio, 0.4], share), expected, rtol=1e-6)


@pytest.mark.parametrize("share", [0.5, 0.95, 0.99])
def test_closed_forms(share):
    """Equal deviations: the Rayleigh distribution. One of them zero: the normal quantile (both by scipy.stats)."""
    assert within_m(0.3, 0.3, share) == pytest.approx(stats.rayleigh.ppf(share, scale=0.3), rel=1e-9)
    assert within_m(0.3, 0.0, share) == pytest.approx(0.3 * stats.norm.ppf(0.5 + share / 2), rel=1e-9)


def test_against_chance():
    """Of a million random places, 95 % lie within the radius (their own deviation is 0.02 %)."""
    rng = np.random.default_rng(11)
    distance = np.hypot(rng.normal(0, 0.7, 1_000_000), rng.normal(0, 0.3, 1_000_000))
    assert (distance <= within_m(0.7, 0.3)).mean() == pytest.approx(0.95, abs=0.001)


@given(sigmas, sigmas, st.floats(0.1, 10))
def test_laws(along, across, times):
    """The order of the deviations does not matter, the radius scales with them, and it grows with each of them."""
    radius = within_m(along, across)
    assert within_m(across, along) == radius
    assert within_m(times * along, times * across) == pytest.approx(times * radius, rel=1e-9)
    assert within_m(along * 1.01, across) >= radius
    assert 1.9599 * max(along, across) <= radius <= 2.4478 * max(along, across)


def test_unknown_and_zero():
    """An unknown deviation gives an unknown radius; a place known exactly has a circle of no size."""
    np.testing.assert_array_equal(within_m([np.nan, 0.3, 0.0], [0.3, np.nan, 0.0]), [np.nan, np.nan, 0.0])
    assert within_m([], []).shape == (0,)


@pytest.mark.parametrize("sigma", [-0.1, np.inf])
def test_what_is_no_deviation(sigma):
    """A negative or infinite deviation is refused."""
    with pytest.raises(LengthError, match="negative or infinite"):
        within_m([0.3, sigma], 0.3)


@pytest.mark.parametrize("share", [0, 1, 95])
def test_what_is_no_share(share):
    """A share is between 0 and 1; 95 was meant as 0.95."""
    with pytest.raises(ValueError, match="between 0 and 1"):
        within_m(0.3, 0.3, share)
