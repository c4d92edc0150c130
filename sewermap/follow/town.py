"""The columns that register takes: runs with their launches, known points with their errors, readings with their fixes."""

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sewermap.follow.sorted_runs import Floats, Sorted, What, Whole, firsts
from sewermap.line.fixes import located_sigma_m
from sewermap.line.known_points import ALWAYS_KNOWN
from sewermap.line.on_the_map import accuracy_of
from sewermap.line.private_ends import ends_there
from sewermap.line.register import Town


def town_of(ready: Sorted, noting_m: float) -> tuple[Town, Whole, NDArray[np.bool_]]:
    """The town; of each observation in order the known point that it names (−1: none, or a located head); and which of the town's
    points are those where private ends.
    """
    point, points = _points_passed(ready, noting_m)
    laterals = len(ready.scene.laterals.table)
    order = np.argsort(points["lateral"].to_numpy(), kind="stable")
    place = np.full(len(points) + 1, -1)
    place[order] = np.arange(len(order))  # the last stays −1, so that −1 means −1
    run = ready.readings["run"].to_numpy(np.int64)
    fix_point, fix_m, fix_variance = _fixes(ready, point, points, noting_m)
    launched = _launch_points(ready)
    town = Town(
        run_first=ready.firsts(np.arange(len(ready.order))),
        reading_first=ready.firsts(run),
        point_first=firsts(points["lateral"].to_numpy(np.int64)[order], laterals),
        launch_m=ready.order["launch_m"].to_numpy(float),
        direction=ready.order["direction"].to_numpy(float),
        launch_variance=_launch_variance(ready, launched),
        launch_point=place[launched],
        point_variance=points["variance"].to_numpy(float)[order],
        run=run,
        paid_m=ready.readings["paid_m"].to_numpy(float),
        extra=ready.readings["seen"].to_numpy() < 0,
        fix_point=place[fix_point],
        fix_m=fix_m,
        fix_variance=fix_variance,
    )
    named = point[ready.rows]
    ends = np.zeros(len(points), bool)
    ends[: len(ready.scene.points)] = ends_there(ready.scene.points, ready.scene.laterals.table)
    return town, np.where(named < len(ready.scene.points), named, -1), ends[order]


def each_run_alone(town: Town) -> Town:
    """The same town where every launch and every fix has an error of its own, so that no run says anything of another."""
    none = len(town.point_variance)
    variance = np.append(town.point_variance, 0.0)
    of_launch, of_fix = (np.where(point < 0, none, point) for point in (town.launch_point, town.fix_point))
    return town._replace(
        launch_variance=town.launch_variance + variance[of_launch],
        launch_point=np.full(len(town.launch_point), -1),
        point_variance=np.zeros(none),
        fix_variance=town.fix_variance + variance[of_fix],
    )


def with_moved_points(town: Town, which: NDArray[np.bool_]) -> tuple[Town, Whole]:
    """The town where these of its points are drawn a metre further from the main, and the laterals that this can move."""
    moves = np.append(which, False)  # the last is for −1, no point
    moved = town._replace(
        fix_m=town.fix_m + moves[town.fix_point],
        launch_m=town.launch_m + moves[town.launch_point],
    )
    by_reading, by_launch = np.flatnonzero(moves[town.fix_point]), np.flatnonzero(moves[town.launch_point])
    laterals = (
        np.searchsorted(town.reading_first, by_reading, "right") - 1,
        np.searchsorted(town.run_first, by_launch, "right") - 1,
    )
    return moved, np.unique(np.concatenate(laterals))


def _point_names(ready: Sorted, rows: Whole) -> pd.Series:
    """The name of the known point that each of these observations passes."""
    observations = ready.observations.iloc[rows]
    kinds = observations["kind"]
    by_kind = kinds.where(kinds.isin(ALWAYS_KNOWN))
    if ready.scene.rules.material_change_at_property_line:
        by_kind = by_kind.mask(kinds == "material change", "property line")
    return observations["referent"].str.casefold().where(observations["referent"].notna(), by_kind)


