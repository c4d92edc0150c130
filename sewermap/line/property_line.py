"""The property line of each lateral from all that is said of it: a survey, its parcel's boundary, a change of its material.

Statements are taken in the order of trust: survey, parcel, material change. One that agrees with those before it is combined
with them by variance; one over 3 sigma away is told and left out, never averaged.
"""

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sewermap.line.along import accuracies_at
from sewermap.line.boundary import CONFLICT_SIGMAS, own_parcels, property_line_measures
from sewermap.line.counter_model import CounterModel
from sewermap.line.ground import Ground, measured_referents
from sewermap.line.reference import Lines

PARCEL, SURVEY, MATERIAL_CHANGE = "parcel", "survey", "material change"

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
_LEAST_SIGMA_M = 1e-6


def set_drawn_property_lines(
    table: pd.DataFrame, lines: Lines, ground: Ground, model: CounterModel, along: Floats | None = None
) -> pd.DataFrame:
    """Write into ``table`` (row by row with ``lines``) the property lines that parcels and surveys tell; ``along`` of Laterals.

    Columns property_line_m, property_line_sigma_m, property_line_fix_m, property_line_fix_sigma_m, property_line_from and
    property_line_note (missing where there is nothing to say). Returns the conflicts: lateral, field, value, reason.
    """
    crossings = _parcel_crossings(table, lines, ground, model)
    surveyed = _surveyed(table, lines, ground.referents, model.fix_sigma_m)
    has_crossing, has_survey = crossings["measure_m"].notna().to_numpy(), surveyed["measure_m"].notna().to_numpy()
    # A crossing was read off a drawn line, so against a survey the line's own accuracy counts too.
    crossed_m = crossings["measure_m"].to_numpy(float)
    there, _ = accuracies_at(table["accuracy_m"].to_numpy(float), along, lines, np.arange(len(table)), crossed_m)
    seen_sigma = np.hypot(crossings["sigma_m"].to_numpy(), there)
    survey_m, survey_sigma = surveyed["measure_m"].to_numpy(float), surveyed["sigma_m"].to_numpy(float)
    measure, sigma, conflict = added(survey_m, survey_sigma, crossings["measure_m"].to_numpy(float), seen_sigma)
    table["property_line_m"] = measure
    table["property_line_sigma_m"] = np.where(has_survey, sigma, crossings["sigma_m"])
    table["property_line_fix_m"] = measure
    table["property_line_fix_sigma_m"] = np.where(has_survey, survey_sigma, crossings["fix_sigma_m"])
    words = np.select(
        [has_crossing & has_survey & ~conflict, has_survey, has_crossing], ["parcel and survey", SURVEY, PARCEL], ""
    )
    table["property_line_from"] = pd.Series(words, dtype="str").where(words != "")
    apart = pd.Series(np.abs(survey_m - crossings["measure_m"].to_numpy(float))[conflict], dtype=object)
    told = apart.map(
        "the surveyed property line lies {:.2f} m from where the line leaves its parcel; the surveyed one is used".format
    ).to_numpy()
    # Where a survey alone tells the line, it does not matter why the parcel does not.
    notes = np.where(has_survey & ~has_crossing, "", crossings["reason"].to_numpy(object))
    notes[conflict] = told
    set_notes(table, notes)
    return conflicts_told(table, conflict, survey_m[conflict], told)


def add_material_changes(table: pd.DataFrame, changes: pd.DataFrame) -> pd.DataFrame:
    """Write into ``table`` what changes of material add to its property lines.

    ``changes``: lateral (a row of ``table``), measure_m, sigma_m, runs (how many saw it). What fixes counters stays as it is, for
    counters told this. Returns the conflicts: lateral, field, value, reason.
    """
    said = changes.set_index("lateral").reindex(np.arange(len(table)))
    seen_m, seen_sigma = said["measure_m"].to_numpy(float), said["sigma_m"].to_numpy(float)
    before = table["property_line_m"].to_numpy(float).copy()
    measure, sigma, conflict = added(before, table["property_line_sigma_m"].to_numpy(float), seen_m, seen_sigma)
    table["property_line_m"], table["property_line_sigma_m"] = measure, sigma
    known_from = table["property_line_from"].fillna("").to_numpy(object)
    told = ~np.isnan(seen_m)
    alone, joined = told & np.isnan(before), told & ~np.isnan(before) & ~conflict
    first = np.where(known_from == "parcel and survey", "parcel, survey", known_from)
    words = np.select([alone, joined], [MATERIAL_CHANGE, first + f" and {MATERIAL_CHANGE}"], known_from)
    table["property_line_from"] = pd.Series(words, dtype="str").where(words != "")
    runs = said["runs"].fillna(0).to_numpy(np.int64)
    apart = pd.Series(np.abs(seen_m - before)[conflict], dtype=object).map("{:.2f}".format).to_numpy(object)
    reasons = _changes_seen(runs[conflict]) + " lies " + apart + " m from the property line of the " + known_from[conflict]
    reasons = reasons + ", which is used"
    notes = table["property_line_note"].fillna("").to_numpy(object).copy()
    notes[conflict] = _joined(notes[conflict], reasons)
    notes[alone] = _joined(notes[alone], _changes_seen(runs[alone]) + " is the only word on the property line")
    set_notes(table, notes)
    return conflicts_told(table, conflict, seen_m[conflict], reasons)


