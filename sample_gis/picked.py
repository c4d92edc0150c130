"""Which sightings have a picture, and what a crew calls it."""

import numpy as np
import pandas as pd

from sample_gis.bores import KIND

FOLDER = "pictures"
"""Beside a crew's logs; names in the logs start here."""

SHOWN = (KIND, "roots", "crack", "open crack", "offset joint", "standing water", "grease", "infiltration")


def picture_names(observations: pd.DataFrame, runs: pd.DataFrame, count: int, rng: np.random.Generator) -> pd.Series:
    """A name for ``count`` of the observations, as a crew writes it in its log; None for the others.

    Cross-bores first, then of each kind in turn, of different runs: what a check found new and late is preferred.
    """
    seen = observations[observations["kind"].isin(SHOWN)]
    run = runs.iloc[seen["run"].to_numpy(np.int64)]
    fresh = (run["reason"] == "check").to_numpy() & (seen["true_state"] == "new").to_numpy()
    seen = seen.assign(fresh=fresh, ran_on=run["ran_on"].to_numpy(), chance=rng.random(len(seen)))
    seen = seen.sort_values(["fresh", "ran_on", "chance"], ascending=[False, False, True]).drop_duplicates("run")
    turn = seen.groupby("kind").cumcount()
    order = np.lexsort([seen["chance"], turn, (seen["kind"] != KIND)])
    rows = seen.index[order[:count]]
    number = (observations.groupby("run").cumcount() + 1).astype(str)
    names = runs["name"].to_numpy(object)[observations["run"].to_numpy(np.int64)]
    name = FOLDER + "/" + pd.Series(names, index=observations.index).str.replace(" ", "-") + "-" + number + ".png"
    return name.astype(object).where(observations.index.isin(rows), None)
