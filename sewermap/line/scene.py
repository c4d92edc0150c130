"""Everything that readings are placed by: laterals, their known points, and runs ready for the counter model."""

from dataclasses import dataclass, field

import pandas as pd

from sewermap.line.known_points import Ground, Laterals, known_points, laterals_from_lines
from sewermap.line.place_rules import PlaceRules
from sewermap.line.private_ends import with_private_ends
from sewermap.line.pushes import Pushes, pushes_of

OF_OWNER = ("lateral", "property", "street", "address")


@dataclass(frozen=True)
class Scene:
    """``runs`` in order of name with their ``pushes`` row by row; ``warnings``: lateral, field, value, reason; ``sketches``: what
    lines that no map drew might be, where they were asked for; ``nowhere``: lateral, property, street, address of those that have
    no line at all.
    """

    rules: PlaceRules
    laterals: Laterals
    points: pd.DataFrame
    runs: pd.DataFrame
    pushes: Pushes
    warnings: pd.DataFrame
    sketches: pd.DataFrame = field(default_factory=pd.DataFrame)
    nowhere: pd.DataFrame = field(default_factory=lambda: pd.DataFrame({name: pd.Series(dtype="str") for name in OF_OWNER}))


def scene_of(
    rules: PlaceRules, lateral_lines: pd.DataFrame, ground: Ground, runs: pd.DataFrame, *, metres_per_unit: float
) -> Scene:
    """The scene of current rows of lateral_lines, of parcels, buildings and referents (``ground``), and of runs."""
    laterals, warnings = laterals_from_lines(lateral_lines, ground, rules, metres_per_unit=metres_per_unit)
    points = known_points(laterals, ground.referents, rules.counter.fix_sigma_m)
    laterals = with_private_ends(laterals, points)
    runs = runs.sort_values("run", ignore_index=True)
    return Scene(rules, laterals, points, runs, pushes_of(runs, laterals, points), warnings)


def with_push(observations: pd.DataFrame, scene: Scene) -> pd.DataFrame:
    """The observations of the scene's runs with ``push``, the row of their run."""
    push = pd.Index(scene.runs["run"]).get_indexer(observations["run"])
    known: pd.DataFrame = observations.assign(push=push)[push >= 0]
    return known
