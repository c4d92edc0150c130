"""What runs say of the property line by the change of material that they saw: in places where materials change there.

No circle: a run is placed for this by its launch and by fixes elsewhere, never by anything that it saw at the property line.
"""

from dataclasses import replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sewermap.line.boundary import combined
from sewermap.line.on_the_map import accuracy_of
from sewermap.line.places import place
from sewermap.line.private_ends import with_private_ends
from sewermap.line.property_line import MATERIAL_CHANGE, add_material_changes
from sewermap.line.scene import Scene


def with_material_changes(scene: Scene, observations: pd.DataFrame) -> Scene:
    """The scene with property lines that heed the changes of material among these observations, if the place's rule says so.

    ``observations`` (as in ``places.place``): of all runs, those at least that could fix a counter.
    """
    if not scene.rules.material_change_at_property_line:
        return scene
    table = scene.laterals.table.copy()
    conflicts = add_material_changes(table, material_changes(scene, observations))
    laterals = with_private_ends(replace(scene.laterals, table=table), scene.points)
    return replace(scene, laterals=laterals, warnings=pd.concat([scene.warnings, conflicts], ignore_index=True))


def material_changes(scene: Scene, observations: pd.DataFrame) -> pd.DataFrame:
    """Where runs saw the material change: lateral (row), measure_m, sigma_m, and by how many runs.

    A run that saw it change more than once tells nothing, unless it named one of them as the property line. The sigma holds
    what all runs on one drawn line share, once; runs that contradict each other widen it.
    """
    at_line = _at_the_line(scene, observations)
    is_change = (observations["kind"] == MATERIAL_CHANGE).to_numpy()
    unnamed = observations["referent"].isna().to_numpy()
    # Sightings of the line are no fixes here: what stays of them is their reading.
    rows = observations.assign(told=is_change & (unnamed | at_line), named=is_change & at_line)
    rows = rows[~at_line | is_change].reset_index(drop=True)
    rows["referent"] = rows["referent"].mask(rows["told"])
    places = place(rows, scene.pushes, scene.laterals, scene.points, scene.rules.counter).observations
    seen = rows[["push", "told", "named"]].join(places[["lateral", "measure_m", "sigma_m", "reason"]])
    launched_there = _at_border(scene, scene.pushes.table["lateral"], scene.runs["launch"])[seen["push"].to_numpy()]
    seen = seen[seen["told"] & seen["measure_m"].notna() & (seen["reason"] != "at end") & ~launched_there]
    seen = seen[_clear(seen)]
    lateral = seen["lateral"].to_numpy(np.int64)
    shared = _shared(scene, lateral, seen["measure_m"])
    own = np.sqrt(np.maximum(seen["sigma_m"].to_numpy(float) ** 2 - shared, scene.rules.counter.fix_sigma_m**2))
    found = combined(lateral, seen["measure_m"], own)
    rows_of = found["lateral"].to_numpy(np.int64)
    sigma = np.sqrt(found["sigma_m"].to_numpy(float) ** 2 + _shared(scene, rows_of, found["measure_m"]))
    return found[["lateral", "measure_m"]].assign(sigma_m=sigma, runs=found["statements"])


def _shared(scene: Scene, lateral: NDArray[np.int64], measure_m: pd.Series) -> NDArray[np.float64]:
    """The variance (N,) that all runs on one line share there."""
    accuracy = accuracy_of(scene.laterals, lateral, measure_m.to_numpy(float))
    return np.asarray(scene.rules.counter.map_shared * accuracy**2)


def _at_the_line(scene: Scene, observations: pd.DataFrame) -> NDArray[np.bool_]:
    """Observations that say they are at the property line: by their kind, or by the name of a point of that kind."""
    lateral = scene.pushes.table["lateral"].take(observations["push"].to_numpy())
    named = _at_border(scene, lateral, observations["referent"])
    by_kind = observations["referent"].isna().to_numpy() & (observations["kind"] == "property line").to_numpy()
    return np.asarray(named | by_kind, dtype=bool)


def _at_border(scene: Scene, lateral: pd.Series, name: pd.Series) -> NDArray[np.bool_]:
    """Which of these names of points mean the property line of their lateral (row)."""
    border = scene.points[(scene.points["kind"] == "property line").to_numpy()][["lateral", "name"]]
    names = name.str.casefold().fillna("").to_numpy(object)
    wanted = pd.MultiIndex.from_arrays([lateral.to_numpy(), names])
    return np.asarray(wanted.isin(pd.MultiIndex.from_frame(border)) | (names == "property line"), dtype=bool)


def _clear(seen: pd.DataFrame) -> NDArray[np.bool_]:
    """One change a run: the one it named as the line, else its only one."""
    by_run = seen.groupby("push")
    changes, named = by_run["told"].transform("sum").to_numpy(), by_run["named"].transform("sum").to_numpy()
    return np.asarray(np.where(named > 0, (named == 1) & seen["named"].to_numpy(), changes == 1), dtype=bool)
