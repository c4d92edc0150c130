"""Runs written in the wrong unit: named where their readings fit the line only in the other one, and nobody else's."""

from dataclasses import replace
from functools import cache

import numpy as np
import pandas as pd
import pytest

from sample_gis.frames import frames
from sample_gis.generator import make_town
from sample_gis.settings import EASY, HARD
from sewermap.follow.together import placed_together
from sewermap.line.known_points import Ground
from sewermap.line.place_figures import figures_of_place
from sewermap.line.place_rules import rules_from_texts
from sewermap.line.places import place
from sewermap.line.pushes import counter_fixes
from sewermap.line.scene import Scene, scene_of, with_push
from sewermap.line.unit_doubt import unit_doubts
from tests.line.one_pipe import NO_WORKS, WORDS, one_pipe, seen

FOOT_M = 0.3048
"""International foot, exact (NIST Special Publication 811, appendix B)."""
FAR_M = 4.0
"""A fix so far from the launch is one at the far end."""


@cache
def town(name: str, seed: int) -> dict[str, pd.DataFrame]:
    """The tables of an invented town of 250 laterals."""
    return frames(make_town(seed, 250, {"easy": EASY, "hard": HARD}[name]))


def swapped(tables: dict[str, pd.DataFrame], which: np.ndarray) -> dict[str, pd.DataFrame]:
    """The town where the counters of these runs (rows) were written down in the other unit: each length as that unit has it."""
    runs, seen_rows = tables["runs"].copy(), tables["observations"].copy()
    times = np.ones(len(runs))
    in_feet = (runs["unit"] == "ft").to_numpy()
    times[which] = np.where(in_feet[which], 1.0 / FOOT_M, FOOT_M)
    runs.loc[which, "unit"] = np.where(in_feet[which], "m", "ft")
    for name in ("launch_reading_m", "end_reading_m", "lead_in_m"):
        runs[name] *= times
    of = pd.Series(times, index=runs["run"].to_numpy()).reindex(seen_rows["run"]).to_numpy()
    for name in ("reading_m", "to_reading_m"):
        seen_rows[name] *= of
    return {**tables, "runs": runs, "observations": seen_rows}


def named(tables: dict[str, pd.DataFrame]) -> tuple[set[str], Scene, pd.DataFrame]:
    """The runs whose unit is doubted, the scene by its own fixes' figures, and the most cable at which each run has a fix."""
    ground = Ground(tables["parcels"], tables["buildings"], tables["referents"])
    scene = scene_of(rules_from_texts({}), tables["lateral_lines"], ground, tables["runs"], metres_per_unit=1.0)
    rows = with_push(tables["observations"], scene).reset_index(drop=True)
    rows = rows.assign(located_map_x=rows["located_x"], located_map_y=rows["located_y"])
    model = figures_of_place(scene, rows)
    scene = replace(scene, rules=replace(scene.rules, counter=model))
    parts = scene.pushes, scene.laterals, scene.points, model
    fixes, _, _ = counter_fixes(rows, *parts, material_rule=False)
    places = place(rows, *parts).observations
    rows = rows.assign(measure_m=places["measure_m"], sigma_m=places["sigma_m"])
    doubts = unit_doubts(scene.runs["unit"], scene.pushes, scene.laterals, fixes, rows, model)
    farthest = pd.Series(np.abs(fixes.paid_m)).groupby(fixes.run).max().reindex(np.arange(len(scene.runs))).fillna(0.0)
    return set(scene.runs["run"].iloc[doubts["push"]]), scene, farthest.to_frame("paid_m").assign(run=scene.runs["run"])


@pytest.mark.parametrize("seed", [21, 22])
@pytest.mark.parametrize("name", ["easy", "hard"])
def test_no_run_of_a_town_is_named_without_cause(name: str, seed: int) -> None:
    """Runs badly zeroed, stopped short, on lines drawn badly: none of them fits only in the other unit."""
    assert named(town(name, seed))[0] == set()


