"""Clusters as issues: the sightings of each defect with people's words on them, named, and told as a story."""

import numpy as np
import pandas as pd
import sqlalchemy as sa

from etl.by_hand import with_words_of_people
from etl.naming import named
from sewermap.follow.following import Followed
from sewermap.follow.issue_rows import OF_SIGHTING, Story
from sewermap.line.scene import Scene
from sewermap.store import issues as kept_issues


def story_of(
    conn: sa.Connection, scene: Scene, placed: pd.DataFrame, followed: Followed, coverages: pd.DataFrame, works: pd.DataFrame
) -> Story:
    """The story of the laterals whose observations were ``placed`` (rows of placed_observations, row by row with ``followed``).

    Names that are new are recorded.
    """
    is_defect = (placed["role"] == "defect").to_numpy()
    match = followed.observations[is_defect].reset_index(drop=True)
    seen = placed.loc[is_defect, list(OF_SIGHTING)].reset_index(drop=True)
    seen = seen.assign(cluster=_each_alone(match["cluster"].to_numpy(np.int64)))
    for name in ("cost", "runner_up_cost", "runner_up"):
        seen[name] = match[name].to_numpy()
    joins, splits = kept_issues.words_of_people(conn)
    cluster, said = with_words_of_people(seen, joins, splits)
    seen = seen.assign(cluster=cluster, by_hand=pd.Series(said, dtype="str").where(said != ""))
    given = named(seen.rename(columns={"id": "observation_id"}), kept_issues.names(conn))
    kept_issues.record_names(conn, given.fresh)
    reasons = scene.runs.set_index("run")["reason"]
    looks = placed[(placed["role"] == "look").to_numpy()][["run", "kind", "measure_m", "to_measure_m"]]
    return Story(
        sightings=seen,
        coverages=coverages.assign(reason=coverages["run"].map(reasons)),
        looks=looks.reset_index(drop=True),
        works=works,
        names=given.names,
    )


def _each_alone(cluster: np.ndarray) -> np.ndarray:
    """Defects that could not be placed were matched with nothing: each stands alone."""
    alone = np.flatnonzero(cluster < 0)
    numbers = cluster.copy()
    numbers[alone] = int(cluster.max(initial=-1)) + 1 + np.arange(len(alone))
    return numbers
