"""Which observation of its run a picture shows: by the counter read in it, by the film's clock, or by order of time."""

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from etl.film_curve import seconds_of
from sewermap.units import METRES_PER_FOOT

NEAR_M = 0.15
"""How far a reading that was written down may be from the counter in the picture of the same place: half a foot, since readings
are rounded as they are written (common practice, no source)."""

SIGMAS = 3.0
CLOCK_S = 5.0
"""How far the clocks of camera and film may differ from picture to picture, once both are laid on one another."""

FEWEST_BY_CLOCK = 2
BY_ORDER = "it was joined to the observation at {reading} by the order of time alone; look whether that is right"


def metres(pictures: pd.DataFrame, unit: "pd.Series[str]") -> "pd.Series[float]":
    """Readings of pictures in metres; one without a unit is in that of its run (``unit``, index of ``pictures``)."""
    factor = unit.map({"ft": METRES_PER_FOOT, "m": 1.0})
    return pictures["reading_m"].fillna(pd.to_numeric(pictures["reading"], errors="coerce") * factor)


def by_reading(pictures: pd.DataFrame, observations: pd.DataFrame) -> pd.DataFrame:
    """Pairs of a picture and the observations whose readings are nearest to what it shows, and near: columns picture, of.

    ``pictures``: of_run, at_m, sigma_m. ``observations``: run, reading_m. Observations at one reading are all in one picture.
    """
    shown = pictures.loc[pictures["at_m"].notna(), ["of_run", "at_m", "sigma_m"]].rename_axis("picture").reset_index()
    seen = observations[observations["reading_m"].notna()].rename_axis("of").reset_index()
    pairs = shown.merge(seen[["of", "run", "reading_m"]], left_on="of_run", right_on="run")
    away = (pairs["at_m"] - pairs["reading_m"]).abs().round(6)
    reach = (SIGMAS * pairs["sigma_m"].fillna(0.0)).clip(lower=NEAR_M)
    nearest = away == away.groupby(pairs["picture"]).transform("min")
    return pairs.loc[nearest & (away <= reach), ["picture", "of"]]


def by_time(pictures: pd.DataFrame, observations: pd.DataFrame) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Pairs by the clock, and pairs by order alone, of pictures and observations that are left: columns picture, of.

    ``pictures``: of_run, taken_at. ``observations``: run, reading_m, kind, film_time. By the clock: one shift between the
    camera's clock and the film's lays two or more pictures on observations. By order: a run has as many pictures left as
    observations, and each picture its own time.
    """
    clock, order = [_NO_PAIRS], [_NO_PAIRS]
    for run, shown in pictures.groupby("of_run"):
        seen = observations[(observations["run"] == run).to_numpy(bool)]
        pairs = _by_clock(shown, seen)
        clock.append(pairs)
        order.append(_by_order(shown[~shown.index.isin(pairs["picture"])], seen[~seen.index.isin(pairs["of"])]))
    return pd.concat(clock), pd.concat(order)


_NO_PAIRS = pd.DataFrame({"picture": pd.Series(dtype="int64"), "of": pd.Series(dtype="int64")})


def _by_clock(shown: pd.DataFrame, seen: pd.DataFrame) -> pd.DataFrame:
    """The shift of clocks that joins most, if it joins two or more and no other shift joins as many otherwise."""
    taken, filmed = _seconds(shown["taken_at"]), seen["film_time"].map(seconds_of).to_numpy(float)
    shifts = (taken[:, None] - filmed[None, :]).ravel()
    at, of = (one.ravel() for one in np.indices((len(shown), len(seen))))
    there = np.flatnonzero(~np.isnan(shifts))
    there = there[np.argsort(shifts[there], kind="stable")]
    if len(there) < FEWEST_BY_CLOCK:
        return _NO_PAIRS
    last = np.searchsorted(shifts[there], shifts[there] + CLOCK_S, side="right")
    counts = last - np.arange(len(there))
    best = int(np.argmax(counts))
    chosen = there[best : last[best]]
    single = len(set(at[chosen])) == len(chosen) == len(set(of[chosen]))
    rivals = [set(there[start : last[start]].tolist()) for start in np.flatnonzero(counts == counts[best])]
    if len(chosen) < FEWEST_BY_CLOCK or not single or any(rival != set(chosen.tolist()) for rival in rivals):
        return _NO_PAIRS
    return pd.DataFrame({"picture": shown.index.to_numpy()[at[chosen]], "of": seen.index.to_numpy()[of[chosen]]})


def _by_order(shown: pd.DataFrame, seen: pd.DataFrame) -> pd.DataFrame:
    if not len(shown) or len(shown) != len(seen) or shown["taken_at"].isna().any() or shown["taken_at"].duplicated().any():
        return _NO_PAIRS
    filmed = seen["film_time"].map(seconds_of).astype(float)
    along = seen["reading_m"] if filmed.isna().any() else filmed
    if along.isna().any() or along.duplicated().any():
        return _NO_PAIRS
    first = shown.sort_values("taken_at").index.to_numpy()
    return pd.DataFrame({"picture": first, "of": along.sort_values().index.to_numpy()})


def _seconds(taken_at: "pd.Series[str]") -> NDArray[np.float64]:
    """Times as seconds, NaN where there is none."""
    times = pd.to_datetime(taken_at, format="ISO8601", errors="coerce")
    seconds = times.astype("datetime64[ms]").astype("int64").to_numpy(float) / 1000.0
    return np.where(times.isna(), np.nan, seconds)
