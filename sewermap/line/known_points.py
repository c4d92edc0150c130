"""The known points of each lateral (its referents), with their measures: what a run can be launched from or fixed on.

Every lateral has a tie-in (measure 0) and a building (the end of its line); its property line is known where its own parcel
is, or where it was surveyed. Clean-outs and bends are known where somebody gave them, by measure or by coordinates.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sewermap.line.boundary import combined, own_parcels, property_line_measures
from sewermap.line.reference import Lines, lines_from_geometries, measure_of

ALWAYS_KNOWN = ("tie-in", "building", "property line")
CONFLICT_SIGMAS = 3.0


@dataclass(frozen=True)
class Laterals:
    """The current laterals as linear elements: ``table`` has one row a line of ``lines``, in order of name.

    ``table`` adds length_m, accuracy_m (one sigma an axis), accuracy_assumed, property_line_m, property_line_sigma_m (for
    whose side), property_line_fix_sigma_m (for fixes) and property_line_from to the columns of ``lateral_lines``.
    """

    table: pd.DataFrame
    lines: Lines

    def index_of(self, names: pd.Series) -> NDArray[np.int64]:
        """The row of each named lateral, −1 where there is none."""
        places: NDArray[np.int64] = pd.Index(self.table["lateral"]).get_indexer(names).astype(np.int64)
        return places


@dataclass(frozen=True)
class Ground:
    """The base layers that place rules look at: current rows of parcels, buildings and referents."""

    parcels: pd.DataFrame
    buildings: pd.DataFrame
    referents: pd.DataFrame


def laterals_from_lines(
    lateral_lines: pd.DataFrame, ground: Ground, *, metres_per_unit: float, common_accuracy_m: float, fix_sigma_m: float
) -> tuple[Laterals, pd.DataFrame]:
    """Current lines as linear elements with their property lines.

    Returns the laterals and what is worth a warning: rows of columns lateral, field, value, reason.
    """
    table = lateral_lines.sort_values("lateral", ignore_index=True)
    lines = lines_from_geometries(table["geometry"].to_numpy(), metres_per_unit)
    given = table["map_accuracy_m"].to_numpy(float)
    table["accuracy_assumed"] = np.isnan(given)
    table["accuracy_m"] = np.where(np.isnan(given), common_accuracy_m, given)
    table["length_m"] = lines.length_m
    crossings = _parcel_crossings(table, lines, ground, common_accuracy_m=common_accuracy_m, fix_sigma_m=fix_sigma_m)
    surveyed = _surveyed_property_lines(table, lines, ground.referents, fix_sigma_m)
    warnings = _combine(table, crossings, surveyed)
    table["property_line_fix_m"] = table["property_line_m"]
    table["property_line_note"] = pd.Series(np.nan, index=table.index, dtype="str")
    table["private_ends_m"] = table["property_line_m"]
    table["private_ends_sigma_m"] = table["property_line_sigma_m"]
    table["private_ends_at"] = pd.Series("property line", index=table.index, dtype="str")
    return Laterals(table, lines), warnings


def laterals_from_computed(rows: pd.DataFrame, metres_per_unit: float) -> Laterals:
    """Laterals out of rows of the computed table ``laterals``, whose property lines are known already."""
    table = rows.assign(accuracy_m=rows["map_accuracy_m"]).sort_values("lateral", ignore_index=True)
    return Laterals(table, lines_from_geometries(table["geometry"].to_numpy(), metres_per_unit))


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
            ("property line", laterals.table["property_line_m"], laterals.table["property_line_fix_sigma_m"]),
        )
    ]
    given = measured_referents(laterals.table, laterals.lines, referents, fix_sigma_m)
    # A surveyed property line is known under its own name too, but where it lies was decided with the parcel's word.
    is_border = (given["kind"] == "property line").to_numpy()
    borders = laterals.table.iloc[given["lateral"].to_numpy()[is_border]]
    given.loc[is_border, "measure_m"] = borders["property_line_m"].to_numpy(float)
    given.loc[is_border, "sigma_m"] = borders["property_line_fix_sigma_m"].to_numpy(float)
    # A surveyed building or tie-in may bear a name of its own: its kind finds it too, before the line's end does.
    by_kind = given[given["kind"].isin(ALWAYS_KNOWN)].assign(name=lambda rows: rows["kind"])
    points = pd.concat([given, by_kind, *always], ignore_index=True).dropna(subset="measure_m")
    return pd.DataFrame(points).drop_duplicates(["lateral", "name"], ignore_index=True)


def measured_referents(table: pd.DataFrame, lines: Lines, referents: pd.DataFrame, fix_sigma_m: float) -> pd.DataFrame:
    """Given referents with their measures: as given, else the foot of their coordinates on the line."""
    lateral = pd.Index(table["lateral"]).get_indexer(referents["lateral"])
    measure = referents["measure_m"].to_numpy(float).copy()
    xy = referents[["x", "y"]].to_numpy(float)
    by_map = np.isnan(measure) & np.isfinite(xy).all(axis=1) & (lateral >= 0)
    if by_map.any():
        measure[by_map] = measure_of(lines, lateral[by_map], xy[by_map])[0]
    sigma = referents["sigma_m"].to_numpy(float)
    points = pd.DataFrame(
        {
            "lateral": lateral,
            "name": referents["name"].str.casefold(),
            "kind": referents["kind"],
            "measure_m": measure,
            "sigma_m": np.where(np.isnan(sigma), fix_sigma_m, sigma),
        }
    )
    known: pd.DataFrame = points[lateral >= 0]
    return known.reset_index(drop=True)


def _parcel_crossings(
    table: pd.DataFrame, lines: Lines, ground: Ground, *, common_accuracy_m: float, fix_sigma_m: float
) -> pd.DataFrame:
    """Where each line first leaves its own parcel: measure_m, sigma_m (of the drawn boundary along the line), fix_sigma_m."""
    parcels, buildings = ground.parcels, ground.buildings
    own = own_parcels(
        lines,
        table["property"],
        parcels["property"],
        parcels["geometry"].to_numpy(),
        buildings["property"],
        buildings["geometry"].to_numpy(),
    )["parcel"].to_numpy()
    has = own >= 0
    shapes = np.full(len(table), None, dtype=object)
    shapes[has] = parcels["geometry"].to_numpy()[own[has]]
    drawn = np.full(len(table), np.nan)
    drawn[has] = parcels["map_accuracy_m"].to_numpy(float)[own[has]]
    assumed = np.where(np.isnan(drawn), common_accuracy_m, drawn)
    found = property_line_measures(lines, shapes, table["accuracy_m"].to_numpy(), assumed)
    # A fix has its own sigma and the line's map accuracy; the parcels' accuracy is added where somebody stated it.
    fix_sigma = np.hypot(fix_sigma_m, np.nan_to_num(drawn))
    return found[["measure_m", "sigma_m"]].assign(fix_sigma_m=fix_sigma)


def _surveyed_property_lines(table: pd.DataFrame, lines: Lines, referents: pd.DataFrame, fix_sigma_m: float) -> pd.DataFrame:
    """Surveyed property lines row by row with the laterals: measure_m, sigma_m (empty where none was given)."""
    points = measured_referents(table, lines, referents, fix_sigma_m)
    points = points[points["kind"] == "property line"].dropna(subset="measure_m").drop_duplicates("lateral")
    return points.set_index("lateral")[["measure_m", "sigma_m"]].reindex(np.arange(len(table)))


def _combine(table: pd.DataFrame, crossings: pd.DataFrame, surveyed: pd.DataFrame) -> pd.DataFrame:
    """Fill the property line's columns from parcel and survey by inverse variance.

    Where the two contradict each other they are not averaged: the survey holds, and the conflict is told.
    """
    rows = np.arange(len(table))
    # A crossing was read off a drawn line, so against a survey the line's own accuracy counts too.
    seen = pd.DataFrame({"measure_m": crossings["measure_m"], "sigma_m": np.hypot(crossings["sigma_m"], table["accuracy_m"])})
    both = pd.concat([seen.assign(lateral=rows), surveyed.assign(lateral=rows)])
    joint = combined(both["lateral"], both["measure_m"], both["sigma_m"]).set_index("lateral").reindex(rows)
    has_crossing, has_survey = crossings["measure_m"].notna().to_numpy(), surveyed["measure_m"].notna().to_numpy()
    conflict = (joint["conflict"] == 1).to_numpy()
    which = [has_crossing & has_survey & ~conflict, has_survey, has_crossing]
    table["property_line_m"] = np.select(which, [joint["measure_m"], surveyed["measure_m"], crossings["measure_m"]], np.nan)
    table["property_line_sigma_m"] = np.select(which, [joint["sigma_m"], surveyed["sigma_m"], crossings["sigma_m"]], np.nan)
    table["property_line_fix_sigma_m"] = np.select(
        which, [surveyed["sigma_m"], surveyed["sigma_m"], crossings["fix_sigma_m"]], np.nan
    )
    words = np.select(which, ["parcel and survey", "survey", "parcel"], "")
    table["property_line_from"] = pd.Series(words, dtype="str").where(words != "")
    return _conflicts_told(
        table[conflict], surveyed["measure_m"].to_numpy()[conflict], crossings["measure_m"].to_numpy()[conflict]
    )


def _conflicts_told(laterals: pd.DataFrame, survey_m: NDArray[np.float64], crossing_m: NDArray[np.float64]) -> pd.DataFrame:
    reasons = [
        f"the surveyed property line lies {distance:.2f} m from where the line leaves its parcel; the surveyed one is used"
        for distance in np.abs(survey_m - crossing_m)
    ]
    values = [f"{measure:.2f} m" for measure in survey_m]
    return pd.DataFrame({"lateral": laterals["lateral"].to_numpy(), "field": "property line", "value": values, "reason": reasons})
