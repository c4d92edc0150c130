"""Whether a warranty's line was looked at in time: the state of its check on a day, and what is left to look at.

``not yet``   the window opens later, and no run could count
``due``       the window is open and no day's runs passed enough of the stretch
``checked``   the runs of one day inside the window passed enough of it; stays so after the end
``lapsed``    the window is over and no day's runs did
"""

from datetime import date

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sewermap.history.warranty_rules import WarrantyRules
from sewermap.history.warranty_stretch import gaps_told, listed, pairs_on_lateral, reach_before, stretches
from sewermap.history.warranty_terms import day_of, days_of

CHECK_STATES = ("not yet", "due", "checked", "lapsed")
NOT_YET, DUE, CHECKED, LAPSED = range(4)
CHECKS = ("warranty", "state", "days_left", "checked_on", "checked_by", "looked_share", "left_to_look")
"""Columns of ``checked``."""

NEARLY = 1e-9
"""A share that is this little short of what is asked is rounding, not a stretch."""


def checked(
    warranties: pd.DataFrame, length_m: "pd.Series[float]", coverages: pd.DataFrame, as_of: date, rules: WarrantyRules
) -> pd.DataFrame:
    """The state of each warranty's check on a day, row by row, with the index of ``warranties``. The columns are ``CHECKS``.

    warranties: warranty, lateral, begins_on, check_from, check_by, from_measure_m, to_measure_m (as of ``in_force``).
    length_m: by lateral. coverages: run, lateral, ran_on, from_measure_m, to_measure_m (NaN: the run passed nothing).

    A run counts from the window's opening (and not before begins_on) to check_by, and not after ``as_of``; the runs of one day
    count together. checked_on: the first day that was enough, checked_by its runs on the stretch ("A-1, A-2"). days_left: to
    check_by, negative when it is past. looked_share: the best of a day in the window, 0 to 1 (NaN for an empty stretch).
    left_to_look: what that day left of the stretch where the check is due or lapsed, or why there is nothing to look at.
    """
    day, index, warranties = day_of(as_of), warranties.index, warranties.reset_index(drop=True)
    begins, check_from, check_by = (days_of(warranties[name]) for name in ("begins_on", "check_from", "check_by"))
    window = (np.maximum(check_from, begins), np.minimum(check_by, day))
    stretch = stretches(warranties, length_m)
    pieces = _pieces(warranties, stretch, coverages, window)
    days = _days_looked(pieces, stretch)
    enough = days[days["share"] >= rules.check_share - NEARLY]
    first = enough[~enough["warranty"].duplicated()]
    best = days.sort_values(["warranty", "share", "ran_on"], ascending=[True, False, True])
    best = best[~best["warranty"].duplicated()]
    done = np.zeros(len(warranties), dtype=bool)
    done[first["warranty"]] = True
    state = np.select([done, day < check_from, day <= check_by], [CHECKED, NOT_YET, DUE], LAPSED)
    empty = stretch["why"].notna().to_numpy()
    asked = np.isin(state, [DUE, LAPSED])
    at = np.arange(len(warranties))
    table = pd.DataFrame(
        {
            "warranty": warranties["warranty"].to_numpy(),
            "state": pd.Series(np.array(CHECK_STATES, dtype=object)[state], dtype="str"),
            "days_left": (check_by - day).astype("timedelta64[D]").astype(np.int64),
            "checked_on": first.set_index("warranty")["ran_on"].reindex(at),
            "checked_by": _runs_of(pieces, first, coverages).reindex(at),
            "looked_share": np.where(empty, np.nan, best.set_index("warranty")["share"].reindex(at, fill_value=0.0)),
            "left_to_look": _left(pieces, best, stretch, asked).reindex(at),
        },
        index=at,
    )
    return table.astype({"warranty": "str", "checked_by": "str", "left_to_look": "str"})[list(CHECKS)].set_axis(index)


def _pieces(
    warranties: pd.DataFrame,
    stretch: pd.DataFrame,
    coverages: pd.DataFrame,
    window: tuple[NDArray[np.datetime64], NDArray[np.datetime64]],
) -> pd.DataFrame:
    """What each run passed of each stretch in its window: warranty and run (rows), ran_on, from_m, to_m; sorted."""
    warranty, run = pairs_on_lateral(warranties["lateral"], coverages["lateral"])
    ran_on = days_of(coverages["ran_on"])[run]
    inside = (ran_on >= window[0][warranty]) & (ran_on <= window[1][warranty])
    warranty, run, ran_on = warranty[inside], run[inside], ran_on[inside]
    from_m = np.maximum(coverages["from_measure_m"].to_numpy(float)[run], stretch["from_m"].to_numpy(float)[warranty])
    to_m = np.minimum(coverages["to_measure_m"].to_numpy(float)[run], stretch["to_m"].to_numpy(float)[warranty])
    some = np.flatnonzero(from_m <= to_m)  # a piece of no length counts for a stretch that is a single place; NaN never does
    pieces = pd.DataFrame({"warranty": warranty, "run": run, "ran_on": ran_on, "from_m": from_m, "to_m": to_m})
    order = np.lexsort([to_m[some], from_m[some], ran_on[some], warranty[some]])
    return pieces.iloc[some[order]].reset_index(drop=True)


def _days_looked(pieces: pd.DataFrame, stretch: pd.DataFrame) -> pd.DataFrame:
    """The share of its stretch that was passed on each day: warranty, ran_on, share; in order of both."""
    by = ["warranty", "ran_on"]
    day = pieces.groupby(by, sort=False).ngroup().to_numpy().astype(np.int64)
    reach = reach_before(day, pieces["from_m"].to_numpy(float), pieces["to_m"].to_numpy(float))
    new_m = np.maximum(pieces["to_m"].to_numpy(float) - np.maximum(pieces["from_m"].to_numpy(float), reach), 0.0)
    days = pieces.loc[~pieces[by].duplicated(), by].reset_index(drop=True)
    looked_m = np.bincount(day, new_m, minlength=len(days))
    whole_m = (stretch["to_m"] - stretch["from_m"]).to_numpy(float)[days["warranty"].to_numpy()]
    share = np.ones(len(days))
    np.divide(looked_m, whole_m, out=share, where=whole_m > 0.0)
    return days.assign(share=np.minimum(share, 1.0))


def _runs_of(pieces: pd.DataFrame, first: pd.DataFrame, coverages: pd.DataFrame) -> "pd.Series[str]":
    """The names of the runs of each checked warranty's first day, by warranty (row)."""
    of_day = pieces.merge(first[["warranty", "ran_on"]], on=["warranty", "ran_on"])
    names = pd.DataFrame({"warranty": of_day["warranty"], "run": coverages["run"].to_numpy()[of_day["run"].to_numpy()]})
    return listed(names.drop_duplicates().sort_values(["warranty", "run"]).set_index("warranty")["run"])


def _left(pieces: pd.DataFrame, best: pd.DataFrame, stretch: pd.DataFrame, asked: NDArray[np.bool_]) -> "pd.Series[str]":
    """What the best day left to look at, by warranty (row), for those that are asked."""
    of_day = pieces.merge(best[["warranty", "ran_on"]], on=["warranty", "ran_on"])
    rows = stretch.where(pd.Series(asked))
    of_day = of_day[asked[of_day["warranty"].to_numpy()]]
    told = gaps_told(
        of_day["warranty"].to_numpy(np.int64), of_day["from_m"].to_numpy(float), of_day["to_m"].to_numpy(float), rows
    )
    return pd.concat([told, "nothing: " + rows["why"].dropna()]).astype("str")
