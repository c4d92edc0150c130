"""Names of issues: given once, recorded with the sighting that founded them, and kept by whatever cluster holds the founder."""

from dataclasses import dataclass

import numpy as np
import pandas as pd


@dataclass(frozen=True)
class Named:
    """``names``: by cluster (its index), the issue it is called. ``fresh``: names to record: issue, lateral, founder_id."""

    names: pd.Series
    fresh: pd.DataFrame


def named(members: pd.DataFrame, known: pd.DataFrame) -> Named:
    """Each cluster's name: the oldest whose founder it holds, else a new one.

    ``members``: one row a sighting with cluster, lateral, observation_id, observation, ran_on, measure_m. ``known``: recorded
    names in the order in which they were given: issue, lateral, founder_id (of a current observation). New names are the
    lateral's with the next number, in the order of first sightings: never of rows, chance or a clock.
    """
    order = members.sort_values(["lateral", "ran_on", "measure_m", "observation"], kind="stable")
    founders = order.drop_duplicates("cluster").set_index("cluster")
    held = known.merge(members[["observation_id", "cluster"]], left_on="founder_id", right_on="observation_id")
    kept = held.drop_duplicates("cluster").set_index("cluster")["issue"]
    nameless = founders[~founders.index.isin(kept.index)]
    given = known.groupby("lateral").size().reindex(nameless["lateral"]).fillna(0).to_numpy(np.int64)
    number = given + nameless.groupby("lateral").cumcount().to_numpy(np.int64) + 1
    fresh = pd.DataFrame(
        {
            "issue": nameless["lateral"] + "/" + pd.Series(number, nameless.index).astype("str"),
            "lateral": nameless["lateral"],
            "founder_id": nameless["observation_id"],
        }
    )
    names = pd.concat([kept, fresh["issue"]]) if len(fresh) else kept
    return Named(names.astype("str"), fresh.reset_index(drop=True))
