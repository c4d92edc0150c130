"""Where an issue lies, out of sightings by runs from either end."""

import numpy as np
import pandas as pd
import pytest

from sewermap.follow.issue_rows import _places


def seen(*rows: tuple[int, float, float, float]) -> pd.DataFrame:
    """Sightings: cluster, measure_m, to_measure_m, sigma_m."""
    return pd.DataFrame(rows, columns=["cluster", "measure_m", "to_measure_m", "sigma_m"])


def test_a_stretch_seen_from_both_ends_keeps_its_length() -> None:
    """A run up the line meets the far end first: the ends are told apart, not averaged to the middle."""
    from_m, to_m = _places(seen((0, 21.0, 23.6, 0.2), (0, 23.7, 21.1, 0.2)))
    assert (from_m[0], to_m[0]) == pytest.approx((21.05, 23.65))


def test_who_noted_a_point_says_nothing_of_the_ends() -> None:
    """One sighting without an end, among others with one, moves neither end; alone it is the place."""
    from_m, to_m = _places(seen((0, 5.0, 9.0, 0.2), (0, 7.0, np.nan, 0.2), (1, 3.0, np.nan, 0.2), (1, 3.2, np.nan, 0.2)))
    assert (from_m[0], to_m[0]) == pytest.approx((5.0, 9.0))
    assert from_m[1] == pytest.approx(3.1)
    assert np.isnan(to_m[1])


def test_sightings_weigh_by_their_variance() -> None:
    """Two sightings of 0.3 and 0.4 m: weights 16/25 and 9/25 (closed form); one not placed weighs nothing."""
    from_m, _ = _places(seen((0, 10.0, np.nan, 0.3), (0, 10.5, np.nan, 0.4), (0, np.nan, np.nan, np.nan)))
    assert from_m[0] == pytest.approx(10 + 0.5 * 9 / 25)


def test_nothing_placed_has_no_place() -> None:
    """A cluster of unplaced sightings has neither measure nor end."""
    from_m, to_m = _places(seen((0, np.nan, np.nan, np.nan)))
    assert np.isnan([from_m[0], to_m[0]]).all()
