"""One invented lateral of 40 m, its runs and what they saw, as recorded rows: for tests that need no database."""

import numpy as np
import pandas as pd
import shapely

from sewermap.history.kinds import vocabulary
from sewermap.line.known_points import Ground
from sewermap.line.place_rules import rules_from_texts
from sewermap.line.scene import Scene, scene_of, with_push
from sewermap.store import tables as schema

LINE = shapely.LineString([(0, 0), (0, 25), (9, 37)])
"""Its tie-in is at (0, 0), its building 40 m up the line."""
WORDS = vocabulary()
NO_WORKS = pd.DataFrame({column.name: [] for column in schema.works.c})


def rows(table, **columns) -> pd.DataFrame:
    """Rows in the shape of a table; what is not given is empty."""
    count = len(next(iter(columns.values()))) if columns else 0
    made = {}
    for column in table.c:
        values = columns.get(column.name, [None] * count)
        kind = {"TEXT": "str", "DATE": "datetime64[s]"}.get(str(column.type), "float64")
        made[column.name] = pd.Series(values, dtype=object if column.name == "geometry" else kind)
    return pd.DataFrame(made)


def one_pipe(runs: dict, points: dict | None = None, *, line=LINE, accuracy_m: float = 0.2) -> Scene:
    """The scene of one lateral L with these runs (columns of the table; run, unit and ran_on at least) and clean-outs."""
    count = len(runs["run"])
    given = {"lateral": ["L"] * count, **runs}
    known = {"lateral": ["L"] * len(points["name"]), "kind": ["clean-out"] * len(points["name"]), **points} if points else {}
    ground = Ground(rows(schema.parcels), rows(schema.buildings), rows(schema.referents, **known))
    lines = rows(schema.lateral_lines, lateral=["L"], property=["P"], map_accuracy_m=[accuracy_m], geometry=[line])
    return scene_of(rules_from_texts({}), lines, ground, rows(schema.runs, **given), metres_per_unit=1.0)


def seen(scene: Scene, **columns) -> pd.DataFrame:
    """Observations of a scene's runs, ready to be placed."""
    table = with_push(rows(schema.observations, **columns), scene).reset_index(drop=True)
    return table.assign(located_map_x=table["located_x"], located_map_y=table["located_y"])


def points(scene: Scene, **columns) -> pd.DataFrame:
    """Rows of located_points of lateral L, with their coordinates in the map's system."""
    count = len(columns["reading_m"])
    table = rows(schema.located_points, **{"lateral": ["L"] * count, "unit": ["m"] * count, **columns})
    assert scene.laterals.index_of(table["lateral"]).min() >= 0
    return table.assign(map_x=table["x"], map_y=table["y"])


def paid_out(way_m, rng: np.random.Generator, launch_sd: float = 0.15, scale_sd: float = 0.008) -> np.ndarray:
    """What a counter shows after so many metres of way: an error of the launch and of the scale of the run, and of noting."""
    way = np.asarray(way_m, float)
    return (way + rng.normal(0.0, launch_sd)) * (1.0 + rng.normal(0.0, scale_sd)) + rng.normal(0.0, 0.03, way.shape)
