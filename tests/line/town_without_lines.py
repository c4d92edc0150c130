"""An invented town whose map lacks its laterals: legs as a crew would note them, and the known ends."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from sample_gis import Town, frames
from sewermap.line.ground import Ground
from sewermap.line.lines_taken import lines_taken, with_taken
from sewermap.line.place_figures import figures_of_place
from sewermap.line.place_rules import rules_from_texts
from sewermap.line.places import place
from sewermap.line.reference import Lines, lines_from_geometries, point_at
from sewermap.line.scene import scene_of, with_push
from sewermap.line.sketching import sketches_of

SCALE_SD, BEARING_SD, LOCATED_SD_M, SURVEYED_SD_M = 0.01, 3.0, 0.3, 0.1
FITTINGS = np.array([22.5, 45.0, 90.0])


@dataclass(frozen=True)
class Noted:
    """What a town without lines knows of them: ``legs``, ``located``, ``referents``, in the shape of the store."""

    legs: pd.DataFrame
    located: pd.DataFrame
    referents: pd.DataFrame


def true_lines(town: Town) -> Lines:
    """The pipes in the ground, in order of lateral."""
    from shapely import linestrings  # noqa: PLC0415 (this helper alone needs it)

    true = town.ground.true
    used = np.arange(true.xy.shape[1]) < true.count[:, None]
    return lines_from_geometries(linestrings(true.xy[used], indices=np.repeat(np.arange(len(true.count)), true.count)))


def noted(town: Town, rng: np.random.Generator, *, by_fittings: bool = False, located: int = 0) -> Noted:
    """True bends with 1 % of scale a lateral and 3 degrees a bearing (``by_fittings``: of the first bearing alone, then nominal
    angles with their hands); both ends surveyed, wrong by 0.1 m an axis; ``located`` points on the way, wrong by 0.3 m an axis.
    """
    lines, tables = true_lines(town), frames(town)
    names = tables["lateral_lines"]["lateral"].to_numpy()
    owner = np.repeat(np.arange(len(lines)), np.diff(lines.offsets))
    scale = 1.0 + rng.normal(0.0, SCALE_SD, len(lines))
    step = np.diff(lines.coords[:, :2], axis=0, append=lines.coords[-1:, :2])
    azimuth = np.degrees(np.arctan2(step[:, 0], step[:, 1]))
    first, last = lines.offsets[:-1], lines.offsets[1:] - 1
    turn = np.append(0.0, (np.diff(azimuth) + 180.0) % 360.0 - 180.0)
    told = (azimuth + rng.normal(0.0, BEARING_SD, len(owner))) % 360.0
    inner = np.ones(len(owner), dtype=bool)
    inner[first] = inner[last] = False
    legs = pd.DataFrame(
        {"lateral": names[owner], "reading_m": lines.cumulative_m * scale[owner], "angle": np.nan, "bearing": told}
    )
    legs.loc[last, "bearing"] = np.nan
    legs["hand"] = legs["launch"] = pd.Series(np.nan, index=legs.index, dtype="str")
    if by_fittings:
        fitting = FITTINGS[np.abs(np.abs(turn)[:, None] - FITTINGS).argmin(axis=1)]
        near = np.abs(np.abs(turn) - fitting) < 5.0
        legs.loc[inner, "bearing"] = np.nan
        legs.loc[inner, "angle"] = np.where(near, fitting, np.abs(turn).round())[inner]
        legs.loc[inner, "hand"] = np.where(turn > 0, "right", "left")[inner]
    heads = np.repeat(np.arange(len(lines)), located)
    at = lines.length_m[heads] * np.tile(np.arange(1, located + 1) / (located + 1), len(lines))
    xy = point_at(lines, heads, at) + rng.normal(0.0, LOCATED_SD_M, (len(at), 2)) if located else np.zeros((0, 2))
    points = pd.DataFrame({"lateral": names[heads], "reading_m": at * scale[heads], "map_x": xy[:, 0], "map_y": xy[:, 1]})
    ends = (("tie-in", first), ("building", last))
    surveyed = [(kind, lines.coords[rows, :2] + rng.normal(0.0, SURVEYED_SD_M, (len(rows), 2))) for kind, rows in ends]
    known = pd.concat(
        [pd.DataFrame({"lateral": names, "name": kind, "kind": kind, "x": at[:, 0], "y": at[:, 1]}) for kind, at in surveyed]
    )
    referents = pd.concat([tables["referents"], known], ignore_index=True)
    return Noted(legs, points.assign(sigma_m=LOCATED_SD_M).astype({"lateral": "str"}), referents)


def placed_without_lines(town: Town, what: Noted) -> pd.DataFrame:
    """All readings of the town placed on sketched lines: error and within, metres; NaN where one was not placed."""
    tables = frames(town)
    ground = Ground(tables["parcels"], tables["buildings"], what.referents)
    lateral_lines = tables["lateral_lines"].assign(map_accuracy_m=np.nan)
    lateral_lines["geometry"] = np.full(len(lateral_lines), None, dtype=object)
    lateral_lines["method"] = pd.Series(np.nan, index=lateral_lines.index, dtype="str")
    asked = lateral_lines[["lateral", "property", "main", "tie_in_distance_m", "tie_in_from"]]
    nothing: pd.Series = pd.Series([], dtype="str")
    sketches = with_taken(
        sketches_of(asked, what.legs, what.located, ground, tables["mains"].iloc[:0], metres_per_unit=1.0), nothing
    )
    scene = scene_of(rules_from_texts({}), lines_taken(lateral_lines, sketches), ground, tables["runs"], metres_per_unit=1.0)
    seen = with_push(tables["observations"], scene).assign(located_map_x=np.nan, located_map_y=np.nan)
    model = figures_of_place(scene, seen)
    places = place(seen, scene.pushes, scene.laterals, scene.points, model).observations
    true = town.observations[["true_x", "true_y"]].to_numpy(float)
    error = np.hypot(*(places[["x", "y"]].to_numpy(float) - true).T)
    return pd.DataFrame({"error": error, "within": places["within_m"].to_numpy(float)})