def added(known_m: Floats, known_sigma: Floats, new_m: Floats, new_sigma: Floats) -> tuple[Floats, Floats, Flags]:
    """Measures and sigmas with one more statement each, by inverse variance, and where that contradicts what was known.

    All (N,), metres; NaN where nothing is known or said. A statement over 3 sigma away is left out.

    >>> known, sigma = np.array([6.0, 6.0, np.nan]), np.array([0.3, 0.3, np.nan])
    >>> measure, sigma, conflict = added(known, sigma, np.array([6.3, 9.0, 5.0]), np.full(3, 0.3))
    >>> measure.round(3).tolist(), sigma.round(3).tolist(), conflict.tolist()
    ([6.15, 6.0, 5.0], [0.212, 0.3, 0.3], [False, True, False])
    """
    old, new = np.maximum(known_sigma, _LEAST_SIGMA_M), np.maximum(new_sigma, _LEAST_SIGMA_M)
    both, apart = np.isfinite(known_m) & np.isfinite(new_m), np.asarray(new_m - known_m)
    spread = np.hypot(old, new)
    with np.errstate(invalid="ignore"):
        conflict = both & (np.abs(apart) > CONFLICT_SIGMAS * spread)
    agreed, unknown = both & ~conflict, np.isnan(known_m)
    measure = np.where(agreed, known_m + apart * (old / spread) ** 2, np.where(unknown, new_m, known_m))
    sigma = np.where(agreed, old * new / spread, np.where(unknown, new_sigma, known_sigma))
    return measure, sigma, conflict


def set_notes(table: pd.DataFrame, notes: NDArray[np.object_]) -> None:
    """Write ``property_line_note``, missing where the text is empty."""
    words = pd.Series(notes, dtype="str")
    table["property_line_note"] = words.where(words != "")


def conflicts_told(table: pd.DataFrame, which: Flags, measure_m: Floats, reasons: NDArray[np.object_]) -> pd.DataFrame:
    """Rows for the user: lateral, field, value, reason."""
    values = pd.Series(measure_m, dtype=object).map("{:.2f} m".format).to_numpy(object)
    laterals = table["lateral"].to_numpy()[which]
    return pd.DataFrame({"lateral": laterals, "field": "property line", "value": values, "reason": reasons})


def _changes_seen(runs: NDArray[np.int64]) -> NDArray[np.object_]:
    several = pd.Series(runs, dtype=object).map("the change of material that {} runs saw".format).to_numpy(object)
    return np.where(runs == 1, "the change of material that a run saw", several)


def _joined(first: NDArray[np.object_], second: NDArray[np.object_]) -> NDArray[np.object_]:
    return np.asarray(np.where(first == "", "", first + "; ") + second, dtype=object)


def _parcel_crossings(table: pd.DataFrame, lines: Lines, ground: Ground, model: CounterModel) -> pd.DataFrame:
    """Where each line first leaves its own parcel: measure_m, sigma_m (of the drawn boundary along the line), fix_sigma_m, and
    in ``reason`` why there is none, or what is to be said of it.
    """
    parcels, buildings = ground.parcels, ground.buildings
    shapes = parcels["geometry"].to_numpy(), buildings["geometry"].to_numpy()
    found = own_parcels(lines, table["property"], parcels["property"], shapes[0], buildings["property"], shapes[1])
    own = found["parcel"].to_numpy()
    has = own >= 0
    owned = np.full(len(table), None, dtype=object)
    owned[has] = shapes[0][own[has]]
    drawn = np.full(len(table), np.nan)
    drawn[has] = parcels["map_accuracy_m"].to_numpy(float)[own[has]]
    assumed = np.where(np.isnan(drawn), model.map_accuracy_m, drawn)
    crossings = property_line_measures(lines, owned, table["accuracy_m"].to_numpy(), assumed)
    why = np.where(has, "", ": " + found["reason"].to_numpy(object))
    # A fix has its own sigma and the line's map accuracy; the parcels' accuracy is added where somebody stated it.
    fix_sigma = np.hypot(model.fix_sigma_m, np.nan_to_num(drawn))
    return crossings.assign(reason=crossings["reason"].to_numpy(object) + why, fix_sigma_m=fix_sigma)


def _surveyed(table: pd.DataFrame, lines: Lines, referents: pd.DataFrame, fix_sigma_m: float) -> pd.DataFrame:
    """Surveyed property lines row by row with the laterals: measure_m, sigma_m (empty where none was given)."""
    points = measured_referents(table, lines, referents, fix_sigma_m)
    points = points[points["kind"] == "property line"].dropna(subset="measure_m").drop_duplicates("lateral")
    return points.set_index("lateral")[["measure_m", "sigma_m"]].reindex(np.arange(len(table)))
