"""Where on the ground is a reading: one reading of one run as a measure and a place, with what stands near it."""

from typing import Any

import numpy as np
import pandas as pd
import pyproj
import sqlalchemy as sa

from sewermap.answers.names import lateral_row, run_row
from sewermap.errors import LengthError
from sewermap.line.known_points import Laterals, known_points, laterals_from_computed
from sewermap.line.place_rules import rules_from_texts
from sewermap.line.places import place
from sewermap.line.pushes import pushes_of
from sewermap.store import bulk, computed, recorded
from sewermap.store import tables as schema
from sewermap.store.reference_system import crs_name
from sewermap.store.scene import with_located_points
from sewermap.store.session import Store
from sewermap.units import length_m

NEAREST = 3
OF_A_FIX = ("reading_m", "to_reading_m", "kind", "referent", "located_x", "located_y", "located_crs")


def where(store: Store, lateral: str, reading: str, run: str) -> dict[str, Any]:
    """The place of a reading, as the run's fixes put it.

    ``lateral`` may be an address that only one lateral has; ``reading`` is in the run's unit unless its text carries one. Keys:
    lateral, run, reading, unit, measure_m, sigma_m, within_m, x, y, crs, lon, lat, side, side_probability, reason,
    accuracy_assumed, nearest (name, measure_m, away_m); numbers are None where the reading does not fit the line.

    Raises UnknownNameError for a lateral or run, LengthError for a reading.
    """
    line = lateral_row(store, lateral)
    push = run_row(store, run, line["lateral"])
    reading_m = length_m(reading, push["unit"])
    if reading_m < 0:
        raise LengthError(f"'{reading}' is negative; a counter reading is zero or more")
    laterals = laterals_from_computed(line.to_frame().T.infer_objects(), store.metres_per_unit)
    with store.reading() as conn:
        referents = _of(conn, schema.referents, "lateral", line["lateral"])
        observations = _of(conn, schema.observations, "run", push["run"])
        rules = rules_from_texts(recorded.rules(conn))
        model = computed.model_in_force(conn, rules)
    seen = observations[list(OF_A_FIX)]
    asked = pd.DataFrame({"reading_m": [reading_m]}).reindex(columns=seen.columns).astype(seen.dtypes)
    rows = pd.concat([asked, seen], ignore_index=True).assign(push=0)
    points = known_points(laterals, referents, model.fix_sigma_m)
    places = place(
        with_located_points(rows, store.crs),
        pushes_of(push.to_frame().T.infer_objects(), laterals, points),
        laterals,
        points,
        model,
        material_rule=rules.material_change_at_property_line,
    )
    return _answer(store, laterals, points, places.observations.iloc[0], run=push["run"], reading=reading, unit=push["unit"])


def _of(conn: sa.Connection, table: sa.Table, column: str, name: str) -> pd.DataFrame:
    return bulk.read(conn, sa.select(table).where(table.c[column] == name, recorded.is_current(table)).order_by(table.c.id))


def _answer(
    store: Store, laterals: Laterals, points: pd.DataFrame, place: pd.Series, *, run: str, reading: str, unit: str
) -> dict[str, Any]:
    line = laterals.table.iloc[0]
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
        "side": place["side"] or None,
        "side_probability": _or_none(place["side_probability"]),
        "reason": place["reason"] or None,
        "accuracy_assumed": bool(line["accuracy_assumed"]),
        "nearest": near[["name", "measure_m", "away_m"]].to_dict("records"),
    }


def _or_none(number: float) -> float | None:
    return float(number) if np.isfinite(number) else None
