"""The points located from above of one lateral: how far each lies off the line, and whether it fixed a counter."""

from typing import Any

import numpy as np
import pandas as pd
import sqlalchemy as sa

from sewermap.answers.lateral_scene import LateralScene, scene_of_lateral
from sewermap.line import counter
from sewermap.line.located import with_heads
from sewermap.line.pushes import counter_fixes, counter_runs
from sewermap.line.rollback import rolled_back, second_pushes
from sewermap.plain import records
from sewermap.store.session import Store

OF_POINT = (
    "reading", "unit", "run", "x", "y", "sigma_m", "measure_m", "off_line_m", "left_or_right", "used", "why_not", "said_by",
)  # fmt: skip
SET_ASIDE = "set aside as a fix, for the run's other fixes contradict it"
OTHERWISE = "what was seen there is a known point, which fixes the counter"
_TOUCHING_M = 1e-6


def located(store: Store, conn: sa.Connection, line: pd.Series) -> list[dict[str, Any]]:
    """All located points of a lateral (``line``: its computed row), in order of measure: reading, unit, run, x and y (map CRS),
    sigma_m, measure_m (of the foot on the line), off_line_m (distance from the line, metres), left_or_right (of the line, as one
    looks from the tie-in), used (it fixed the counter of its run), why_not, said_by (``located`` or ``observations``).
    """
    of = scene_of_lateral(store, conn, line)
    points = of.located.table
    if not len(points):
        return []
    used, why_not = _used(of)
    off_m = points["off_line_m"].to_numpy(float)
    told = points.assign(
        x=points["map_x"],
        y=points["map_y"],
        off_line_m=np.abs(off_m),
        left_or_right=pd.Series(np.where(off_m > 0.0, "left", "right"), index=points.index, dtype="str"),
        used=used,
        why_not=pd.Series(why_not, index=points.index, dtype="str").where(~used),
    )
    return records(told.sort_values(["measure_m", "said_by", "row"], kind="stable")[list(OF_POINT)])


def _used(of: LateralScene) -> tuple[np.ndarray, np.ndarray]:
    """Of each point whether it fixed a counter, and why not."""
    points, rows = of.located.table, with_heads(of.observations, of.located.heads())
    scene, moved = second_pushes(of.scene, rows, rolled_back(of.scene, rows))
    model, rule = scene.rules.counter, scene.rules.material_change_at_property_line
    fixes, fixed, _ = counter_fixes(moved, scene.pushes, scene.laterals, scene.points, model, material_rule=rule)
    verdict = counter.calibrate(counter_runs(scene.pushes, scene.laterals), fixes, model).verdict
    able = (points["problem"] == "").to_numpy(bool)
    is_head = able & (points["said_by"] == "located").to_numpy(bool)
    row = points["row"].to_numpy(np.int64).copy()
    row[is_head] = len(of.observations) + np.arange(int(is_head.sum()))
    of_fix = pd.Series(np.arange(len(fixed)), index=fixed).reindex(row).fillna(-1).to_numpy(np.int64)
    by_itself = np.abs(np.append(fixes.measure_m, np.nan)[of_fix] - points["measure_m"].to_numpy(float)) < _TOUCHING_M
    aside = np.append(verdict.set_aside, False)[of_fix]
    why_not = points["problem"].to_numpy(object).copy()
    why_not[able & ~by_itself], why_not[able & by_itself & aside] = OTHERWISE, SET_ASIDE
    return able & by_itself & ~aside, why_not
