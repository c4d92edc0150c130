"""Lines for laterals that no map drew: walked by their legs, through points located from above, or guessed straight.

Every lateral gets a candidate for each way that its input allows, or the reason why it was refused; which one is taken is decided
where they are kept. Coordinates are the map's, lengths metres.
"""

import numpy as np
import pandas as pd

from sewermap.line.ground import Ground
from sewermap.line.leg_rows import mirrored, walks_of
from sewermap.line.sketch_ends import ends_of
from sewermap.line.sketch_figures import SketchFigures, sketch_figures
from sewermap.line.sketch_straight import straight_sketches
from sewermap.line.walked_lines import walked_lines

COLUMNS = (
    "lateral", "method", "length_m", "sigma_m", "starts_at", "first_bearing", "first_bearing_from", "closed_on", "misclosure_m",
    "misclosure_share", "accuracy", "reason", "geometry",
)  # fmt: skip


def sketches_of(
    laterals: pd.DataFrame,
    legs: pd.DataFrame,
    located: pd.DataFrame,
    ground: Ground,
    mains: pd.DataFrame,
    *,
    metres_per_unit: float,
) -> pd.DataFrame:
    """Candidates for the lines of laterals, one row a lateral and method, by lateral and method: ``COLUMNS``.

    ``laterals``: lateral, property, main, tie_in_distance_m, tie_in_from. ``legs``: lateral, reading_m, angle, hand, bearing,
    launch. ``located``: lateral, reading_m (from the same zero as the legs), map_x, map_y, sigma_m. ``mains``: main, geometry.
    ``accuracy`` is an array, the covariance (V, 3) at each vertex (see ``along``), sigma_m the greatest sigma an axis; geometry
    runs from the tie-in to the building, None where it was refused for the ``reason``.
    """
    figures = sketch_figures()
    ends = ends_of(laterals, ground, mains, figures, metres_per_unit)
    walked = legs[legs["lateral"].isin(laterals["lateral"])]
    points = located[located["lateral"].isin(laterals["lateral"])].dropna(subset=["reading_m", "map_x", "map_y"])
    points = points.assign(sigma_m=points["sigma_m"].astype(float).fillna(figures.located_sigma))
    parts = [*straight_sketches(ends, points, figures, metres_per_unit)]
    if len(walked):
        parts.append(_traverses(walked, ends, points, ground.referents, figures, metres_per_unit))
    found = pd.concat([part.reindex(columns=list(COLUMNS)) for part in parts], ignore_index=True)
    return found.sort_values(["lateral", "method"], ignore_index=True)


def _traverses(
    legs: pd.DataFrame, ends: pd.DataFrame, located: pd.DataFrame, referents: pd.DataFrame, figures: SketchFigures, unit_m: float
) -> pd.DataFrame:
    """Each lateral's legs as a line, those that close badly refused: where hands were exchanged the reason says so."""

    def walked(rows: pd.DataFrame) -> pd.DataFrame:
        return walked_lines(walks_of(rows, ends, figures), ends, located, referents, figures, unit_m)

    told = walked(legs)
    wrong = (told["misclosure_m"] > told["limit_m"]).to_numpy()
    if wrong.any():
        other = walked(mirrored(legs[legs["lateral"].isin(told.loc[wrong, "lateral"])]))
        closes = other.loc[other["misclosure_m"] <= other["limit_m"], "lateral"]
        hint = np.where(
            told.loc[wrong, "lateral"].isin(closes),
            "with left and right exchanged they would close",
            "check hands, bearings, readings",
        )
        far, limit = (told.loc[wrong, name].map("{:.1f}".format) for name in ("misclosure_m", "limit_m"))
        why = (
            "the legs end "
            + far
            + " m from "
            + told.loc[wrong, "closed_on"]
            + ", more than their errors explain ("
            + limit
            + " m): "
        )
        told.loc[wrong, "reason"] = why + hint
        told.loc[wrong, ["length_m", "sigma_m"]] = np.nan
        told.loc[wrong, ["geometry", "accuracy"]] = None
    return told
