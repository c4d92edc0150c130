"""Observations placed by all that is known: each run by its own fixes, then the runs of a lateral together."""

import pandas as pd

from sewermap.follow.following import Followed, follow
from sewermap.follow.joined_places import joined_places
from sewermap.history.kinds import Vocabulary
from sewermap.line.places import Places, place
from sewermap.line.scene import Scene


def placed_together(
    scene: Scene, observations: pd.DataFrame, works: pd.DataFrame, vocabulary: Vocabulary
) -> tuple[Places, Followed]:
    """Places of observations (as in ``places.place``), and what they were matched with.

    The counter's figures are those of the scene's rules. A lateral that one run alone looked at is placed by that run.
    """
    alone = place(
        observations,
        scene.pushes,
        scene.laterals,
        scene.points,
        scene.rules.counter,
        material_rule=scene.rules.material_change_at_property_line,
    )
    followed = follow(scene, observations, works, vocabulary)
    return joined_places(alone, followed, scene, observations), followed