@pytest.mark.parametrize("name", ["easy", "hard"])
def test_swapped_runs_are_named_and_no_others(name: str) -> None:
    """Of runs written in the wrong unit that passed a known point far from their launch, or ran beyond the line, 9 of 10 or more
    are named; and none of the others.
    """
    tables = town(name, 21)
    which = np.sort(np.random.default_rng(5).choice(len(tables["runs"]), len(tables["runs"]) // 12, replace=False))
    wrong = set(tables["runs"]["run"].iloc[which])
    found, scene, fixed = named(swapped(tables, which))
    assert found <= wrong
    table = scene.pushes.table
    room = np.where(
        table["direction"] > 0, scene.laterals.lines.length_m[table["lateral"]] - table["launch_m"], table["launch_m"]
    )
    beyond = (table["end_paid_m"] - room).to_numpy() > 1.5
    times = np.where(scene.runs["unit"] == "ft", 1.0 / FOOT_M, FOOT_M)
    can_be_told = set(table["run"][beyond | (fixed["paid_m"].to_numpy() * times > FAR_M)]) & wrong
    assert len(can_be_told) > 15
    assert len(found & can_be_told) >= 0.9 * len(can_be_told)


def told(unit: str, readings_m: list[float], kinds: list[str], *others: tuple[str, list[float], list[str]], **run) -> list[str]:
    """The notes of run A, and of others (unit, readings, kinds), all from the building on the line of 40 m."""
    logs = [(unit, readings_m, kinds), *others]
    names = "ABCD"[: len(logs)]
    columns = {name: [value] * len(logs) for name, value in run.items()}
    units = [log[0] for log in logs]
    scene = one_pipe({"run": list(names), "unit": units, "ran_on": ["2024-05-01"] * len(logs), **columns})
    rows = {
        "run": [name for name, log in zip(names, logs, strict=True) for _ in log[1]],
        "reading_m": [reading for log in logs for reading in log[1]],
        "kind": [kind for log in logs for kind in log[2]],
    }
    places, _ = placed_together(scene, seen(scene, **rows), NO_WORKS, WORDS)
    warnings = places.warnings[(places.warnings["field"] == "unit").to_numpy()]
    assert all(
        note in places.coverages["notes"].iloc[push] for push, note in zip(warnings["push"], warnings["reason"], strict=True)
    )
    return warnings["reason"].tolist()


FEET_AS_METRES = ["its readings fit the line only if they are feet, not metres: check the unit; nothing was converted"]
METRES_AS_FEET = ["its readings fit the line only if they are metres, not feet: check the unit; nothing was converted"]


def test_readings_beyond_the_line_in_metres_are_feet() -> None:
    """130 on a counter in metres, on a line of 40 m, is 130 ft."""
    assert told("m", [60.0, 100.0, 131.0], ["roots", "crack", "tie-in"]) == FEET_AS_METRES
    assert told("m", [60.0, 100.0, 120.0], ["roots", "crack", "hole"]) == FEET_AS_METRES


def test_a_line_passed_whole_in_a_third_of_its_length_was_metres() -> None:
    """The tie-in at 40 on a counter in feet, 12 m, on a line of 40 m."""
    assert told("ft", [3.0, 9.0, 40.0 * FOOT_M], ["roots", "crack", "tie-in"]) == METRES_AS_FEET


def test_other_runs_tell_where_no_fix_does() -> None:
    """Four things that another run saw, at a third of the way: no fix, no end, and still only metres fit."""
    true_m, kinds = [6.0, 14.0, 24.0, 33.0], ["roots", "crack", "hole", "deposits"]
    others = ("m", true_m, kinds), ("ft", true_m, kinds)
    third = [reading * FOOT_M for reading in true_m]
    assert told("ft", third, kinds, *others) == METRES_AS_FEET
    assert told("ft", true_m, kinds, *others) == []
    # Of two runs that contradict each other, nobody can say which is the wrong one.
    assert told("ft", third, kinds, others[0]) == []


def test_one_slip_of_the_pen_is_no_wrong_unit() -> None:
    """One reading past the line among others that fit, or a run of the wrong lateral a little too long: nothing is said."""
    assert told("m", [6.0, 14.0, 24.0, 104.0], ["roots", "crack", "hole", "deposits"]) == []
    fitting = ("m", [6.0, 14.0, 24.0], ["roots", "crack", "hole"])
    assert told("m", [6.0, 14.0, 24.0, 104.0], ["roots", "crack", "hole", "deposits"], fitting) == []


def test_nothing_is_converted() -> None:
    """The readings of a run in doubt are placed as they were written, or not at all."""
    scene = one_pipe({"run": ["A"], "unit": ["m"], "ran_on": ["2024-05-01"]})
    rows = seen(scene, run=["A"] * 3, reading_m=[20.0, 100.0, 131.0], kind=["roots", "crack", "hole"])
    places, _ = placed_together(scene, rows, NO_WORKS, WORDS)
    assert places.observations["measure_m"].notna().tolist() == [True, False, False]
    assert places.observations["measure_m"].iloc[0] == pytest.approx(20.0, abs=0.01)
