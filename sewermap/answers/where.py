"""Where on the ground is a reading: one reading of one run as a measure and a place, with what stands near it."""

from typing import Any

import numpy as np
import pandas as pd
import pyproj

from sewermap.answers.lateral_scene import current_rows, scene_of_lateral
from sewermap.answers.names import lateral_row, run_row
from sewermap.cautions import CROSS_BORE, STOP
from sewermap.errors import LengthError
from sewermap.follow.together import placed_together
from sewermap.line.known_points import Laterals
from sewermap.line.located import A_LOOK, TAKES_PART
from sewermap.store import tables as schema
from sewermap.store.reference_system import crs_name
from sewermap.store.session import Store
from sewermap.units import length_m

NEAREST = 3
OF_LINE = ("private_ends_at", "property_line_from", "property_line_note")


def where(store: Store, lateral: str, reading: str, run: str) -> dict[str, Any]:
    """The place of a reading, as the run's fixes put it.

    ``lateral`` may be an address that only one lateral has; ``reading`` is in the run's unit unless its text carries one. Keys:
    lateral, run, reading, unit, measure_m, sigma_m, within_m, x, y, crs, lon, lat, side, side_probability, property_line_m,
    property_line_sigma_m, private_ends_m, private_ends_at, property_line_from, property_line_note, reason, accuracy_assumed,
    nearest (name, measure_m, away_m), caution (where a run of the lateral saw what may be a cross-bore); numbers are None where
    the reading does not fit the line.

    Raises UnknownNameError for a lateral or run, LengthError for a reading.
    """
    line = lateral_row(store, lateral)
    push = run_row(store, run, line["lateral"])
    reading_m = length_m(reading, push["unit"])
    if reading_m < 0:
        raise LengthError(f"'{reading}' is negative; a counter reading is zero or more")
    with store.reading() as conn:
        of = scene_of_lateral(store, conn, line)
        works = current_rows(conn, schema.works, schema.works.c.lateral == line["lateral"])
    scene, observations = of.scene, of.observations
    at = int((scene.runs["run"] == push["run"]).to_numpy().argmax())
    # The reading in question takes the part of a kind of look: it is placed, and fixes and matches nothing.
    asked = pd.DataFrame({"reading_m": [reading_m], "kind": [A_LOOK], "run": [push["run"]], "push": [at]})
    seen = observations[[name for name in TAKES_PART if name in observations]]
    asked = asked.reindex(columns=seen.columns).astype(seen.dtypes)
    places, _ = placed_together(scene, pd.concat([asked, seen], ignore_index=True), works, of.vocabulary, of.located.heads())
    place = places.observations.iloc[0]
    answer = _answer(store, scene.laterals, scene.points, place, run=push["run"], reading=reading, unit=push["unit"])
    return {**answer, "caution": STOP if CROSS_BORE in set(observations["kind"]) else None}


def _answer(
    store: Store, laterals: Laterals, points: pd.DataFrame, place: pd.Series, *, run: str, reading: str, unit: str
) -> dict[str, Any]:
    line = laterals.table.iloc[0]
    points = points[points["name"] != "property line"]  # where it is by all that is known, not only by what fixes counters
    border = pd.DataFrame({"name": ["property line"], "measure_m": [line["property_line_m"]]})
    points = pd.concat([points[["name", "measure_m"]], border], ignore_index=True)
    to_lonlat = pyproj.Transformer.from_crs(store.crs, pyproj.CRS.from_epsg(4326), always_xy=True)
    lon, lat = to_lonlat.transform(place["x"], place["y"]) if np.isfinite(place["x"]) else (np.nan, np.nan)
    away = (points["measure_m"] - place["measure_m"]).abs()
    near = (
        points.assign(away_m=away)
        .dropna(subset="away_m")
        .sort_values(["away_m", "name"])
        .drop_duplicates("measure_m")
        .head(NEAREST)
    )
    return {
        "lateral": line["lateral"],
        "run": run,
        "reading": reading,
        "unit": unit,
        **{name: _or_none(place[name]) for name in ("measure_m", "sigma_m", "within_m", "x", "y")},
        "crs": crs_name(store.crs),
        "lon": _or_none(lon),
        "lat": _or_none(lat),
        "side": None if pd.isna(place["side"]) else str(place["side"]),
        "side_probability": _or_none(place["side_probability"]),
        **{name: _or_none(line[name]) for name in ("property_line_m", "property_line_sigma_m", "private_ends_m")},
        **{name: None if pd.isna(line[name]) else str(line[name]) for name in OF_LINE},
        "reason": place["reason"] or None,
        "accuracy_assumed": bool(line["accuracy_assumed"]),
        "nearest": near[["name", "measure_m", "away_m"]].to_dict("records"),
    }


def _or_none(number: float) -> float | None:
    return float(number) if np.isfinite(number) else None
