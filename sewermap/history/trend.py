"""How fast an issue grows: a range of its size per year, from three sightings or more; never a day on which it will fail.

Ordinary least squares of size over time with Student's t interval of the slope (any textbook of statistics). Crews guess
sizes, so the scatter about the line is never taken for smaller than the error of one guess: three guesses that happen to lie
on a line are no proof of it. Student's distribution for whole degrees of freedom: Abramowitz & Stegun, 26.7.3 and 26.7.4
(from memory; tested against scipy).
"""

from functools import lru_cache

import numpy as np
import pandas as pd
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]

FEWEST = 3
"""Two points always lie on a line: only a third tells how well."""

SHARE = 0.9
"""The range holds the true growth in this share of cases."""

DAYS_A_YEAR = 365.25
HALVINGS = 60


def trend(sightings: pd.DataFrame, since: "pd.Series | None" = None, share: float = SHARE) -> pd.DataFrame:
    """Growth of each issue's size.

    sightings: issue, ran_on, size (of one issue all in one unit), and guess: one sigma of a size as crews tell it (without the
    column, or NaN: the scatter alone counts). since: by issue, a day before which sightings do not count: the last work that
    should have mended it, after which growth starts anew.

    One row an issue with three sized sightings or more on at least two days, in order of the issues' names: issue, sightings,
    first_on, last_on, growth (size a year), sigma, low, high (the range that holds it in ``share`` of cases).

    >>> days = pd.to_datetime(["2023-01-01", "2024-01-01", "2025-01-01", "2026-01-01"])
    >>> seen = pd.DataFrame({"issue": "I1", "ran_on": days, "size": [10.0, 25.0, 30.0, 45.0], "guess": 7.0})
    >>> trend(seen)[["issue", "growth", "low", "high"]].round(1).values.tolist()
    [['I1', 11.0, 1.9, 20.1]]
    """
    rows = sightings[sightings["size"].notna()]
    if since is not None:
        begins = since.reindex(rows["issue"]).to_numpy("datetime64[s]")
        rows = rows[np.isnat(begins) | (rows["ran_on"].to_numpy("datetime64[s]") >= begins)]
    rows = rows.sort_values(["issue", "ran_on", "size"], kind="stable")
    code, names = pd.factorize(rows["issue"], sort=True)
    day = rows["ran_on"].to_numpy("datetime64[D]").astype(float)
    count = np.bincount(code, minlength=len(names))
    past = np.cumsum(count)  # rows are sorted by issue, then day
    first, last = past - count, past - 1
    enough = (count >= FEWEST) & (day[last] > day[first])
    slope, sigma = _slopes(code, (day - day[first][code]) / DAYS_A_YEAR, rows, count, enough)
    reach = sigma * _t_of(count[enough] - 2, share)
    ran_on = rows["ran_on"].to_numpy("datetime64[s]")
    return pd.DataFrame(
        {
            "issue": pd.Series(np.asarray(names)[enough], dtype=rows["issue"].dtype),
            "sightings": count[enough],
            "first_on": ran_on[first[enough]],
            "last_on": ran_on[last[enough]],
            "growth": slope,
            "sigma": sigma,
            "low": slope - reach,
            "high": slope + reach,
        }
    )


def trend_in_words(trends: pd.DataFrame, unit: "pd.Series[str]", share: float = SHARE) -> "pd.Series[str]":
    """One sentence for each row of ``trend``; ``unit`` says what its size is measured in, row by row.

    >>> days = pd.to_datetime(["2023-01-01", "2024-01-01", "2025-01-01", "2026-01-01"])
    >>> seen = pd.DataFrame({"issue": "I1", "ran_on": days, "size": [10.0, 25.0, 30.0, 45.0], "guess": 7.0})
    >>> trend_in_words(trend(seen), pd.Series(["percent of the bore"]))[0]
    'grows by 2 to 20 percent of the bore a year (4 sightings over 3.0 years; the range holds in 90 of 100 cases)'
    """
    low, high = trends["low"].round().to_numpy(), trends["high"].round().to_numpy()
    years = (trends["last_on"] - trends["first_on"]).dt.days.to_numpy() / DAYS_A_YEAR
    rows = zip(low, high, unit, trends["sightings"], years, strict=True)
    said = [
        f"{_said(*row[:3])} ({row[3]} sightings over {row[4]:.1f} years; the range holds in {share * 100.0:.0f} of 100 cases)"
        for row in rows
    ]
    return pd.Series(said, index=trends.index, dtype="str")


def _said(low: float, high: float, unit: str) -> str:
    if low > 0.0:
        return f"grows by {low:.0f} to {high:.0f} {unit} a year"
    if high < 0.0:
        return f"shrinks by {-high:.0f} to {-low:.0f} {unit} a year"
    return f"no growth can be told yet: between {low + 0.0:.0f} and {high + 0.0:.0f} {unit} a year"


def _slopes(code: Whole, years: Floats, rows: pd.DataFrame, count: Whole, enough: NDArray[np.bool_]) -> tuple[Floats, Floats]:
    """Slope and its sigma of each group that is large enough."""
    size = rows["size"].to_numpy(float)
    guess = rows["guess"].to_numpy(float) if "guess" in rows else np.zeros(len(rows))
    groups = len(count)
    of_years, of_size = (np.bincount(code, values, groups) / count for values in (years, size))
    years, size = years - of_years[code], size - of_size[code]
    spread, both = np.bincount(code, years**2, groups)[enough], np.bincount(code, years * size, groups)[enough]
    slope = both / spread
    line = np.zeros(groups)
    line[enough] = slope
    left = np.bincount(code, (size - line[code] * years) ** 2, groups)[enough]
    guessed = (np.bincount(code, np.nan_to_num(guess) ** 2, groups) / count)[enough]
    return slope, np.sqrt(np.maximum(left / (count[enough] - 2), guessed) / spread)


def _t_of(freedom: Whole, share: float) -> Floats:
    """Student's t that holds ``share`` of the distribution between −t and t, for each number of degrees of freedom."""
    known, where = np.unique(freedom, return_inverse=True)
    return np.array([student_t(int(one), share) for one in known], dtype=float)[where]


@lru_cache(maxsize=1024)
def student_t(freedom: int, share: float) -> float:
    """The t between −t and t of which Student's distribution with ``freedom`` (1, 2, …) degrees holds ``share`` (0 to 1).

    >>> round(student_t(1, 0.95), 3), round(student_t(10, 0.95), 3)  # any table: 12.706 and 2.228
    (12.706, 2.228)
    """
    low, high = 0.0, np.pi / 2.0
    for _ in range(HALVINGS):
        middle = (low + high) / 2.0
        low, high = (middle, high) if _held(middle, freedom) < share else (low, middle)
    return float(np.tan(low) * np.sqrt(freedom))


def _held(angle: float, freedom: int) -> float:
    """Share of Student's distribution within ±tan(angle)·√freedom: Abramowitz & Stegun 26.7.3 (odd), 26.7.4 (even)."""
    square = np.cos(angle) ** 2
    odd = freedom % 2
    steps = np.arange(1 + odd, freedom - 2, 2)
    series = 1.0 + np.cumprod(steps / (steps + 1.0) * square).sum()
    if not odd:
        return float(np.sin(angle) * series)
    return float(2.0 / np.pi * (angle + (np.sin(angle) * np.cos(angle) * series if freedom > 1 else 0.0)))
