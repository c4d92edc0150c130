"""Points where the head of a camera was located from above: fixes of a run's counter, and a check of the line they lie on.

They come from two sources, the section ``located`` and the located heads of observations, and the same location is often in
both: it counts once. A point fixes the counter of the run it is of: the run it names, or the only run of its lateral.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sewermap.line.known_points import CONFLICT_SIGMAS, Laterals
from sewermap.line.on_the_map import across_of
from sewermap.line.pushes import Pushes
from sewermap.line.reference import measure_of, point_at
from sewermap.line.scene import Scene

A_LOOK = "turned back"
"""A located head takes the part of a kind of look: its reading is placed and fixes the counter, and matches nothing."""

TAKES_PART = (
    "run", "push", "reading_m", "to_reading_m", "kind", "referent", "material_after", "located_map_x", "located_map_y",
    "located_sigma_m", "clock_from", "clock_to", "percent", "grade", "depth_m", "remark", "picture", "film_time",
)  # fmt: skip
"""What placing and matching look at in an observation."""

SAME_READING_M, SAME_PLACE_M = 0.05, 0.3
"""Within both, two locations of one run are one that two files tell (common practice, no source)."""

SAY_WHICH_RUN = "its lateral has more than one run: say which run, so that it can fix that run's counter"
NO_RUN = "no run of its lateral is known whose counter it could fix"
OF_ANOTHER = "the run it names is none of this lateral, so it fixes no counter here"
TOO_FAR = "too far from the line to fix the counter"
COUNTED_ONCE = "the same as another, and counted once"

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Located:
    """All located points of laterals that have a line.

    ``table``: lateral (row), push (row of its run, −1 where that is not clear), run, reading, unit, reading_m, map_x, map_y,
    sigma_m, said_by (``located`` or ``observations``), row (of that table), told_before (another says the same and counts in its
    stead), measure_m (of its foot), off_line_m (positive left of the line as one looks from the tie-in), normal_x and normal_y
    (the unit vector to the left there), far (further off than it and the line may be wrong by), problem ("" for one that may fix
    its run's counter).
    """

    table: pd.DataFrame

    def heads(self) -> pd.DataFrame:
        """Points of the section ``located`` that fix counters, as rows that placing takes among the observations."""
        rows = self.table[(self.table["problem"] == "").to_numpy() & (self.table["said_by"] == "located").to_numpy()]
        names = {"map_x": "located_map_x", "map_y": "located_map_y", "sigma_m": "located_sigma_m"}
        return rows[["run", "push", "reading_m", *names]].rename(columns=names).assign(kind=A_LOOK).reset_index(drop=True)

    def told_once(self, observations: pd.DataFrame) -> pd.DataFrame:
        """The observations (with push, reading_m, located_map_x, located_map_y) without the heads that count as other points."""
        again = self.table[self.table["told_before"].to_numpy() & (self.table["said_by"] == "observations").to_numpy()]
        if not len(again):
            return observations
        names = ["push", "reading_m", "located_map_x", "located_map_y"]
        by = pd.MultiIndex.from_frame(again[["push", "reading_m", "map_x", "map_y"]].set_axis(names, axis=1))
        told = pd.MultiIndex.from_frame(observations[names]).isin(by)
        x, y = (observations[name].mask(told) for name in ("located_map_x", "located_map_y"))
        once: pd.DataFrame = observations.assign(located_map_x=x, located_map_y=y)
        return once

    def warnings(self) -> pd.DataFrame:
        """What is to be told of points of the section ``located``: row (of that table), field, reason."""
        points = self.table[(self.table["said_by"] == "located").to_numpy() & ~self.table["told_before"].to_numpy(bool)]
        off_m = points["off_line_m"].to_numpy(float)
        side = np.where(off_m > 0.0, "left", "right")
        away = [
            f"located {abs(metres):.1f} m to the {hand} of the line (as one looks from the tie-in), further off than both may be "
            "wrong by: it fixes no counter"
            for metres, hand in zip(off_m, side, strict=True)
        ]
        quiet = points["problem"].isin(["", NO_RUN, TOO_FAR]).to_numpy()
        far = points["far"].to_numpy(bool)
        of_run = pd.DataFrame({"row": points["row"], "field": "run", "reason": points["problem"]})[~quiet]
        of_place = pd.DataFrame({"row": points["row"], "field": "x", "reason": pd.Series(away, index=points.index, dtype="str")})
        told: pd.DataFrame = pd.concat([of_run, of_place[far]], ignore_index=True)
        return told


def with_heads(observations: pd.DataFrame, heads: pd.DataFrame | None) -> pd.DataFrame:
    """What takes part of the observations, and after them located heads (of ``Located.heads``) as rows of the same columns."""
    rows = observations[[name for name in TAKES_PART if name in observations]].reset_index(drop=True)
    if heads is None or not len(heads):
        return rows
    if "located_sigma_m" not in rows:
        rows = rows.assign(located_sigma_m=np.nan)
    return pd.concat([rows, heads.reindex(columns=rows.columns).astype(rows.dtypes)], ignore_index=True)


def located_points(located: pd.DataFrame, observations: pd.DataFrame, scene: Scene) -> Located:
    """All located points against their lines.

    ``located``: current rows of located_points with map_x and map_y in the map's CRS. ``observations``: with push, reading,
    reading_m, located_map_x, located_map_y: those at least whose head was located. A point of ``located`` whose sigma is not
    given has that of a fix.
    """
    given = pd.concat([_given(located, scene), _seen(observations, scene)], ignore_index=True)
    given["sigma_m"] = given["sigma_m"].fillna(scene.rules.counter.fix_sigma_m)
    finite = np.isfinite(given[["map_x", "map_y"]].to_numpy(float)).all(axis=1)
    table = given[(given["lateral"] >= 0).to_numpy() & finite].reset_index(drop=True)
    table["told_before"] = _told_before(table, scene.laterals.lines.metres_per_unit)
    foot_m, off_m, normal = off_line(scene.laterals, table)
    table = table.assign(measure_m=foot_m, off_line_m=off_m, normal_x=normal[:, 0], normal_y=normal[:, 1])
    accuracy = across_of(scene.laterals, table["lateral"].to_numpy(np.int64), foot_m)
    allowed = CONFLICT_SIGMAS * np.hypot(table["sigma_m"].to_numpy(float), accuracy)
    table["far"] = np.abs(table["off_line_m"].to_numpy(float)) > allowed
    table["problem"] = table["problem"].mask((table["problem"] == "") & table["far"], TOO_FAR)
    table["problem"] = table["problem"].mask(table["told_before"], COUNTED_ONCE)
    return Located(table)


def off_line(laterals: Laterals, points: pd.DataFrame) -> tuple[Floats, Floats, Floats]:
    """The measure of the foot of each point (columns lateral, map_x, map_y) on its line, how far it lies off the line, and the
    unit vector (N, 2) there to the left of the line.

    In metres; off the line is positive to the left as one looks from the tie-in, negative to the right.
    """
    if not len(points):
        return np.zeros(0), np.zeros(0), np.zeros((0, 2))
    lateral, xy = points["lateral"].to_numpy(np.int64), points[["map_x", "map_y"]].to_numpy(float)
    foot_m, away_m = measure_of(laterals.lines, lateral, xy)
    ahead = _direction(laterals, lateral, foot_m)
    to_point = xy - point_at(laterals.lines, lateral, foot_m)
    left = ahead[:, 0] * to_point[:, 1] - ahead[:, 1] * to_point[:, 0] >= 0.0
    return foot_m, np.where(left, away_m, -away_m), np.column_stack([-ahead[:, 1], ahead[:, 0]])


def _direction(laterals: Laterals, lateral: NDArray[np.int64], measure_m: Floats) -> Floats:
    """The unit vector (N, 2) along the line at these measures; at a bend the mean of both sides."""
    length_m = laterals.lines.length_m[lateral]
    step_m = np.minimum(0.05, length_m / 4.0)
    before = point_at(laterals.lines, lateral, np.clip(measure_m - step_m, 0.0, length_m))
    after = point_at(laterals.lines, lateral, np.clip(measure_m + step_m, 0.0, length_m))
    ahead = after - before
    long = np.hypot(ahead[:, 0], ahead[:, 1])
    return np.asarray(ahead / np.where(long > 0.0, long, 1.0)[:, None])


def _given(located: pd.DataFrame, scene: Scene) -> pd.DataFrame:
    """The rows of the section ``located``, each with its run where that is clear."""
    lateral, runs = scene.laterals.index_of(located["lateral"]), scene.runs
    push, problem = _run_of(located, runs, scene.pushes)
    run_unit = runs["unit"].reindex(push).set_axis(located.index)
    return pd.DataFrame(
        {
            "lateral": lateral,
            "push": push,
            "run": runs["run"].reindex(push).to_numpy(object),
            **{name: located[name].to_numpy() for name in ("reading", "reading_m", "map_x", "map_y", "sigma_m")},
            "unit": located["unit"].fillna(run_unit).to_numpy(object),
            "said_by": "located",
            "row": np.arange(len(located)),
            "problem": problem,
        }
    )


def _run_of(located: pd.DataFrame, runs: pd.DataFrame, pushes: Pushes) -> tuple[NDArray[np.int64], NDArray[np.object_]]:
    """The row of the run that each point is of (−1: none), and why not."""
    named = located["run"].notna().to_numpy()
    push = pd.Index(runs["run"]).get_indexer(located["run"].fillna("")).astype(np.int64)
    runs_of = runs.groupby("lateral").size().reindex(located["lateral"]).fillna(0).to_numpy(np.int64)
    first = pd.Series(np.arange(len(runs)), index=pd.Index(runs["lateral"]), dtype="int64")
    only = first[~first.index.duplicated()].reindex(located["lateral"]).fillna(-1).to_numpy(np.int64)
    problem = np.full(len(located), "", dtype=object)
    problem[~named & (runs_of == 0)], problem[~named & (runs_of > 1)] = NO_RUN, SAY_WHICH_RUN
    elsewhere = runs["lateral"].reindex(push).to_numpy(object) != located["lateral"].to_numpy(object)
    problem[named & elsewhere] = OF_ANOTHER
    push = np.where(named, push, np.where(runs_of == 1, only, -1))
    unplaced = pd.Series(pushes.problem).reindex(push).fillna("").to_numpy(object)
    problem = np.where((problem == "") & (unplaced != ""), unplaced, problem)
    return np.where(problem == "", push, -1), problem


def _seen(observations: pd.DataFrame, scene: Scene) -> pd.DataFrame:
    """Observations whose head was located."""
    rows = np.flatnonzero(np.isfinite(observations[["located_map_x", "located_map_y"]].to_numpy(float)).all(axis=1))
    of = observations.iloc[rows]
    push = of["push"].to_numpy(np.int64)
    return pd.DataFrame(
        {
            "lateral": scene.pushes.table["lateral"].to_numpy(np.int64)[push],
            "push": push,
            "run": scene.runs["run"].to_numpy(object)[push],
            "reading": of["reading"].to_numpy() if "reading" in of else None,
            "reading_m": of["reading_m"].to_numpy(float),
            "map_x": of["located_map_x"].to_numpy(float),
            "map_y": of["located_map_y"].to_numpy(float),
            "sigma_m": np.nan,
            "unit": scene.runs["unit"].to_numpy(object)[push],
            "said_by": "observations",
            "row": rows,
            "problem": scene.pushes.problem[push],
        }
    )


def _told_before(table: pd.DataFrame, metres_per_unit: float) -> NDArray[np.bool_]:
    """Which points say again what another says: of one run (or of none that is known), at one reading and one place.

    Of those that say the same, the one that may fix a counter stays, and of these the one of the section ``located``.
    """
    told = np.zeros(len(table), dtype=bool)
    if not len(table):
        return told
    xy_m = table[["map_x", "map_y"]].to_numpy(float) * metres_per_unit
    reading = np.nan_to_num(table["reading_m"].to_numpy(float), nan=-1.0)
    lateral, push = table["lateral"].to_numpy(np.int64), table["push"].to_numpy(np.int64)
    order = np.lexsort((xy_m[:, 1], xy_m[:, 0], reading, lateral))
    one, other = order[:-1], order[1:]
    alike = (lateral[one] == lateral[other]) & (reading[other] - reading[one] < SAME_READING_M)
    alike &= np.hypot(*(xy_m[other] - xy_m[one]).T) < SAME_PLACE_M
    alike &= (push[one] == push[other]) | (push[one] < 0) | (push[other] < 0)
    group = np.empty(len(table), dtype=np.int64)
    group[order] = np.concatenate([[0], np.cumsum(~alike)])
    lame, by_observation = table["problem"] != "", table["said_by"] == "observations"
    best = np.lexsort((np.arange(len(table)), by_observation, lame, group))
    told[best[1:]] = group[best[1:]] == group[best[:-1]]
    return told
