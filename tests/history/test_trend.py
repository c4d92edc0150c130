"""Growth as a range: against scipy, against known truth, and in words that promise nothing."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from sewermap.history.trend import DAYS_A_YEAR, SHARE, student_t, trend, trend_in_words

DAYS = pd.to_datetime(["2021-05-03", "2022-01-10", "2023-07-21", "2024-02-29", "2026-11-02"])


def seen(issue: str, sizes: list[float], guess: float = np.nan, days=DAYS) -> pd.DataFrame:
    """Sightings of one issue, one a day."""
    return pd.DataFrame({"issue": issue, "ran_on": days[: len(sizes)], "size": sizes, "guess": guess})


@pytest.mark.parametrize("share", [0.5, 0.9, 0.95, 0.999])
def test_student_t_is_scipys(share) -> None:
    """scipy.stats.t.ppf, for 1 to 60 and 1000 degrees of freedom."""
    for freedom in (*range(1, 61), 1000):
        assert student_t(freedom, share) == pytest.approx(stats.t.ppf(0.5 + share / 2.0, freedom), rel=1e-9)


def test_student_t_is_the_tables() -> None:
    """Tables in any book on statistics (from memory): 12.706, 4.303, 3.182, 2.776, 2.571 hold 95 % at 1 to 5 degrees."""
    assert [round(student_t(freedom, 0.95), 3) for freedom in range(1, 6)] == [12.706, 4.303, 3.182, 2.776, 2.571]


@settings(deadline=None, max_examples=40)
@given(st.lists(st.floats(0.0, 100.0), min_size=3, max_size=5), st.sampled_from([0.8, 0.9, 0.95]))
def test_slope_and_range_are_scipys(sizes, share) -> None:
    """Without a guess's error: scipy.stats.linregress, slope ± t · standard error."""
    row = trend(seen("I", sizes), share=share).iloc[0]
    years = (DAYS[: len(sizes)] - DAYS[0]).days.to_numpy() / DAYS_A_YEAR
    line = stats.linregress(years, sizes)
    error = 0.0 if np.ptp(sizes) == 0.0 else line.stderr  # which scipy does not tell of sizes that are all the same
    reach = stats.t.ppf(0.5 + share / 2.0, len(sizes) - 2) * error
    assert row["growth"] == pytest.approx(line.slope, abs=1e-7)
    assert row["low"] == pytest.approx(line.slope - reach, rel=1e-5, abs=1e-5)
    assert row["high"] == pytest.approx(line.slope + reach, rel=1e-5, abs=1e-5)


def test_the_range_holds_the_true_growth_as_often_as_it_says() -> None:
    """2,000 issues that grow by 12 a year, guessed with sigma 7, three to five times: 90 % of ranges hold 12, or a few more."""
    rng = np.random.default_rng(8)
    count = rng.integers(3, 6, 2000)
    issue = np.repeat(np.arange(2000), count)
    day = np.arange(len(issue)) - np.repeat(np.cumsum(count) - count, count)
    ran_on = DAYS[day]
    size = 12.0 * (ran_on - DAYS[0]).days.to_numpy() / DAYS_A_YEAR + rng.normal(0.0, 7.0, len(issue))
    table = pd.DataFrame({"issue": issue, "ran_on": ran_on, "size": size, "guess": np.nan})
    held = [((rows["low"] <= 12.0) & (rows["high"] >= 12.0)).mean() for rows in (trend(table), trend(table.assign(guess=7.0)))]
    assert held[0] == pytest.approx(SHARE, abs=0.02)
    assert held[1] >= SHARE - 0.02


def test_guesses_on_a_line_are_no_proof() -> None:
    """10, 20, 30 in three years lie on a line by luck: the range is never narrower than the guess's error makes it."""
    days = pd.to_datetime(["2021-01-01", "2022-01-01", "2023-01-01"])
    row = trend(seen("I", [10.0, 20.0, 30.0], 7.0, days)).iloc[0]
    # Sigma of the slope is 7 / sqrt(1 + 0 + 1); t at one degree of freedom and 90 % is 6.314 (tables).
    assert row["sigma"] == pytest.approx(7.0 / np.sqrt(2.0), rel=1e-3)
    assert row["high"] - row["growth"] == pytest.approx(6.314 * 7.0 / np.sqrt(2.0), rel=2e-3)
    bare = trend(seen("I", [10.0, 20.0, 30.0], np.nan, days)).iloc[0]
    assert bare["high"] - bare["low"] < row["high"] - row["low"]


def test_two_sightings_tell_nothing() -> None:
    """Fewer than three sizes, or all on one day: no row."""
    one_day = DAYS[[0, 0, 0]]
    rows = [
        seen("A", [1.0, 2.0]),
        seen("B", [1.0, np.nan, 2.0]),
        seen("C", [1.0, 2.0, 3.0], days=one_day),
        seen("D", [1.0, 2.0, 4.0]),
    ]
    assert trend(pd.concat(rows))["issue"].tolist() == ["D"]
    assert len(trend(seen("A", []))) == 0


def test_growth_starts_anew_after_a_work() -> None:
    """What was seen before the last work that should have mended it does not count; without a work all does."""
    sizes = [80.0, 90.0, 10.0, 20.0, 45.0]
    since = pd.Series({"I": pd.Timestamp("2023-01-01"), "J": pd.NaT})
    rows = trend(pd.concat([seen("I", sizes), seen("J", sizes)]), since).set_index("issue")
    assert rows["sightings"].to_dict() == {"I": 3, "J": 5}
    assert rows.loc["I", "first_on"] == DAYS[2]
    assert rows.loc["I", "growth"] > 0.0 > rows.loc["J", "growth"]


def test_issues_do_not_meddle_and_order_means_nothing() -> None:
    """Many issues at once, shuffled, are each as by itself."""
    parts = [
        seen(name, sizes, 3.0) for name, sizes in (("A", [5.0, 9.0, 30.0]), ("C", [9.0, 1.0, 4.0, 4.0]), ("B", [1.0, 2.0, 2.0]))
    ]
    together = trend(pd.concat(parts).sample(frac=1.0, random_state=3))
    apart = pd.concat([trend(part) for part in parts], ignore_index=True).sort_values("issue", ignore_index=True)
    pd.testing.assert_frame_equal(together, apart)


def test_words_say_a_range_and_no_day() -> None:
    """Growth, shrinking, or nothing that can be told yet; how many sightings over how long; never when it will fail."""
    rows = [seen("A", [5.0, 15.0, 40.0, 50.0]), seen("B", [90.0, 72.0, 40.0, 22.0]), seen("C", [10.0, 40.0, 10.0])]
    text = trend_in_words(trend(pd.concat(rows)), pd.Series(["percent of the bore"] * 3))
    assert text[0].startswith("grows by 15 to 17 percent of the bore a year (4 sightings over 2.8 years")
    assert text[1].startswith("shrinks by 21 to 26 percent of the bore a year")
    assert text[2].startswith("no growth can be told yet: between −") or text[2].startswith(
        "no growth can be told yet: between -"
    )
    assert not text.str.contains("20[0-9][0-9]|fail", regex=True).any()
