"""Every defect and feature followed through all runs of its lateral: register and matching in turn, until nothing moves.

In the first round the runs of a lateral are matched in order of their days, each with what the runs before it saw. In the rounds
after, each run is taken out and matched anew with what all the others saw. What one run is matched with never holds its own
sightings, so no result re-enters as if it were independent. All laterals go through a round side by side.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sewermap.follow.seen import jobs_of, looks_of, reading_rows, run_rows, seen_of
from sewermap.follow.sorted_runs import Floats, Sorted, Whole, plain, sorted_runs
from sewermap.follow.town import each_run_alone, town_of, with_moved_points
from sewermap.history.kinds import Vocabulary
from sewermap.history.matching import MatchingModel, matching_model, terms_of
from sewermap.history.matching_runs import match_all, relabel_all
from sewermap.history.matching_tables import Frame, Jobs, Looks, Matched, Seen, Terms
from sewermap.line import counter
from sewermap.line.on_the_map import accuracy_of
from sewermap.line.register import Figures, Solution, Town, figures_of, relate, relation_of, solve
from sewermap.line.scene import Scene

PLACES = ("measure_m", "sigma_m", "to_measure_m", "line_share")
_MOST_ROUNDS = 8
_NOBODY = -1


@dataclass(frozen=True)
class Followed:
    """What became of the observations, of the things they saw, and of the runs.

    ``observations``, row by row as given: measure_m, sigma_m, to_measure_m, line_share (how much of what is wrong with the drawn
    end of private is in the measure too), reason (as in ``Placement``), cluster (−1: the look
    itself, or unplaced), cost (negative logarithm of the likelihood of belonging to its cluster rather than that being missed; or
    of being new), runner_up (the next likely cluster, −1: none can be) and runner_up_cost.
    ``clusters``, in order of lateral and measure: cluster (its row), lateral (row of the scene's), is_defect, measure_m, sigma_m,
    to_measure_m, sightings.
    ``runs``, row by row with the scene's: from_measure_m, to_measure_m (the stretch it passed; empty where not known), shifted_m
    (how far it was found displaced beyond what counters do; 0: not).
    """

    observations: pd.DataFrame
    clusters: pd.DataFrame
    runs: pd.DataFrame


@dataclass(frozen=True)
class _Work:
    """All that the rounds work on."""

    ready: Sorted
    town: Town
    figures: Figures
    seen: Seen
    looks: Looks
    jobs: Jobs
    terms: Terms
    together: bool


def follow(
    scene: Scene,
    observations: pd.DataFrame,
    works: pd.DataFrame,
    vocabulary: Vocabulary,
    matching: MatchingModel | None = None,
    *,
    joint: bool = True,
) -> Followed:
    """Follow what was seen. The counter's figures are those of the scene's rules.

    ``observations`` as in ``places.place`` (columns push, reading_m, to_reading_m, kind, referent, located_map_x, located_map_y,
    clock_from, clock_to; more columns only help to tell equal rows apart): all of the laterals that they touch. A row of a kind
    of look (such as ``stopped short``) takes no part and is placed all the same. ``works`` as recorded. Not ``joint``: each run
    is placed by its own launch and fixes alone.
    """
    model = matching_model() if matching is None else matching
    ready = sorted_runs(scene, observations)
    town, named, ends = town_of(ready, model.noting_m)
    figures = figures_of(scene.rules.counter, model.noting_m)
    seen = seen_of(ready, named, vocabulary)
    looks, jobs = plain(looks_of(ready)), plain(jobs_of(ready, works, vocabulary))
    town = town if joint else each_run_alone(town)
    work = _Work(ready, plain(town), figures, plain(seen), looks, jobs, terms_of(vocabulary, model), joint)
    found, thing = matched(work)
    laterals = np.flatnonzero(np.diff(town.reading_first))
    thing = thing if joint else np.full(len(town.run), -1)
    solution = solve(work.town, laterals, thing, figures)
    return _told(work, vocabulary, found, solution, _line_share(work, ends, thing, solution))


def _line_share(work: _Work, ends: NDArray[np.bool_], thing: Whole, solution: Solution) -> Floats:
    """Of each reading the derivative of its measure to where the map draws the end of private.

    The solution is linear in what is known of points, so that one more, with those points a metre further, tells it exactly.
    """
    moved, laterals = with_moved_points(work.town, ends)
    further = solve(plain(moved), laterals, thing, work.figures).measure_m
    return np.asarray(np.nan_to_num(further - solution.measure_m))


def matched(work: _Work) -> tuple[Matched, Whole]:
    """Rounds until nothing moves: what was matched, and of each reading the thing that it is a sighting of."""
    town, seen = work.town, work.seen
    count = len(seen.run)
    found = Matched(
        np.full(count, -1), np.full(count, np.nan), np.full(count, -1), np.full(count, np.nan), np.zeros(len(town.launch_m))
    )
    thing = np.full(len(town.run), -1)
    lateral = np.repeat(np.arange(len(seen.first) - 1), np.diff(seen.first))
    launch_variance = town.launch_variance.copy()
    moving = np.unique(lateral)
    for _ in range(_MOST_ROUNDS):
        before = found.cluster.copy()
        _one_round(work, moving, launch_variance, found, thing)
        relabel_all(seen, moving, np.full(len(moving), _NOBODY), found.cluster, thing)
        moving = np.unique(lateral[found.cluster != before])
        if not len(moving):
            break
    return found, thing


def _one_round(work: _Work, laterals: Whole, launch_variance: Floats, found: Matched, thing: Whole) -> None:
    """Each run of these laterals once, in order of time: the first of all laterals side by side, then the second, and so on."""
    town, runs = work.town, np.diff(work.town.run_first)
    relation = relation_of(town)
    frame = Frame(town.reading_first, *relation)
    for at in range(int(runs[laterals].max(initial=0))):
        those = laterals[runs[laterals] > at]
        target = town.run_first[those] + at
        town.launch_variance[target] = launch_variance[target]
        relabel_all(work.seen, those, target, found.cluster, thing)
        relate(town, (those, target), thing, work.figures, relation, together=work.together)
        match_all(work.seen, work.looks, work.jobs, work.terms, frame, those, target, found)
        town.launch_variance[target] += found.shifted[target] ** 2  # a launch elsewhere than it was said to be


def _told(work: _Work, vocabulary: Vocabulary, found: Matched, solution: Solution, line_share: Floats) -> Followed:
    """The results as tables, in the order of the tables that were given."""
    placement, ends = _judged(work, solution)
    start, end = reading_rows(work.ready)
    observations, rows = work.ready.observations, work.ready.rows
    placed = ~np.isnan(placement.measure_m[start])
    cluster = np.where(placed, found.cluster, -1)
    clusters, number = _clusters(work, vocabulary, cluster, placement)
    table = pd.DataFrame({name: np.full(len(observations), np.nan) for name in (*PLACES, "cost", "runner_up_cost")})
    reason = np.full(len(observations), "", object)
    whole = np.full((2, len(observations)), -1)
    columns = {
        "measure_m": placement.measure_m[start],
        "sigma_m": placement.sigma_m[start],
        "to_measure_m": np.where(end >= 0, placement.measure_m[end], np.nan),
        "line_share": line_share[start],
        "cost": np.where(cluster >= 0, found.cost, np.nan),
        "runner_up_cost": np.where(cluster >= 0, found.runner_up_cost, np.nan),
    }
    for name, values in columns.items():
        table[name] = _scattered(values, rows, len(observations))
    reason[rows] = placement.reason[start]
    whole[0, rows] = number[cluster]
    whole[1, rows] = np.where(cluster >= 0, number[found.runner_up], -1)
    table["cluster"], table["runner_up"], table["reason"] = whole[0], whole[1], reason
    return Followed(table, clusters, _runs_told(work, found, ends))


def _scattered(values: Floats, rows: Whole, count: int) -> Floats:
    out = np.full(count, np.nan)
    out[rows] = values
    return out


def _judged(work: _Work, solution: Solution) -> tuple[counter.Placement, Floats]:
    """Every reading judged by the ends of its line, with the shared part of the map's error in sigma; and measures clipped."""
    ready, model = work.ready, work.ready.scene.rules.counter
    push = ready.push[work.town.run]
    lateral = ready.scene.pushes.table["lateral"].to_numpy(np.int64)[push]
    accuracy_m = accuracy_of(ready.scene.laterals, lateral, solution.measure_m)
    sigma_m = np.sqrt(solution.variance + model.map_shared * accuracy_m**2)
    count = len(push)
    placement = counter.Placement(solution.measure_m.copy(), sigma_m, np.full(count, "", object), ready.calibration)
    last_m = np.where(np.isnan(ready.runs.length_m), np.inf, ready.runs.length_m)
    outside = np.flatnonzero(~((placement.measure_m >= 0.0) & (placement.measure_m <= last_m[push])))
    readings = counter.Readings(push, work.town.paid_m)
    counter.judge_ends(outside, readings, ready.runs, last_m, model, placement)
    return placement, np.clip(solution.measure_m, 0.0, last_m[push])


def _clusters(work: _Work, vocabulary: Vocabulary, cluster: Whole, placement: counter.Placement) -> tuple[pd.DataFrame, Whole]:
    """The table of clusters, and of each name of one (an observation in order) its row; the last entry is −1, for none."""
    start, end = reading_rows(work.ready)
    among = np.flatnonzero(cluster >= 0)
    seen = pd.DataFrame(
        {
            "name": cluster[among],
            "lateral": work.ready.order["lateral"].to_numpy(np.int64)[work.seen.run[among]],
            "is_defect": vocabulary.is_defect[work.seen.kind[among]],
            "one_m": placement.measure_m[start[among]],
            "other_m": np.where(end[among] >= 0, placement.measure_m[end[among]], np.nan),
            "sigma_m": placement.sigma_m[start[among]],
        }
    )
    seen["measure_m"], seen["to_measure_m"] = seen[["one_m", "other_m"]].min(axis=1), seen[["one_m", "other_m"]].max(axis=1)
    seen.loc[seen["other_m"].isna(), "to_measure_m"] = np.nan
    grouped = seen.groupby("name", sort=True)
    table = grouped.agg(
        lateral=("lateral", "first"),
        is_defect=("is_defect", "first"),
        measure_m=("measure_m", "median"),
        to_measure_m=("to_measure_m", "median"),
        sigma_m=("sigma_m", "min"),
        sightings=("name", "size"),
    ).reset_index()
    table = table.sort_values(["lateral", "measure_m", "name"], ignore_index=True)
    number = np.full(len(cluster) + 1, -1)
    number[table["name"].to_numpy(np.int64)] = np.arange(len(table))
    table.insert(0, "cluster", np.arange(len(table)))
    return table.drop(columns="name"), number


def _runs_told(work: _Work, found: Matched, ends_m: Floats) -> pd.DataFrame:
    """Row by row with the scene's runs."""
    begun, ended = run_rows(work.ready)
    table = pd.DataFrame(np.nan, index=range(len(work.ready.scene.runs)), columns=["from_measure_m", "to_measure_m", "shifted_m"])
    both = np.sort(np.stack([ends_m[begun], ends_m[ended]]), axis=0)
    table.loc[work.ready.push, ["from_measure_m", "to_measure_m", "shifted_m"]] = np.column_stack([*both, found.shifted])
    return table
