"""One lateral as it was placed last: its line, known points, runs, what they saw, and the points located on it."""

from dataclasses import dataclass, replace

import pandas as pd
import sqlalchemy as sa

from sewermap.history.kinds import Vocabulary, vocabulary
from sewermap.line.known_points import known_points, laterals_from_computed
from sewermap.line.located import Located, located_points
from sewermap.line.place_rules import rules_from_texts
from sewermap.line.pushes import pushes_of
from sewermap.line.scene import Scene, with_push
from sewermap.store import bulk, computed, recorded
from sewermap.store import tables as schema
from sewermap.store.scene import read_located, with_located_points
from sewermap.store.session import Store

_NO_WARNINGS = pd.DataFrame({"lateral": [], "field": [], "value": [], "reason": []})


@dataclass(frozen=True)
class LateralScene:
    """One lateral with all its runs (``scene``), what they saw (``observations``, each location once), its located points, the
    words of the place.
    """

    scene: Scene
    observations: pd.DataFrame
    located: Located
    vocabulary: Vocabulary


def scene_of_lateral(store: Store, conn: sa.Connection, line: pd.Series) -> LateralScene:
    """All of one lateral (``line``: its row of the computed table), by the counter's figures in force."""
    rules = recorded.rules(conn)
    place_rules = rules_from_texts(rules)
    place_rules = replace(place_rules, counter=computed.model_in_force(conn, place_rules))
    laterals = laterals_from_computed(line.to_frame().T.infer_objects(), store.metres_per_unit, place_rules)
    referents = current_rows(conn, schema.referents, schema.referents.c.lateral == line["lateral"])
    runs = current_rows(conn, schema.runs, schema.runs.c.lateral == line["lateral"]).sort_values("run", ignore_index=True)
    points = known_points(laterals, referents, place_rules.counter.fix_sigma_m)
    scene = Scene(place_rules, laterals, points, runs, pushes_of(runs, laterals, points), _NO_WARNINGS)
    of_its_runs = schema.observations.c.run.in_(sa.select(schema.runs.c.run).where(schema.runs.c.lateral == line["lateral"]))
    seen = with_push(current_rows(conn, schema.observations, of_its_runs), scene).reset_index(drop=True)
    seen = with_located_points(seen, store.crs)
    located = located_points(read_located(conn, store.crs, line["lateral"]), seen, scene)
    return LateralScene(scene, located.told_once(seen), located, vocabulary(rules.get("kinds")))


def current_rows(conn: sa.Connection, table: sa.Table, condition: sa.ColumnElement[bool]) -> pd.DataFrame:
    """Current rows of a recorded table that meet a condition, in the order in which they were recorded."""
    return bulk.read(conn, sa.select(table).where(condition, recorded.is_current(table)).order_by(table.c.id))
