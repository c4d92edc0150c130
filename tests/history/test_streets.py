"""Roll-ups by street against plain counting, shapely and scipy; and hotspots that chance does not explain."""

import numpy as np
import pandas as pd
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from sewermap.history.streets import COLUMNS, hotspots, poisson_tail, scoped_m, streets

LATERALS = pd.DataFrame({"lateral": ["L1", "L2", "L3", "L4", "L5"], "street": ["Alder", "Alder", "Birch", np.nan, "Cedar"]})
COVERAGES = pd.DataFrame(
    {
        "lateral": ["L1", "L1", "L3", "L4", "L5"],
        "from_measure_m": [0.0, 10.0, 0.0, 2.0, np.nan],
        "to_measure_m": [12.0, 20.0, 25.0, 7.0, np.nan],
    }
)
ISSUES = pd.DataFrame(
    [
        ("L1", "roots", 4.0, "returned", True, "W1"),
        ("L1", "crack", np.nan, "new", False, np.nan),
        ("L1", "sag", 5.0, "mended", False, "W1"),
        ("L3", "roots", 2.0, "mended", True, "W2"),
        ("L4", "grease", 3.0, "same", False, np.nan),
    ],
    columns=["lateral", "kind", "grade", "state", "repeat", "work"],
)


def test_a_small_town_counted_by_hand() -> None:
    """Alder has two laterals, one scoped over 20 m; Birch 25 m; Cedar's only run passed nothing; one lateral has no street."""
    table = streets(LATERALS, COVERAGES, ISSUES)
    assert list(table) == list(COLUMNS)
    assert table["street"].tolist()[:3] == ["Alder", "Birch", "Cedar"]
    assert pd.isna(table["street"].iloc[3])
    assert table["laterals"].tolist() == [2, 1, 1, 1]
    assert table["scoped"].tolist() == [1, 1, 0, 1]
    assert table["never_scoped"].tolist() == [0.5, 0.0, 1.0, 0.0]
    assert table["scoped_m"].tolist() == [20.0, 25.0, 0.0, 5.0]
    assert table["issues"].tolist() == [2, 0, 0, 1]
    assert table["ungraded"].tolist() == [1, 0, 0, 0]
    assert table["roots"].tolist() == [1, 0, 0, 0]
    assert table["repeats"].tolist() == [1, 1, 0, 0]
    np.testing.assert_array_equal(table["worst_grade"], [4.0, np.nan, np.nan, 3.0])
    np.testing.assert_array_equal(table["repeat_rate"], [0.5, 1.0, np.nan, np.nan])
    np.testing.assert_allclose(table["per_100_m"], [10.0, 0.0, np.nan, 20.0])


def test_order_of_rows_means_nothing() -> None:
    """Shuffled frames roll up to the same table."""
    mixed = [rows.sample(frac=1.0, random_state=5).reset_index(drop=True) for rows in (LATERALS, COVERAGES, ISSUES)]
    pd.testing.assert_frame_equal(streets(*mixed), streets(LATERALS, COVERAGES, ISSUES))


def test_every_issue_and_lateral_is_counted_once() -> None:
    """Sums over streets are those of the town."""
    table = streets(LATERALS, COVERAGES, ISSUES)
    assert table["laterals"].sum() == len(LATERALS)
    assert table["issues"].sum() == ISSUES["state"].ne("mended").sum()
    assert table["repeats"].sum() == ISSUES["repeat"].sum()
    assert table["scoped_m"].sum() == scoped_m(COVERAGES).sum()


def test_a_town_without_runs() -> None:
    """Nothing scoped: no rates, no chances, no hotspots; and nothing breaks without any lateral."""
    table = streets(LATERALS, COVERAGES.iloc[:0], ISSUES.iloc[:0])
    assert table["never_scoped"].tolist() == [1.0] * 4
    assert table[["per_100_m", "repeat_rate", "worst_grade", "chance"]].isna().all().all()
    assert not table["hotspot"].any()
    assert streets(LATERALS.iloc[:0], COVERAGES.iloc[:0], ISSUES.iloc[:0]).empty


@settings(deadline=None, max_examples=60)
@given(st.lists(st.tuples(st.sampled_from("AB"), st.integers(0, 40), st.integers(0, 15)), max_size=12))
def test_metres_are_counted_once(stretches) -> None:
    """The length that shapely gives to the union of all stretches of a lateral."""
    rows = [(lateral, start / 2.0, (start + length) / 2.0) for lateral, start, length in stretches]
    table = pd.DataFrame(rows, columns=["lateral", "from_measure_m", "to_measure_m"])
    ours = scoped_m(table)
    for lateral in set(table["lateral"]):
        lines = [shapely.LineString([(low, 0.0), (high, 0.0)]) for name, low, high in rows if name == lateral and high > low]
        assert ours[lateral] == pytest.approx(shapely.union_all(lines).length)


def test_poisson_tail_is_scipys() -> None:
    """scipy.stats.poisson.sf(count − 1, mean), from the certain to the one in 10^200."""
    count, mean = (side.ravel() for side in np.meshgrid([0, 1, 2, 5, 30, 150, 1000], [0.01, 0.7, 5.0, 40.0, 900.0]))
    expected = stats.poisson.sf(count - 1, mean)
    usual = expected > 1e-200
    np.testing.assert_allclose(poisson_tail(count, mean)[usual], expected[usual], rtol=1e-8)
    assert poisson_tail(np.array([3, 0]), np.array([0.0, 0.0])).tolist() == [0.0, 1.0]


def test_a_street_worse_than_chance_is_a_hotspot() -> None:
    """20 issues where 5 are expected; its neighbours with 5 or 6 are none, nor is a short street with one."""
    areas = pd.DataFrame({"issues": [20, 5, 6, 4, 1, 0], "scoped_m": [200.0, 250.0, 240.0, 250.0, 10.0, 0.0]})
    table = hotspots(areas)
    assert table["hotspot"].tolist() == [True, False, False, False, False, False]
    mean = 36.0 / 950.0 * 200.0
    assert table["chance"].iloc[0] == pytest.approx(stats.poisson.sf(19, mean), rel=1e-8)
    assert np.isnan(table["chance"].iloc[5])


def test_an_even_town_has_hotspots_in_one_of_twenty_at_most() -> None:
    """40 streets with issues strewn by chance alone, 300 towns: in at most 5 % of towns some street is called a hotspot."""
    rng = np.random.default_rng(4)
    length_m = rng.uniform(50.0, 600.0, 40)
    towns = [hotspots(pd.DataFrame({"issues": rng.poisson(0.03 * length_m), "scoped_m": length_m})) for _ in range(300)]
    assert np.mean([town["hotspot"].any() for town in towns]) <= 0.05 + 2.0 * np.sqrt(0.05 * 0.95 / 300)
