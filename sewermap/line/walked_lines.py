"""Legs walked, closed on the other end where it is known, and pulled onto what was located on the way."""

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from sewermap.line.adjusting import Adjusted, Controls, LegErrors, adjusted
from sewermap.line.along import an_axis, equally
from sewermap.line.leg_rows import BUILDING, Walks
from sewermap.line.sketch_ends import WALL, nearest_on_wall
from sewermap.line.sketch_figures import DECIMALS, SketchFigures
from sewermap.line.traverse import Traverses, Whole

TRAVERSE = "traverse"
_BEYOND = 1.05
"""A point located up to this share of the legs' length is on the way: counters differ."""

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class _Ends:
    """Known ends, row by row: ``xy`` (T, 2) in metres, NaN where unknown, ``sigma_m`` (T,) and ``told`` (T,) in words."""

    xy: Floats
    sigma_m: Floats
    told: NDArray[np.object_]


def walked_lines(
    walks: Walks, ends: pd.DataFrame, located: pd.DataFrame, referents: pd.DataFrame, figures: SketchFigures, unit_m: float
) -> pd.DataFrame:
    """One row a lateral that has legs: the columns of ``sketching.COLUMNS``, and limit_m, how far it may miss its end."""
    told = walks.laterals.join(ends.set_index("lateral").rename(columns={"problem": "lacks"}))
    told = told.assign(method=TRAVERSE, reason=told["problem"])
    backwards = (told["launch"] == BUILDING).to_numpy()
    start = _side(told, backwards, unit_m)
    lost = ((told["reason"] == "") & np.isnan(start.xy[:, 0])).to_numpy()
    told.loc[lost, "reason"] = np.where(backwards[lost], "where the building is, is not known", told["lacks"][lost])
    rows = told[told["reason"] == ""]
    if rows.empty:
        return _refused(told)
    backwards = (rows["launch"] == BUILDING).to_numpy()
    legs = walks.legs[walks.legs["lateral"].isin(rows.index)]
    start = _side(rows, backwards, unit_m)
    many = Traverses(
        start.xy,
        legs["azimuth"].to_numpy(float),
        legs["length_m"].to_numpy(float),
        np.append(0, np.cumsum(legs.groupby("lateral", sort=True).size().to_numpy())),
    )
    last = many.offsets[1:] - 1
    open_end = many.ends()[last]
    end = _side(rows, ~backwards, unit_m, open_end=open_end)
    total = many.walked()[last]
    errors = LegErrors(np.radians(legs["theta"].to_numpy(float)), legs["base"].to_numpy(np.int64), figures.scale_sigma)
    controls, held = _controls(rows, end, total, located, referents, figures, unit_m)
    found = adjusted(many, errors, start.sigma_m, controls)
    miss = np.hypot(*(open_end - end.xy).T)
    made = pd.DataFrame(
        {
            "starts_at": start.told,
            "closed_on": _closed_on(end, held),
            "misclosure_m": miss,
            "misclosure_share": miss / total,
            "limit_m": figures.limit_sigmas * np.sqrt(found.q * total + start.sigma_m**2 + np.nan_to_num(end.sigma_m) ** 2),
            **_lines(many, found, start, backwards, unit_m),
        },
        index=rows.index,
    )
    return pd.concat([rows.join(made).reset_index(), _refused(told.drop(index=rows.index))], ignore_index=True)


def _refused(told: pd.DataFrame) -> pd.DataFrame:
    nothing = dict.fromkeys(("length_m", "sigma_m", "misclosure_m", "misclosure_share", "limit_m"), np.nan)
    return told.assign(**nothing, starts_at="", closed_on="", geometry=None, accuracy=None).reset_index()


