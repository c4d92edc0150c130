"""What is a fix: an observation whose measure is known by other means than the counter.

A fix is an observation that passes a named referent; one of the kinds property line, tie-in and building even when no
referent is named; a material change where the place's rule says that materials change at the property line; and one whose
head was located from above, in map coordinates near the line.
"""

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sewermap.line.known_points import ALWAYS_KNOWN, CONFLICT_SIGMAS, Laterals
from sewermap.line.on_the_map import accuracy_of, across_of
from sewermap.line.reference import measure_of


def fixes_of(
    observations: pd.DataFrame,
    laterals: Laterals,
    points: pd.DataFrame,
    *,
    fix_sigma_m: float,
    material_change_at_property_line: bool,
    map_share: float = 1.0,
) -> pd.DataFrame:
    """Which observations are fixes, and where.

    ``observations``: columns lateral (row of ``laterals``), kind, referent, located_map_x and located_map_y (map CRS, empty
    where the head was not located), and if there is one located_sigma_m (how well it was; empty: ``fix_sigma_m``). ``points``: of
    ``known_points``. Returns, row by row with the observations: measure_m and sigma_m (empty where it is no fix; sigma with the
    line's map accuracy in it, or with ``map_share`` of its variance), and ``problem`` where something that was meant as a fix
    cannot be one.
    """
    names = _point_names(observations, material_change_at_property_line=material_change_at_property_line)
    wanted = pd.DataFrame({"lateral": observations["lateral"].to_numpy(), "name": names.to_numpy()})
    found = wanted.merge(points[["lateral", "name", "measure_m", "sigma_m"]], on=["lateral", "name"], how="left")
    measure, sigma = found["measure_m"].to_numpy(float).copy(), found["sigma_m"].to_numpy(float).copy()
    problem = np.full(len(observations), "", dtype=object)
    named = observations["referent"].notna().to_numpy()
    unknown = named & np.isnan(measure)
    problem[unknown] = "no known point of this lateral is called so; the counter is not fixed here"
    _use_located(observations, laterals, measure, sigma, problem, fix_sigma_m)
    accuracy = accuracy_of(laterals, observations["lateral"].to_numpy(np.int64), measure) * np.sqrt(map_share)
    return pd.DataFrame({"measure_m": measure, "sigma_m": np.hypot(sigma, accuracy), "problem": problem})


def located_sigma_m(observations: pd.DataFrame, fix_sigma_m: float) -> NDArray[np.float64]:
    """How well each head was located (N,), metres: as its ``located_sigma_m`` says, else ``fix_sigma_m``."""
    if "located_sigma_m" not in observations:
        return np.full(len(observations), fix_sigma_m)
    given = observations["located_sigma_m"].to_numpy(float)
    return np.where(np.isnan(given), fix_sigma_m, given)


def _point_names(observations: pd.DataFrame, *, material_change_at_property_line: bool) -> pd.Series:
    """The name of the known point that each observation passes, empty where none."""
    kinds = observations["kind"]
    by_kind = kinds.where(kinds.isin(ALWAYS_KNOWN))
    if material_change_at_property_line:
        by_kind = by_kind.mask(kinds == "material change", "property line")
    return observations["referent"].str.casefold().where(observations["referent"].notna(), by_kind)


def _use_located(
    observations: pd.DataFrame,
    laterals: Laterals,
    measure: NDArray[np.float64],
    sigma: NDArray[np.float64],
    problem: NDArray[np.object_],
    fix_sigma_m: float,
) -> None:
    """A located head fixes the counter at its foot on the line, unless it lies further off than both may be wrong."""
    xy = observations[["located_map_x", "located_map_y"]].to_numpy(float)
    located = np.flatnonzero(np.isfinite(xy).all(axis=1) & np.isnan(measure))
    if not len(located):
        return
    lateral = observations["lateral"].to_numpy()[located]
    foot, off_line_m = measure_of(laterals.lines, lateral, xy[located])
    own_m = located_sigma_m(observations, fix_sigma_m)[located]
    allowed_m = CONFLICT_SIGMAS * np.hypot(own_m, across_of(laterals, lateral, foot))
    near = off_line_m <= allowed_m
    measure[located[near]], sigma[located[near]] = foot[near], own_m[near]
    problem[located[~near]] = [
        f"the head was located {distance:.1f} m away from the line, too far to fix the counter by it"
        for distance in off_line_m[~near]
    ]
