"""Observations placed by all that is known: each run by its own fixes, then the runs of a lateral together."""

from dataclasses import replace

import numpy as np
import pandas as pd

from sewermap.follow.following import Followed, follow
from sewermap.follow.joined_places import joined_places
from sewermap.history.kinds import Vocabulary
from sewermap.line.located import with_heads
from sewermap.line.places import Places, place
from sewermap.line.pushes import counter_fixes
from sewermap.line.rollback import as_one_run, rolled_back, second_pushes
from sewermap.line.scene import Scene
from sewermap.line.unit_doubt import unit_doubts


def placed_together(
    scene: Scene, observations: pd.DataFrame, works: pd.DataFrame, vocabulary: Vocabulary, heads: pd.DataFrame | None = None
) -> tuple[Places, Followed]:
    """Places of observations (as in ``places.place``), and what they were matched with.

    The counter's figures are those of the scene's rules. A lateral that one run alone looked at is placed by that run. ``heads``
    (``Located.heads``) fix counters without being observations. What a run saw after its counter rolled back is placed as a
    second push; runs whose unit is doubted are named.
    """
    rows = with_heads(observations, heads)
    found = rolled_back(scene, rows)
    pushed, moved = second_pushes(scene, rows, found)
    material_rule = pushed.rules.material_change_at_property_line
    alone = place(moved, pushed.pushes, pushed.laterals, pushed.points, pushed.rules.counter, material_rule=material_rule)
    followed = follow(pushed, moved, works, vocabulary)
    joined = joined_places(alone, followed, pushed, moved)
    doubts = _units(scene, rows, alone)
    warnings = pd.concat(
        [
            _as_recorded(joined.warnings, rows, (len(observations), len(scene.runs)), found),
            _told(found, "run"),
            _told(doubts, "unit"),
        ],
        ignore_index=True,
    )
    coverages = _noted(as_one_run(joined.coverages, found), doubts)
    seen, count = slice(len(observations)), len(scene.runs)
    return (
        Places(joined.observations[seen], coverages, warnings),
        replace(followed, observations=followed.observations[seen], runs=followed.runs[:count]),
    )


def _units(scene: Scene, rows: pd.DataFrame, alone: Places) -> pd.DataFrame:
    """The runs whose unit is doubted: push, note."""
    model, rule = scene.rules.counter, scene.rules.material_change_at_property_line
    fixes, _, _ = counter_fixes(rows, scene.pushes, scene.laterals, scene.points, model, material_rule=rule)
    placed = rows.assign(**{name: alone.observations[name].to_numpy() for name in ("measure_m", "sigma_m")})
    doubts = unit_doubts(scene.runs["unit"], scene.pushes, scene.laterals, fixes, placed, model)
    return doubts[["push", "note"]]


def _noted(coverages: pd.DataFrame, notes: pd.DataFrame) -> pd.DataFrame:
    """The coverages with these notes added to those of their runs."""
    rows = notes["push"].to_numpy(np.int64)
    told = coverages["notes"].to_numpy(object).copy()
    told[rows] = ["; ".join(filter(None, both)) for both in zip(told[rows], notes["note"], strict=True)]
    return coverages.assign(notes=told)


def _as_recorded(warnings: pd.DataFrame, rows: pd.DataFrame, counts: tuple[int, int], found: pd.DataFrame) -> pd.DataFrame:
    """The warnings told of observations and runs as they were recorded (``counts`` of both): what is said of a head is said of
    its run.
    """
    observations, runs = counts
    row, push = warnings["row"].to_numpy(np.int64), warnings["push"].to_numpy(np.int64)
    runs_and_none = np.concatenate([np.arange(runs), found["push"].to_numpy(np.int64), [-1]])
    of_head = row >= observations
    readings_m = rows["reading_m"].to_numpy(float)[row[of_head]]
    reason = warnings["reason"].to_numpy(object).copy()
    reason[of_head] = [
        f"the head located at {metres:.2f} m of its counter: {why}"
        for metres, why in zip(readings_m, reason[of_head], strict=True)
    ]
    return warnings.assign(
        row=np.where(of_head, -1, row),
        push=np.where(of_head, rows["push"].to_numpy(np.int64)[row], runs_and_none[push]),
        field=np.where(of_head, "run", warnings["field"]),
        reason=reason,
    )


def _told(notes: pd.DataFrame, field: str) -> pd.DataFrame:
    """Notes on runs (push, note) as warnings."""
    return pd.DataFrame({"row": -1, "push": notes["push"], "field": field, "reason": notes["note"]})