def _side(rows: pd.DataFrame, at_building: NDArray[np.bool_], unit_m: float, open_end: Floats | None = None) -> _Ends:
    """The building end where the mask holds, else the tie-in. A wall is met where it is nearest to the open end of the legs."""
    names = [(f"{side}_x", f"{side}_y", f"{side}_sigma_m", f"{side}_from") for side in ("house", "tie")]
    house, tie = (rows[list(columns)].set_axis(["x", "y", "sigma", "told"], axis=1) for columns in names)
    both = house.where(pd.Series(at_building, rows.index), tie)
    xy = both[["x", "y"]].to_numpy(float) * unit_m
    told = both["told"].to_numpy(object)
    if open_end is not None:
        wall = nearest_on_wall(rows["wall"].to_numpy(object), open_end / unit_m) * unit_m
        by_wall = (told == WALL) & np.isfinite(wall[:, 0])
        xy[by_wall] = wall[by_wall]
    return _Ends(xy, both["sigma"].to_numpy(float), told)


def _controls(
    rows: pd.DataFrame,
    end: _Ends,
    total: Floats,
    located: pd.DataFrame,
    referents: pd.DataFrame,
    figures: SketchFigures,
    unit_m: float,
) -> tuple[Controls, Whole]:
    """What holds each traverse: its known end, points located on the way, surveyed points with a measure; and how many of the
    latter two.
    """
    place = pd.Index(rows.index)
    known = referents[referents[["measure_m", "x", "y"]].notna().all(axis=1) & ~referents["kind"].isin(["tie-in", "building"])]
    known = pd.DataFrame(
        {
            "lateral": known["lateral"], "walked": known["measure_m"], "map_x": known["x"], "map_y": known["y"],
            "sigma_m": known["sigma_m"].astype(float).fillna(figures.point_sigma), "from_tie_in": True,
        }
    )  # fmt: skip
    heads = located.rename(columns={"reading_m": "walked"}).assign(from_tie_in=False)
    both = pd.concat([part[list(known.columns)] for part in (heads, known)], ignore_index=True)
    of = place.get_indexer(both["lateral"])
    both, of = both[of >= 0], of[of >= 0]
    walked = both["walked"].to_numpy(float)
    # A surveyed measure counts from the tie-in, a located head's reading as the legs do.
    turned = both["from_tie_in"].to_numpy(bool) & (rows["launch"].to_numpy()[of] == BUILDING)
    walked = np.where(turned, total[of] - walked, walked)
    inside = (walked > 0) & (walked < total[of] * _BEYOND)
    both, of, walked = both[inside], of[inside], np.minimum(walked[inside], total[of[inside]])
    closed = np.flatnonzero(np.isfinite(end.xy[:, 0]))
    return Controls(
        np.concatenate([of, closed]),
        np.concatenate([walked, total[closed]]),
        np.concatenate([both[["map_x", "map_y"]].to_numpy(float) * unit_m, end.xy[closed]]),
        np.concatenate([both["sigma_m"].to_numpy(float), end.sigma_m[closed]]),
        np.repeat([False, True], [len(of), len(closed)]),
    ), np.bincount(of, minlength=len(rows))


def _closed_on(end: _Ends, held: Whole) -> NDArray[np.object_]:
    points = np.where(held > 0, pd.Series(held).map("{} points known on the way".format), "")
    both = np.where((end.told != "") & (points != ""), " and ", "")
    return np.asarray(end.told + both + points, dtype=object)


def _lines(many: Traverses, found: Adjusted, start: _Ends, backwards: NDArray[np.bool_], unit_m: float) -> dict[str, Any]:
    """Geometries from tie-in to building, their lengths, and the covariance of each vertex."""
    count = len(many.start)
    owner = np.concatenate([np.arange(count), many.owner])
    xy, covariance = np.vstack([start.xy, found.points]), np.vstack([equally(start.sigma_m), found.covariance])
    order = np.argsort(owner, kind="stable")
    step = np.arange(len(owner)) * np.where(backwards, -1, 1)[owner[order]]
    order = order[np.lexsort([step, owner[order]])]
    owner, xy, covariance = owner[order], xy[order], covariance[order]
    accuracy = np.empty(count, dtype=object)
    accuracy[:] = np.split(covariance, np.flatnonzero(np.diff(owner)) + 1)
    lines = shapely.linestrings(np.round(xy / unit_m, DECIMALS), indices=owner)
    return {
        "geometry": lines,
        "length_m": shapely.length(lines) * unit_m,
        "accuracy": accuracy,
        "sigma_m": np.maximum.reduceat(an_axis(covariance), np.flatnonzero(np.diff(owner, prepend=-1))),
    }
