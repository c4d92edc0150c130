"""Does the log say what the film shows? Readings of observations held against the counter of the film at their time."""

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from etl.film_curve import clock_of, curve_of, seconds_of
from etl.picture_matches import NEAR_M, SIGMAS
from sewermap.units import METRES_PER_FOOT

Numbers = NDArray[np.float64]

BEYOND_S = 5.0
"""How far before the first and after the last counter that was read a film still tells what it showed."""


def films_told(films: pd.DataFrame, runs: pd.DataFrame, observations: pd.DataFrame) -> pd.DataFrame:
    """Observations whose reading differs by more than three sigma (and half a foot) from the film's counter at their film_time.

    ``films``: of_run, counter (the curve), unit, sigma_m; ``runs``: unit by run; ``observations``: run, reading, reading_m,
    film_time. Columns: source_file, source_row, run, field, value, reason.
    """
    parts = [observations.iloc[:0].assign(field="", value="", reason="")]
    timed = observations[observations["film_time"].notna() & observations["reading_m"].notna()]
    of_run = films[films["counter"].notna() & films["of_run"].isin(runs.index)]
    # Of a run in several films nobody knows which of them a time is of.
    single = of_run[~of_run["of_run"].duplicated(keep=False)]
    single = single.assign(run_unit=single["of_run"].map(runs["unit"]), sigma_m=single["sigma_m"].fillna(0.0).astype(float))
    single["unit"] = single["unit"].fillna(single["run_unit"])
    for run, text, unit, run_unit, sigma in single[["of_run", "counter", "unit", "run_unit", "sigma_m"]].to_numpy(object):
        of_film = timed[(timed["run"] == run).to_numpy(bool)]
        parts.append(_differing(of_film, curve_of(text, unit), run_unit, sigma))
    return pd.concat(parts)


def _differing(seen: pd.DataFrame, curve: tuple[Numbers, Numbers], unit: str, sigma: float) -> pd.DataFrame:
    seconds, metres = curve
    at = seen["film_time"].map(seconds_of).to_numpy(float)
    if not len(seconds) or not len(seen):
        return seen.iloc[:0].assign(field="", value="", reason="")
    inside = (at >= seconds[0] - BEYOND_S) & (at <= seconds[-1] + BEYOND_S)
    shown = np.interp(at, seconds, metres)
    wrong = inside & (np.abs(shown - seen["reading_m"].to_numpy(float)) > max(SIGMAS * sigma, NEAR_M))
    odd: pd.DataFrame = seen[wrong]
    in_unit = shown[wrong] / (METRES_PER_FOOT if unit == "ft" else 1.0)
    reason = [
        f"the film shows {reading:.1f} {unit} at {clock_of(time)}, the log says {written}"
        for reading, time, written in zip(in_unit, at[wrong], odd["reading"], strict=True)
    ]
    return odd.assign(field="reading", value=odd["reading"], reason=pd.Series(reason, index=odd.index, dtype="str"))
