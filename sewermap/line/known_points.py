"""The known points of each lateral (its referents), with their measures: what a run can be launched from or fixed on.

Every lateral has a tie-in (measure 0) and a building (the end of its line); its property line is known where its own parcel
is, or where it was surveyed. Clean-outs and bends are known where somebody gave them, by measure or by coordinates.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sewermap.line.along import along_of
from sewermap.line.boundary_rule import BoundaryRule
from sewermap.line.ground import Ground, measured_referents
from sewermap.line.place_rules import PlaceRules
from sewermap.line.property_line import set_drawn_property_lines
from sewermap.line.reference import Lines, lines_from_geometries

__all__ = [
    "ALWAYS_KNOWN",
    "CONFLICT_SIGMAS",
    "Ground",
    "Laterals",
    "known_points",
    "laterals_from_computed",
    "laterals_from_lines",
]

ALWAYS_KNOWN = ("tie-in", "building", "property line")
CONFLICT_SIGMAS = 3.0


@dataclass(frozen=True)
class Laterals:
    """The current laterals as linear elements: ``table`` has one row a line of ``lines``, in order of name.

    ``table`` adds to the columns of ``lateral_lines``: length_m, accuracy_m (one sigma an axis), accuracy_assumed;
    property_line_m and property_line_sigma_m by all that is known; property_line_fix_m and property_line_fix_sigma_m, what fixes
    a counter there (without what counters told of it); property_line_from and property_line_note in words; private_ends_m,
    private_ends_sigma_m and private_ends_at, by which sides are told as ``boundary`` says. ``map_shared``: see counter.toml.
    ``along`` (V, 3): the covariance at each vertex of a line that no map drew (accuracy_m is its mean), NaN on drawn ones.
    """

    table: pd.DataFrame
    lines: Lines
    boundary: BoundaryRule
    map_shared: float
    along: NDArray[np.float64] | None = None

    def index_of(self, names: pd.Series) -> NDArray[np.int64]:
        """The row of each named lateral, −1 where there is none."""
        places: NDArray[np.int64] = pd.Index(self.table["lateral"]).get_indexer(names).astype(np.int64)
        return places


def laterals_from_lines(
    lateral_lines: pd.DataFrame, ground: Ground, rules: PlaceRules, *, metres_per_unit: float
) -> tuple[Laterals, pd.DataFrame]:
    """Current lines as linear elements with their property lines, as parcels and surveys tell them.

    Returns the laterals (where private ends is not yet said, see ``private_ends``) and what is worth a warning: rows of columns
    lateral, field, value, reason.
    """
    table = lateral_lines.sort_values("lateral", ignore_index=True)
    lines = lines_from_geometries(table["geometry"].to_numpy(), metres_per_unit)
    given = table["map_accuracy_m"].to_numpy(float)
    table["accuracy_assumed"] = np.isnan(given)
    table["accuracy_m"] = np.where(np.isnan(given), rules.counter.map_accuracy_m, given)
    table["length_m"] = lines.length_m
    along = along_of(table.get("accuracy_along"), lines)
    warnings = set_drawn_property_lines(table, lines, ground, rules.counter, along)
    return Laterals(table, lines, rules.boundary, rules.counter.map_shared, along), warnings


def laterals_from_computed(rows: pd.DataFrame, metres_per_unit: float, rules: PlaceRules) -> Laterals:
    """Laterals out of rows of the computed table ``laterals``, whose property lines are known already."""
    table = rows.assign(accuracy_m=rows["map_accuracy_m"]).sort_values("lateral", ignore_index=True)
    lines = lines_from_geometries(table["geometry"].to_numpy(), metres_per_unit)
    along = along_of(table["accuracy_along"], lines)
    return Laterals(table, lines, rules.boundary, rules.counter.map_shared, along)


def known_points(laterals: Laterals, referents: pd.DataFrame, fix_sigma_m: float) -> pd.DataFrame:
    """All known points: columns lateral (row of ``laterals``), name (casefolded), kind, measure_m, sigma_m (its own, without
    the map's). Where a surveyed point bears the name of one that every lateral has, the surveyed one holds.
    """
    rows = np.arange(len(laterals.table))
    always = [
        pd.DataFrame({"lateral": rows, "name": name, "kind": name, "measure_m": measure, "sigma_m": sigma})
        for name, measure, sigma in (
            ("tie-in", 0.0, fix_sigma_m),
            ("building", laterals.lines.length_m, fix_sigma_m),
            ("property line", laterals.table["property_line_fix_m"], laterals.table["property_line_fix_sigma_m"]),
        )
    ]
    given = measured_referents(laterals.table, laterals.lines, referents, fix_sigma_m)
    # A surveyed property line is known under its own name too, but where it lies was decided with the parcel's word.
    is_border = (given["kind"] == "property line").to_numpy()
    borders = laterals.table.iloc[given["lateral"].to_numpy()[is_border]]
    given.loc[is_border, "measure_m"] = borders["property_line_fix_m"].to_numpy(float)
    given.loc[is_border, "sigma_m"] = borders["property_line_fix_sigma_m"].to_numpy(float)
    # A surveyed building or tie-in may bear a name of its own: its kind finds it too, before the line's end does.
    by_kind = given[given["kind"].isin(ALWAYS_KNOWN)].assign(name=lambda rows: rows["kind"])
    points = pd.concat([given, by_kind, *always], ignore_index=True).dropna(subset="measure_m")
    return pd.DataFrame(points).drop_duplicates(["lateral", "name"], ignore_index=True)
