"""Places of laterals that several runs looked at: from the runs solved together, instead of each run for itself."""

import numpy as np
import pandas as pd

from sewermap.follow.following import Followed
from sewermap.line.on_the_map import on_the_map, side_sigma
from sewermap.line.places import Places
from sewermap.line.scene import Scene

SET_ASIDE = "set aside as a fix"


def joined_places(places: Places, followed: Followed, scene: Scene, observations: pd.DataFrame) -> Places:
    """The places with what the joint solution says of laterals with two runs or more; one alone has nothing to be joined to.

    ``observations``: those placed, row by row, with kind.
    """
    pushes, laterals = scene.pushes, scene.laterals
    able = (pushes.problem == "") & places.coverages["to_measure_m"].notna().to_numpy()
    of_run = pushes.table["lateral"].to_numpy()
    runs = np.bincount(of_run[able], minlength=len(laterals.table) + 1)
    several = np.append(runs[: len(laterals.table)] > 1, False)
    alone = places.observations
    lateral = alone["lateral"].to_numpy()
    together = several[lateral] & followed.observations["measure_m"].notna().to_numpy()
    unplaced = several[lateral] & ~together & (followed.observations["reason"] != "").to_numpy()
    columns = {
        name: np.where(unplaced, np.nan, np.where(together, followed.observations[name], alone[name]))
        for name in ("measure_m", "sigma_m", "to_measure_m")
    }
    reason = np.where(together | unplaced, _reasons(alone["reason"], followed.observations["reason"]), alone["reason"])
    share = followed.observations["line_share"].to_numpy()
    spread, kind = side_sigma(laterals, lateral, columns["sigma_m"], share), observations["kind"]
    table = on_the_map(laterals, lateral, columns["measure_m"], columns["sigma_m"], side_sigma_m=spread, kind=kind)
    table = table.assign(to_measure_m=columns["to_measure_m"], reason=reason)
    return Places(table, _coverages(places.coverages, followed.runs, several[of_run]), _warnings(places.warnings, table))


def _reasons(alone: pd.Series, joint: pd.Series) -> pd.Series:
    """The joint solution's reasons; that an observation was set aside as a fix stays said."""
    aside = alone.str.endswith(SET_ASIDE)
    return joint.where(~aside, joint.where(joint == "", joint + "; ") + SET_ASIDE)


def _coverages(alone: pd.DataFrame, runs: pd.DataFrame, several: np.ndarray) -> pd.DataFrame:
    known = several & alone["to_measure_m"].notna().to_numpy() & runs["to_measure_m"].notna().to_numpy()
    notes = alone["notes"].to_numpy(object).copy()
    shifted = known & (np.abs(runs["shifted_m"].fillna(0.0).to_numpy()) > 0.0)
    notes[shifted] = [
        "; ".join(filter(None, [note, f"the other runs put this one {metres:+.1f} m along the line"]))
        for note, metres in zip(notes[shifted], runs["shifted_m"].to_numpy()[shifted], strict=True)
    ]
    columns = {name: np.where(known, runs[name], alone[name]) for name in ("from_measure_m", "to_measure_m")}
    return alone.assign(**columns, notes=notes)


def _warnings(told: pd.DataFrame, table: pd.DataFrame) -> pd.DataFrame:
    """Warnings of readings as they stand now; those of runs and referents stay."""
    reason = table["reason"].to_numpy(object)
    rows = np.flatnonzero((reason != "") & (reason != "at end"))
    of_readings = pd.DataFrame({"row": rows, "push": -1, "field": "reading", "reason": reason[rows]})
    return pd.concat([of_readings, told[told["field"] != "reading"]], ignore_index=True)
