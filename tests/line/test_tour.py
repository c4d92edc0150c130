"""A short way past many points."""

import itertools

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from sewermap.line.tour import length_of, shortened

POINTS = arrays(np.float64, st.tuples(st.integers(0, 12), st.just(2)), elements=st.integers(0, 30).map(float))


@settings(deadline=None)
@given(POINTS)
def test_every_point_is_visited_once_and_the_way_never_grows(xy) -> None:
    """An order of all points, no longer than the one given; also of none, of one, and of points on one spot."""
    order = shortened(xy)
    assert sorted(order.tolist()) == list(range(len(xy)))
    assert length_of(xy[order]) <= length_of(xy) + 1e-9


@pytest.mark.parametrize("seed", range(8))
def test_no_two_stretches_of_a_short_way_cross(seed: int) -> None:
    """A way that no turn makes shorter does not cross itself (shapely: it is simple)."""
    xy = np.random.default_rng(seed).random((40, 2))
    order = shortened(xy)
    assert shapely.LineString(xy[order]).is_simple
    assert length_of(xy[order]) < 0.6 * length_of(xy)


def test_few_points_are_near_the_best_way() -> None:
    """Of seven points, tried in all orders: on the average within a twentieth of the shortest way, never a third longer."""
    ratios = []
    for seed in range(12):
        xy = np.random.default_rng(seed).random((7, 2))
        best = min(length_of(xy[list(order)]) for order in itertools.permutations(range(7)) if order[0] < order[-1])
        ratios.append(length_of(xy[shortened(xy)]) / best)
    assert np.mean(ratios) < 1.05
    assert max(ratios) < 1.33


def test_houses_along_a_street_are_taken_in_turn() -> None:
    """Points on a line, shuffled: from one end to the other."""
    xy = np.column_stack([np.random.default_rng(3).permutation(20) * 15.0, np.zeros(20)])
    along = xy[shortened(xy), 0]
    assert (np.diff(along) > 0).all() or (np.diff(along) < 0).all()
