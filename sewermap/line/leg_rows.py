"""Legs as people write them, made ready to be walked: lengths and bearings in order.

A row stands at a bend: its reading, the angle and hand of the turn there, or the bearing of the leg that goes on. The first row
may stand at reading 0; the last one is the end. Where no row stands at 0 and every row bears a bearing, each row ends its leg
instead. A bearing goes before an angle.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sewermap.line.sketch_figures import SketchFigures

TIE_IN, BUILDING = "tie-in", "building"
GIVEN, SQUARE, TOWARDS = "given", "square to the main", "towards the other end"
_SAME_M = 1e-6

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Walks:
    """``legs``: lateral, azimuth (degrees), length_m, theta (its sigma, degrees), base (legs of one base share the error of the
    bearing that they are told from), in order. ``laterals``, by name: launch, first_bearing, first_bearing_from, problem.
    """

    legs: pd.DataFrame
    laterals: pd.DataFrame


def walks_of(legs: pd.DataFrame, ends: pd.DataFrame, figures: SketchFigures) -> Walks:
    """The walks that legs tell.

    ``legs``: lateral, reading_m, angle (degrees), hand, bearing (degrees), launch. ``ends`` as ``sketch_ends.ends_of`` gives
    them, for the first bearing where none is given. A lateral with a ``problem`` has no legs to walk.
    """
    rows = _in_order(legs)
    launch = rows.groupby("lateral", sort=True)["launch"].first().str.casefold().fillna(TIE_IN)
    known = ends.set_index("lateral").reindex(launch.index)
    from_building = (launch == BUILDING).to_numpy()
    first, first_from = _first_bearings(known, from_building)
    rows = _as_onward(rows)
    turn = _turns(rows)
    problem = pd.Series("", index=launch.index, dtype=object)
    has_bearing = rows["bearing"].notna()
    lost = rows[turn.isna() & ~has_bearing].drop_duplicates("lateral").set_index("lateral")["reading_m"]
    problem.update(lost.map("the bend at {:.2f} m is told without its hand, left or right".format).astype(object))
    problem[~launch.isin([TIE_IN, BUILDING])] = "legs count from the tie-in or from the building, no other point"
    starts = rows.drop_duplicates("lateral").set_index("lateral")
    given = starts["bearing"].notna().reindex(launch.index).to_numpy()
    problem[(problem == "") & ~given & np.isnan(first)] = "no first bearing: give one, or a main and a building to tell it from"
    azimuth, theta, base = _bearings(
        rows, turn.fillna(0.0), pd.Series(first, launch.index), _first_sigma(first_from, figures), figures
    )
    walk = rows.assign(azimuth=azimuth, theta=theta, base=base)
    walk["length_m"] = walk.groupby("lateral")["reading_m"].shift(-1) - walk["reading_m"]
    walk = walk[walk["length_m"] > _SAME_M]
    problem[(problem == "") & ~problem.index.isin(walk["lateral"])] = "its legs have no length: give the reading of their end"
    walk = walk[walk["lateral"].map(problem) == ""]
    told = pd.DataFrame(
        {
            "launch": launch,
            "first_bearing": np.where(given, starts["bearing"].reindex(launch.index), first) % 360.0,
            "first_bearing_from": np.where(given, GIVEN, first_from),
            "problem": problem.astype("str"),
        }
    )
    return Walks(walk[["lateral", "azimuth", "length_m", "theta", "base"]].reset_index(drop=True), told)


def mirrored(legs: pd.DataFrame) -> pd.DataFrame:
    """The legs with left and right exchanged."""
    return legs.assign(hand=legs["hand"].map({"left": "right", "right": "left"}).astype(legs["hand"].dtype))


def _in_order(legs: pd.DataFrame) -> pd.DataFrame:
    columns = ["lateral", "reading_m", "angle", "hand", "bearing", "launch"]
    rows = legs.dropna(subset=["lateral", "reading_m"])[columns]
    return rows.sort_values(columns[:-1], ignore_index=True)


def _as_onward(rows: pd.DataFrame) -> pd.DataFrame:
    """With a row at reading 0 for each lateral, and each bearing at the beginning of its leg."""
    least = rows.groupby("lateral")["reading_m"].transform("min")
    ends_leg = (least > _SAME_M) & rows["bearing"].notna().groupby(rows["lateral"]).transform("all")
    lacking = rows[least > _SAME_M].drop_duplicates("lateral")[["lateral"]].assign(reading_m=0.0)
    told = pd.concat([lacking, rows.assign(ends_leg=ends_leg)], ignore_index=True)
    told = told.sort_values(["lateral", "reading_m"], kind="stable", ignore_index=True)
    shifted = told.groupby("lateral")["bearing"].shift(-1)
    shifts = told.groupby("lateral")["ends_leg"].transform("max").fillna(value=False).astype(bool)
    return told.assign(bearing=told["bearing"].astype(float).mask(shifts, shifted))


def _turns(rows: pd.DataFrame) -> pd.Series:
    """The turn to the right at each row in degrees, 0 where there is none or the row is a lateral's first; NaN without a hand."""
    angle = rows["angle"].astype(float).fillna(0.0)
    side = rows["hand"].map({"right": 1.0, "left": -1.0}).astype(float)
    turn = (angle * side).where(angle != 0.0, 0.0)
    return turn.where(rows.duplicated("lateral"), 0.0)


def _first_bearings(known: pd.DataFrame, from_building: NDArray[np.bool_]) -> tuple[Floats, NDArray[np.object_]]:
    """Bearings (L,) of first legs that nobody gave, and what each was taken from."""
    across = known[["house_x", "house_y"]].to_numpy(float) - known[["tie_x", "tie_y"]].to_numpy(float)
    straight = np.degrees(np.arctan2(across[:, 0], across[:, 1])) % 360.0
    square = np.where(from_building, np.nan, known["square"].to_numpy(float))
    bearing = np.where(np.isnan(square), np.where(from_building, straight + 180.0, straight), square)
    return bearing, np.where(np.isnan(square), TOWARDS, SQUARE).astype(object)


def _first_sigma(first_from: NDArray[np.object_], figures: SketchFigures) -> Floats:
    return np.where(first_from == SQUARE, figures.square_sigma, figures.towards_sigma)


def _bearings(
    rows: pd.DataFrame, turn: pd.Series, first: pd.Series, first_sigma: Floats, figures: SketchFigures
) -> tuple[Floats, Floats, NDArray[np.int64]]:
    """The bearing of the leg that goes on from each row, its sigma, and the number of the row that it is told from."""
    turned = turn.groupby(rows["lateral"]).cumsum()
    starts = ~rows.duplicated("lateral")
    bearing = rows["bearing"].astype(float)
    own = bearing.notna() | starts
    basis = bearing.where(bearing.notna(), rows["lateral"].map(first)) - turned
    base = pd.Series(np.where(own, np.arange(len(rows)), -1)).cummax().to_numpy()
    azimuth = (basis.to_numpy()[base] + turned.to_numpy()) % 360.0
    guessed = rows["lateral"].map(pd.Series(first_sigma, first.index)).to_numpy(float)
    sigma = np.where(bearing.notna(), figures.bearing_sigma, guessed)[base]
    bends = (turn != 0.0).astype(int).groupby(base).cumsum().to_numpy() - (turn != 0.0).to_numpy()[base]
    theta = np.hypot(sigma, figures.fitting_sigma * np.sqrt(np.maximum(bends, 0)))
    return np.asarray(azimuth, float), np.asarray(theta, float), base.astype(np.int64)
