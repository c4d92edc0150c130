"""Where on the ground is a reading: one reading of one run as a measure and a place, with what stands near it."""

from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd
import pyproj
import sqlalchemy as sa

from sewermap.answers.names import lateral_row, run_row
from sewermap.cautions import CROSS_BORE, STOP
from sewermap.errors import LengthError
from sewermap.follow.together import placed_together
from sewermap.history.kinds import Vocabulary, vocabulary
from sewermap.line.known_points import Laterals, known_points, laterals_from_computed
from sewermap.line.place_rules import rules_from_texts
from sewermap.line.pushes import pushes_of
from sewermap.line.scene import Scene, with_push
from sewermap.store import bulk, computed, recorded
from sewermap.store import tables as schema
from sewermap.store.reference_system import crs_name
from sewermap.store.scene import with_located_points
from sewermap.store.session import Store
from sewermap.units import length_m

NEAREST = 3
OF_LINE = ("private_ends_at", "property_line_from", "property_line_note")
A_LOOK = "turned back"
"""The reading in question takes the part of a kind of look: it is placed, and fixes and matches nothing."""
TAKES_PART = (
    "run", "push", "reading_m", "to_reading_m", "kind", "referent", "located_map_x", "located_map_y", "clock_from", "clock_to",
    "percent",
)  # fmt: skip
NO_WARNINGS = pd.DataFrame({"lateral": [], "field": [], "value": [], "reason": []})


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
        scene, observations, words = _scene_of_lateral(store, conn, line)
        works = _of(conn, schema.works, schema.works.c.lateral == line["lateral"])
    at = int((scene.runs["run"] == push["run"]).to_numpy().argmax())
    asked = pd.DataFrame({"reading_m": [reading_m], "kind": [A_LOOK], "run": [push["run"]], "push": [at]})
    seen = observations[list(TAKES_PART)]
    asked = asked.reindex(columns=seen.columns).astype(seen.dtypes)
    places, _ = placed_together(scene, pd.concat([asked, seen], ignore_index=True), works, words)
    place = places.observations.iloc[0]
    answer = _answer(store, scene.laterals, scene.points, place, run=push["run"], reading=reading, unit=push["unit"])
    return {**answer, "caution": STOP if CROSS_BORE in set(observations["kind"]) else None}


def _scene_of_lateral(store: Store, conn: sa.Connection, line: pd.Series) -> tuple[Scene, pd.DataFrame, Vocabulary]:
    """One lateral with all its runs as it was placed last, what they saw, and the words of the place."""
    rules = recorded.rules(conn)
    place_rules = rules_from_texts(rules)
    place_rules = replace(place_rules, counter=computed.model_in_force(conn, place_rules))
    laterals = laterals_from_computed(line.to_frame().T.infer_objects(), store.metres_per_unit, place_rules)
    referents = _of(conn, schema.referents, schema.referents.c.lateral == line["lateral"])
    runs = _of(conn, schema.runs, schema.runs.c.lateral == line["lateral"]).sort_values("run", ignore_index=True)
    points = known_points(laterals, referents, place_rules.counter.fix_sigma_m)
    scene = Scene(place_rules, laterals, points, runs, pushes_of(runs, laterals, points), NO_WARNINGS)
    of_its_runs = schema.observations.c.run.in_(sa.select(schema.runs.c.run).where(schema.runs.c.lateral == line["lateral"]))
    observations = with_push(_of(conn, schema.observations, of_its_runs), scene).reset_index(drop=True)
    return scene, with_located_points(observations, store.crs), vocabulary(rules.get("kinds"))


def _of(conn: sa.Connection, table: sa.Table, condition: sa.ColumnElement[bool]) -> pd.DataFrame:
    return bulk.read(conn, sa.select(table).where(condition, recorded.is_current(table)).order_by(table.c.id))


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
