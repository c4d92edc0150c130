"""Roll-ups by street: how much was looked at, what was found, what came back; and where it is worse than chance explains."""

import numpy as np
import pandas as pd
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]

PER_M = 100.0
ROOTS = "roots"
MENDED = "mended"
RARE = 0.05
"""A street is a hotspot when chance alone would bring any street of the town so far in fewer than this share of towns."""

TERMS, NOTHING = 10_000, 1e-17
COLUMNS = (
    "street", "laterals", "scoped", "never_scoped", "scoped_m", "issues", "ungraded", "worst_grade", "roots", "repeats",
    "repeat_rate", "per_100_m", "chance", "hotspot",
)  # fmt: skip


def streets(laterals: pd.DataFrame, coverages: pd.DataFrame, issues: pd.DataFrame) -> pd.DataFrame:
    """One row a street, in order of names; laterals without a street come last, under no name (NaN).

    laterals: lateral, street. coverages: lateral, from_measure_m, to_measure_m (NaN where a run passed nothing).
    issues: lateral, kind, grade (NaN unknown), state, repeat, and work (NaN where no work should have mended it).

    Columns: street, laterals, scoped (of them, some run passed some of it), never_scoped (share of laterals, 0 to 1),
    scoped_m (metres passed, each counted once), issues (open: all but mended), ungraded (of them), worst_grade (of open ones;
    NaN where none has a grade), roots (open), repeats, repeat_rate (share of repeats among issues that a work should have
    mended; NaN without any), per_100_m (open issues per 100 m scoped; NaN where nothing was scoped), chance, hotspot: see
    ``hotspots``.
    """
    seen_m = scoped_m(coverages)
    of_lateral = pd.Index(laterals["lateral"])
    table = pd.DataFrame({"scoped_m": seen_m.reindex(of_lateral).to_numpy(float), "laterals": 1})
    table["scoped"] = (table["scoped_m"] > 0.0).astype("int64")
    row = of_lateral.get_indexer(pd.Index(issues["lateral"]))
    columns = _issue_columns(issues)
    for name, values in columns.items():
        table[name] = np.bincount(row[row >= 0], values[row >= 0], minlength=len(laterals))
    by_street = table.groupby(laterals["street"].to_numpy(), dropna=False).sum()
    whole = ["laterals", "scoped", "issues", "ungraded", "roots", "repeats"]
    rolled = by_street.astype(dict.fromkeys(whole, "int64")).rename_axis("street").reset_index()
    rolled["street"] = rolled["street"].astype("str")
    still_open = (columns["issues"] > 0.0) & (row >= 0)
    street = laterals["street"].to_numpy()[row[still_open]]
    worst = pd.Series(issues["grade"].to_numpy(float)[still_open]).groupby(street, dropna=False).max()
    rolled["worst_grade"] = worst.reindex(by_street.index).to_numpy(float)
    rolled["never_scoped"] = 1.0 - rolled["scoped"] / rolled["laterals"]
    rolled["repeat_rate"] = rolled["worked_repeats"] / rolled["worked"].where(rolled["worked"] > 0.0)
    rolled["per_100_m"] = rolled["issues"] / rolled["scoped_m"].where(rolled["scoped_m"] > 0.0) * PER_M
    return hotspots(rolled)[list(COLUMNS)]


def hotspots(areas: pd.DataFrame) -> pd.DataFrame:
    """The areas (streets, blocks, any parts of a town) with columns chance and hotspot (bool) beside issues and scoped_m.

    chance: the probability that an area of this scoped length holds so many issues or more, if issues lay anywhere in the town
    with the same rate per metre: the upper tail of Poisson's distribution, issues of the whole town over its scoped metres.
    NaN where nothing was scoped. An area is a hotspot when 1 − (1 − chance)^areas is under 0.05: so rare that none of so many
    areas need have it by chance. Issues of one lateral come in company (age, pipe, trees), so this ranks; it proves no cause.
    """
    length_m, count = areas["scoped_m"].to_numpy(float), areas["issues"].to_numpy(float)
    known = length_m > 0.0
    rate = count[known].sum() / length_m[known].sum() if known.any() else 0.0
    chance = np.full(len(areas), np.nan)
    chance[known] = poisson_tail(count[known].astype(np.int64), rate * length_m[known])
    any_area = -np.expm1(known.sum() * np.log1p(-np.minimum(chance, 1.0 - 1e-12)))
    return areas.assign(chance=chance, hotspot=known & (any_area < RARE))


def poisson_tail(count: Whole, mean: Floats) -> Floats:
    """The probability of ``count`` or more where ``mean`` are expected (Poisson).

    >>> poisson_tail(np.array([0, 1, 3]), np.array([2.0, 2.0, 2.0])).round(4).tolist()  # 1, 1 − e⁻², 1 − 5 e⁻²
    [1.0, 0.8647, 0.3233]
    """
    count, mean = np.asarray(count, dtype=np.int64), np.maximum(np.asarray(mean, dtype=float), np.finfo(float).tiny)
    # The side of the distribution that does not hold the mean is summed from its largest term on, so nothing is lost.
    above = count >= mean
    nearest = np.where(above, count, np.maximum(count - 1, 0))
    log_factorial = np.concatenate([[0.0], np.cumsum(np.log(np.arange(1, nearest.max(initial=0) + 1)))])
    term, total = np.ones(len(count)), np.ones(len(count))
    for step in range(1, TERMS):
        term *= np.where(above, mean / (nearest + step), np.maximum(nearest + 1 - step, 0) / mean)
        total += term
        if (term <= total * NOTHING).all():
            break
    side = np.exp(nearest * np.log(mean) - mean - log_factorial[nearest]) * total
    return np.asarray(np.where(count == 0, 1.0, np.where(above, side, 1.0 - side)))


def scoped_m(coverages: pd.DataFrame) -> "pd.Series[float]":
    """Metres of each lateral that any run passed, each metre counted once, by lateral. Coverages that overlap are joined.

    >>> twice = {"lateral": ["A", "A", "A"], "from_measure_m": [0.0, 2.0, 8.0], "to_measure_m": [3.0, 5.0, 9.0]}
    >>> scoped_m(pd.DataFrame(twice)).to_dict()
    {'A': 6.0}
    """
    passed = coverages.dropna(subset=["from_measure_m", "to_measure_m"])
    passed = passed.astype({"to_measure_m": "float64"}).sort_values(["lateral", "from_measure_m", "to_measure_m"])
    reached = passed.groupby("lateral")["to_measure_m"].cummax().groupby(passed["lateral"]).shift()
    begins = np.fmax(passed["from_measure_m"].to_numpy(float), reached.to_numpy(float))
    new_m = np.maximum(passed["to_measure_m"].to_numpy(float) - begins, 0.0)
    return pd.Series(new_m, index=passed.index).groupby(passed["lateral"]).sum()


def _issue_columns(issues: pd.DataFrame) -> dict[str, Floats]:
    """What is counted of each issue, as 0 or 1."""
    still_open = issues["state"].ne(MENDED).to_numpy()
    repeat, worked = issues["repeat"].to_numpy(bool), issues["work"].notna().to_numpy()
    counted = {
        "issues": still_open,
        "ungraded": still_open & issues["grade"].isna().to_numpy(),
        "roots": still_open & issues["kind"].eq(ROOTS).to_numpy(),
        "repeats": repeat,
        "worked": worked,
        "worked_repeats": worked & repeat,
    }
    return {name: flags.astype(float) for name, flags in counted.items()}
