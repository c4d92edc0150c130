"""Lines that points located from above contradict: each of three or more, or all of them together to one side."""

from dataclasses import replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sewermap.line.known_points import CONFLICT_SIGMAS, Laterals
from sewermap.line.located import Located
from sewermap.line.on_the_map import across_of
from sewermap.line.scene import Scene

LEAST_POINTS = 3
DOUBTFUL = "doubtful:"
"""What the note on such a line holds."""
Floats = NDArray[np.float64]


def doubtful_lines(located: Located, laterals: Laterals, map_shared: float) -> pd.DataFrame:
    """Lines that their located points contradict: lateral (row) and note (in words), in order of lateral.

    A point contradicts its line when it lies over 3 sigma off, by what both may be wrong by. A line is doubtful when three
    points or more do, or when all lie on one side of it, three or more by over 1 sigma, and their common distance is over 3.
    Their distances d have covariance Σ = D + map_shared · a² · NN', where D holds each point's own variance and each vertex's own
    part of the map's accuracy a, and NN' the shift of the line as a whole seen along the normals N; the common distance in sigmas
    is 1'Σ⁻¹d / √(1'Σ⁻¹1) (generalised least squares). ``map_shared``: how much of the map's variance moves whole lines.
    """
    points = located.table[~located.table["told_before"].to_numpy(bool)]
    if not len(points):
        return pd.DataFrame({"lateral": pd.Series(dtype="int64"), "note": pd.Series(dtype="str")})
    accuracy = across_of(laterals, points["lateral"].to_numpy(np.int64), points["measure_m"].to_numpy(float))
    off_m = points["off_line_m"].to_numpy(float)
    sigma = np.hypot(points["sigma_m"].to_numpy(float), accuracy)
    rows = points.assign(left=off_m > 0.0, away=np.abs(off_m), off=np.abs(off_m) > sigma)
    every = _told(rows)
    each = _told(rows[np.abs(off_m) > CONFLICT_SIGMAS * sigma])
    each = each[each["count"] >= LEAST_POINTS]
    joint = _jointly(points, accuracy, map_shared).reindex(every.index).abs().to_numpy(float)
    one_side = ((every["left"] == 0) | (every["left"] == every["count"])).to_numpy() & (every["off"] >= LEAST_POINTS).to_numpy()
    jointly = every[one_side & (joint > CONFLICT_SIGMAS)]
    found = pd.concat([each, jointly[~jointly.index.isin(each.index)]]).sort_index()
    of_all = every["count"].reindex(found.index).to_numpy()
    return pd.DataFrame({"lateral": found.index.to_numpy(np.int64), "note": pd.Series(_notes(found, of_all), dtype="str")})


def _told(rows: pd.DataFrame) -> pd.DataFrame:
    """By lateral how many points there are, how many of them to the left and over 1 sigma off, and the least and most that they
    are off.
    """
    of_each = {"count": ("left", "size"), "left": ("left", "sum"), "off": ("off", "sum"), "near": ("away", "min")}
    return rows.groupby("lateral").agg(**of_each, away=("away", "max"))


def with_line_doubts(scene: Scene, located: Located) -> Scene:
    """The scene with that said in the ``line_note`` of each lateral whose line is doubtful, and a warning of it."""
    doubts = doubtful_lines(located, scene.laterals, scene.rules.counter.map_shared)
    table = scene.laterals.table.copy()
    notes = pd.Series(doubts["note"].to_numpy(), index=doubts["lateral"].to_numpy(), dtype="str")
    doubt = notes.reindex(np.arange(len(table))).set_axis(table.index)
    made = table.get("line_note", doubt.where(doubt.isna()))  # what is said already of a line that no map drew
    table["line_note"] = (made + "; " + doubt).fillna(made).fillna(doubt)
    names = table["lateral"].iloc[doubts["lateral"].to_numpy(np.int64)].to_numpy()
    told = pd.DataFrame({"lateral": names, "field": "geometry", "value": names, "reason": "its line is " + doubts["note"]})
    return replace(scene, laterals=replace(scene.laterals, table=table), warnings=pd.concat([scene.warnings, told]))


def _jointly(points: pd.DataFrame, accuracy: Floats, map_shared: float) -> pd.Series:
    """The common distance of the points of each lateral in sigmas: sums by lateral alone, for by Woodbury's identity
    a'Σ⁻¹b = a'D⁻¹b − a'D⁻¹U (1 + U'D⁻¹U)⁻¹ U'D⁻¹b, where Σ = D + UU' with U two columns wide.
    """
    own = points["sigma_m"].to_numpy(float) ** 2 + (1.0 - map_shared) * accuracy**2
    u = points[["normal_x", "normal_y"]].to_numpy(float) * (np.sqrt(map_shared) * accuracy)[:, None]
    columns = {"d": points["off_line_m"].to_numpy(float), "1": np.ones(len(points)), "x": u[:, 0], "y": u[:, 1]}
    products = ("1d", "11", "xd", "yd", "x1", "y1", "xx", "yy", "xy")
    parts = pd.DataFrame({name: columns[name[0]] * columns[name[1]] / own for name in products})
    total = parts.groupby(points["lateral"].to_numpy()).sum()
    xx, yy, xy = 1.0 + total["xx"], 1.0 + total["yy"], total["xy"]
    x1, y1 = total["x1"], total["y1"]
    inner = [
        total[f"1{b}"]
        - (yy * x1 * total[f"x{b}"] - xy * (x1 * total[f"y{b}"] + y1 * total[f"x{b}"]) + xx * y1 * total[f"y{b}"])
        / (xx * yy - xy**2)
        for b in ("d", "1")
    ]
    return pd.Series(inner[0] / np.sqrt(inner[1]))


def _notes(found: pd.DataFrame, of_all: NDArray[np.int64]) -> list[str]:
    """What is said of each doubtful line."""
    columns = (found[name] for name in ("count", "near", "away", "left"))
    return [
        f"{DOUBTFUL} {count} of {total} located points lie {near:.1f} to {away:.1f} m off it, {_where(left, count)} (as one "
        "looks from the tie-in); check the line, and whose points these are"
        for count, near, away, left, total in zip(*columns, of_all, strict=True)
    ]


def _where(left: int, count: int) -> str:
    if left in (0, count):
        return "all to the left" if left else "all to the right"
    return f"{left} to the left and {count - left} to the right"
