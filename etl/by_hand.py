"""A person's word on matching: two issues are one, or an observation is no sighting of an issue. It wins over every recompute."""

import numpy as np
import pandas as pd
from numpy.typing import NDArray

WORD = ["issue", "who", "why"]


def with_words_of_people(
    sightings: pd.DataFrame, joins: pd.DataFrame, splits: pd.DataFrame
) -> tuple[NDArray[np.int64], NDArray[np.object_]]:
    """The clusters of sightings (columns id, cluster) after all that people said, and by row what was said, "" where nothing.

    ``joins``: founder_id, other_founder_id, issue, other_issue, who, why. ``splits``: observation_id, founder_id (of the issue it
    was split from), issue, who, why. Joins are followed through (A with B, B with C: all three are one); then observations that
    were split off their issue's founder stand alone.
    """
    cluster = sightings["cluster"].to_numpy(np.int64).copy()
    said = np.full(len(cluster), "", dtype=object)
    if joins.empty and splits.empty:
        return cluster, said
    row_of = {int(name): row for row, name in enumerate(sightings["id"].to_numpy())}
    known = row_of.keys()
    for one_id, other_id, issue, who, why in joins[["founder_id", "other_founder_id", *WORD]].to_numpy(object).tolist():
        if not {one_id, other_id} <= known:
            continue
        one, other = cluster[row_of[one_id]], cluster[row_of[other_id]]
        moved = cluster == other
        cluster[moved] = one
        said[moved] = f"joined to {issue} by {who}: {why}"
    free = int(cluster.max(initial=-1)) + 1
    for own_id, founder_id, issue, who, why in splits[["observation_id", "founder_id", *WORD]].to_numpy(object).tolist():
        if not {own_id, founder_id} <= known:
            continue
        own, founder = row_of[own_id], row_of[founder_id]
        if cluster[own] == cluster[founder]:
            cluster[own], free = free, free + 1
            said[own] = f"split from {issue} by {who}: {why}"
    return cluster, said
