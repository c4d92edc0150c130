import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from sewermap.line.boundary import combined
from sewermap.line.side import side_of

lengths = st.floats(0, 100)
sigmas = st.floats(0.01, 5)


@given(lengths, sigmas, lengths, sigmas)
def test_probability_is_the_normal_distribution(measure, sigma, line, line_sigma):
    """The probability of private is scipy's normal distribution of the difference, to 1e-10."""
    _, probability = side_of([measure], [sigma], [line], [line_sigma])
    assert probability[0] == pytest.approx(stats.norm.cdf((measure - line) / np.hypot(sigma, line_sigma)), abs=1e-10)


@given(lengths, sigmas, lengths, sigmas)
def test_the_two_sides_mirror_each_other(measure, sigma, line, line_sigma):
    """Seen from the other end, private is public with the same probability."""
    _, one_way = side_of(measure, sigma, line, line_sigma)
    _, other_way = side_of(line, line_sigma, measure, sigma)
    assert one_way[0] + other_way[0] == pytest.approx(1, abs=1e-12)


def test_sides_and_their_limits():
    """Private from 0.95, public up to 0.05, else undetermined (1.6449 is the normal quantile of 0.95)."""
    side, probability = side_of([5 + 1.65, 5 + 1.64, 5, 5 - 1.64, 5 - 1.65], 0.6, 5, 0.8)
    assert list(side) == ["private", "undetermined", "undetermined", "undetermined", "public"]
    assert probability[2] == pytest.approx(0.5, abs=1e-12)


def test_unknown_is_unknown():
    """Where any of the four is unknown, so are side and probability."""
    side, probability = side_of(
        [np.nan, 1, 1, 1, 9], [0.3, np.nan, 0.3, 0.3, 0.3], [5, 5, np.nan, 5, 5], [0.3, 0.3, 0.3, np.nan, 0.3]
    )
    assert side.isna().tolist() == [True, True, True, True, False]
    assert np.isnan(probability).tolist() == [True, True, True, True, False]
    assert side.dtype == "str"
    assert len(side_of([], [], [], [])[0]) == 0


def test_without_any_doubt():
    """Without any sigma the side is certain, and on the line itself it is a toss."""
    side, probability = side_of([4, 5, 6], 0, 5, 0)
    assert list(side) == ["public", "undetermined", "private"]
    assert probability.tolist() == pytest.approx([0, 0.5, 1], abs=1e-15)


def test_statements_are_weighted_by_variance():
    """Two statements of 0.3 m and 0.4 m: weights 16/25 and 9/25, sigma 0.24 m (closed form)."""
    row = combined(["a", "a"], [10.0, 10.5], [0.3, 0.4]).iloc[0]
    assert row["measure_m"] == pytest.approx(10 + 0.5 * 9 / 25)
    assert row["sigma_m"] == pytest.approx(0.24)
    assert not row["conflict"]
    assert row["reason"] == ""


def test_a_conflict_is_told():
    """Statements over 3 sigma apart are reported in words, each with its source, and the sigma is widened."""
    found = combined(
        ["b", "a", "b"], [9.7, 4.0, 14.2], [0.3, 0.3, 0.3], ["the parcel's boundary", "a referent", "a change of material"]
    )
    assert found["lateral"].tolist() == ["a", "b"]
    assert found["conflict"].tolist() == [False, True]
    assert found["statements"].tolist() == [1, 2]
    assert found["reason"].tolist() == [
        "",
        "they contradict each other: the parcel's boundary says 9.70 m, a change of material says 14.20 m",
    ]
    assert found["sigma_m"].tolist() == pytest.approx([0.3, 4.5 / 2])


@pytest.mark.parametrize(("apart", "conflict"), [(2.99, False), (3.01, True)])
def test_the_limit_of_a_conflict(apart, conflict):
    """The limit is 3 sigma of the difference between one statement and the others together."""
    assert combined([1, 1], [5, 5 + apart * 0.5], [0.3, 0.4])["conflict"].tolist() == [conflict]
    # Against two that agree, whose mean has sigma 0.3 / sqrt 2.
    others = np.hypot(0.3, 0.3 / np.sqrt(2))
    assert combined([1, 1, 1], [5, 5, 5 + apart * others], [0.3] * 3)["conflict"].tolist() == [conflict]


def test_what_is_not_known_is_left_out():
    """A statement without measure or sigma says nothing; a lateral with no other has no row."""
    found = combined(["a", "a", "b"], [5.0, np.nan, 7.0], [0.3, 0.3, np.nan])
    assert found[["lateral", "measure_m", "statements"]].to_numpy().tolist() == [["a", 5.0, 1]]
    assert combined([], [], []).columns.tolist() == ["lateral", "measure_m", "sigma_m", "statements", "conflict", "reason"]


@given(st.lists(st.tuples(st.integers(0, 3), lengths, sigmas), min_size=1, max_size=12), st.randoms(use_true_random=False))
def test_order_does_not_matter(rows, random):
    """Statements in any order give the same rows to the last digit, between the least and the greatest of them."""
    found = combined(*zip(*rows, strict=True))
    shuffled = random.sample(rows, len(rows))
    assert combined(*zip(*shuffled, strict=True)).equals(found)
    for lateral, measure, sigma in zip(found["lateral"], found["measure_m"], found["sigma_m"], strict=True):
        own = [row for row in rows if row[0] == lateral]
        assert min(row[1] for row in own) - 1e-9 <= measure <= max(row[1] for row in own) + 1e-9
        assert sigma >= sum(row[2] ** -2 for row in own) ** -0.5 * (1 - 1e-12)