def _points_passed(ready: Sorted, noting_m: float) -> tuple[Whole, pd.DataFrame]:
    """Of each observation the point that fixes it (−1: none, or set aside), and all points: lateral, measure_m, variance.

    The scene's known points come first; each located head is a point of its own. ``variance`` (m²) is the point's own, without
    what each run that passes it adds anew, and that part of the map's that it does not share with the whole line.
    """
    scene, used = ready.scene, ~ready.calibration.verdict.set_aside
    rows = ready.fixed_rows[used]
    lateral = scene.pushes.table["lateral"].to_numpy()[ready.observations["push"].to_numpy()[rows]]
    wanted = pd.DataFrame({"lateral": lateral, "name": _point_names(ready, rows).to_numpy()})
    known = scene.points[["lateral", "name"]].assign(place=np.arange(len(scene.points)))
    place = wanted.merge(known, on=["lateral", "name"], how="left")["place"].to_numpy(float).copy()
    located = np.flatnonzero(np.isnan(place))
    place[located] = len(known) + np.arange(len(located))
    point = np.full(len(ready.observations), -1)
    point[rows] = place.astype(np.int64)
    heads = pd.DataFrame({"lateral": lateral[located], "measure_m": ready.fixes.measure_m[used][located]})
    heads["sigma_m"] = located_sigma_m(ready.observations, scene.rules.counter.fix_sigma_m)[rows[located]]
    points = pd.concat([scene.points[["lateral", "measure_m", "sigma_m"]], heads], ignore_index=True)
    accuracy_m = accuracy_of(scene.laterals, points["lateral"].to_numpy(np.int64), points["measure_m"].to_numpy(float))
    own_share = 1.0 - scene.rules.counter.map_shared
    own = np.maximum(points["sigma_m"].to_numpy(float) ** 2 - noting_m**2, 0.0)
    points["variance"] = own + own_share * accuracy_m**2
    return point, points


def _launch_points(ready: Sorted) -> Whole:
    """The known point that each run in order was launched from, −1 where its launch was given as a measure."""
    runs = ready.scene.runs.iloc[ready.push]
    name = runs["launch"].str.casefold().fillna("building")
    wanted = pd.DataFrame({"lateral": ready.order["lateral"].to_numpy(), "name": name.to_numpy()})
    known = ready.scene.points[["lateral", "name"]].assign(place=np.arange(len(ready.scene.points)))
    place = wanted.merge(known, on=["lateral", "name"], how="left")["place"].fillna(-1.0).to_numpy(np.int64)
    return np.where(runs["launch_measure_m"].notna().to_numpy(), -1, place)


def _accuracy_m(ready: Sorted) -> Floats:
    """The map accuracy where each run in order was launched."""
    order = ready.order
    return accuracy_of(ready.scene.laterals, order["lateral"].to_numpy(np.int64), order["launch_m"].to_numpy(float))


def _launch_variance(ready: Sorted, launched: Whole) -> Floats:
    """Variance of each launch, its point's own left out: wide where the launch is not believed, or contradicts a lone fix."""
    model, verdict, accuracy_m = ready.scene.rules.counter, ready.calibration.verdict, _accuracy_m(ready)
    widening = verdict.widening[ready.push] ** 2
    extra_m = ready.order["launch_extra_m"].to_numpy(float)
    variance = (model.launch_m**2 + extra_m**2) * widening + accuracy_m**2 * (widening - 1.0)
    variance += np.where(verdict.launch_shifted[ready.push], model.shifted_launch_m**2, 0.0)
    return np.asarray(variance + np.where(launched < 0, (1.0 - model.map_shared) * accuracy_m**2, 0.0))


def _fixes(ready: Sorted, point: Whole, points: pd.DataFrame, noting_m: float) -> tuple[Whole, Floats, Floats]:
    """Of each reading: the point it passes (−1: none), that point's measure, and the variance of passing it."""
    seen, run = ready.readings["seen"].to_numpy(np.int64), ready.readings["run"].to_numpy(np.int64)
    start = (seen >= 0) & (ready.readings["what"].to_numpy() == What.START)
    passed = np.full(len(seen), -1)
    passed[start] = point[ready.rows[seen[start]]]
    measure_m = np.append(points["measure_m"].to_numpy(float), 0.0)[passed]
    widening = ready.calibration.verdict.widening[ready.push][run] ** 2
    fix_sigma_m = ready.scene.rules.counter.fix_sigma_m
    variance = noting_m**2 + (widening - 1.0) * (fix_sigma_m**2 + _accuracy_m(ready)[run] ** 2)
    return passed, measure_m, np.asarray(variance)
