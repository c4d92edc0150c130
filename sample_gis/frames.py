"""A town as tables in the shape of the store, without files: what a load of all its files would record, wrong rows left out."""

from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd
import sqlalchemy as sa
from numpy.typing import NDArray

from sample_gis.generator import Town
from sample_gis.layers import areas, line_strings, main_lines, street_lines
from sample_gis.readings import INCH_M
from sample_gis.slopes import TOLD
from sewermap.store.tables import RECORDED

Column = NDArray[Any] | list[str]
BOOKKEEPING = ("content", "loaded_in", "source_row", "withdrawn_in", "replaced_by")
SECTIONS = (
    "lateral_lines",
    "parcels",
    "streets",
    "mains",
    "buildings",
    "referents",
    "runs",
    "observations",
    "works",
    "warranties",
)


def frames(town: Town) -> dict[str, pd.DataFrame]:
    """Tables by name (``SECTIONS``), with all the columns of the store's but the loader's own, ``id`` counted from 1.

    Texts are ``str``, numbers float64, days datetime64[s], geometries an object array of shapely geometries.
    """
    makers = {
        "lateral_lines": _lateral_lines,
        "parcels": _parcels,
        "streets": lambda town: {"street": town.streets.name, "geometry": street_lines(town, 0.0)},
        "mains": lambda town: {"main": _numbered("M-", len(town.streets.name)), "geometry": main_lines(town)},
        "buildings": _buildings,
        "referents": _referents,
        "runs": _runs,
        "observations": _observations,
        "works": _works,
        "warranties": _warranties,
    }
    return {name: in_shape(_table(name), makers[name](town)) for name in SECTIONS}


def in_shape(table: sa.Table, columns: Mapping[str, Column]) -> pd.DataFrame:
    """A frame with the table's own columns in their order and types; what ``columns`` lacks is empty."""
    wanted = [column for column in table.columns if column.name not in BOOKKEEPING]
    unknown = set(columns) - {column.name for column in wanted}
    if unknown:
        raise KeyError(f"{table.name} has no column {sorted(unknown)}")
    count = len(next(iter(columns.values())))
    made = {"id": pd.Series(np.arange(1, count + 1))}
    for column in wanted:
        if column.name != "id":
            made[column.name] = _typed(column, columns.get(column.name), count)
    return pd.DataFrame(made)


def _typed(column: "sa.Column[object]", values: Column | None, count: int) -> pd.Series:
    series = pd.Series(values, index=range(count), dtype=object)
    if column.name == "geometry":
        return series
    if isinstance(column.type, sa.Text):
        return series.astype("str")
    if isinstance(column.type, sa.Date):
        return pd.to_datetime(series).astype("datetime64[s]")
    return series.astype("float64")


def _table(name: str) -> sa.Table:
    return next(recorded.table for recorded in RECORDED.values() if recorded.table.name == name)


def _numbered(prefix: str, count: int) -> list[str]:
    return [f"{prefix}{number:04d}" for number in range(1, count + 1)]


def _lateral_names(town: Town, row: pd.Series) -> NDArray[np.object_]:
    return np.asarray(town.laterals["lateral"].to_numpy(object)[row.to_numpy(np.int64)])


def _lateral_lines(town: Town) -> dict[str, Column]:
    table = town.laterals
    inches = table["diameter"].map({'4"': 4, "4 in": 4, "3 in": 3}).astype(float)
    return {
        **{name: table[name].to_numpy() for name in ("lateral", "street", "address", "installed_on", "material", "diameter")},
        "property": table["property"].where(table["says_property"]).to_numpy(object),
        "diameter_m": (inches * INCH_M).fillna(0.1).to_numpy(),
        "map_accuracy_m": table["map_accuracy_m"].to_numpy(),
        **{name: town.falls[name].to_numpy(float) for name in TOLD},
        "method": ["drawn"] * len(table),
        "geometry": line_strings(town.ground.drawn),
    }


def _parcels(town: Town) -> dict[str, Column]:
    return {
        "property": town.laterals["property"].to_numpy(),
        "map_accuracy_m": town.ground.parcel_accuracy_m,
        "geometry": areas(town.ground.parcel),
    }


def _buildings(town: Town) -> dict[str, Column]:
    return {
        "building": _numbered("H-", len(town.laterals)),
        "property": town.laterals["property"].to_numpy(),
        "geometry": areas(town.ground.building),
    }


def _referents(town: Town) -> dict[str, Column]:
    points = town.points[town.points["recorded"].to_numpy(bool)]
    same = ("name", "kind", "measure_m", "x", "y", "sigma_m")
    return {"lateral": _lateral_names(town, points["lateral"]), **{name: points[name].to_numpy() for name in same}}


def _runs(town: Town) -> dict[str, Column]:
    runs = town.runs
    same = (
        "ran_on", "unit", "launch", "reason", "launch_reading", "launch_reading_m", "end_reading", "end_reading_m", "lead_in",
        "lead_in_m",
    )  # fmt: skip
    return {
        "run": runs["name"].to_numpy(),
        "lateral": _lateral_names(town, runs["lateral"]),
        "direction": np.where(runs["towards_building"], "to building", "to main"),
        "crew": runs["crew_name"].to_numpy(),
        **{name: runs[name].to_numpy() for name in same},
    }


def _observations(town: Town) -> dict[str, Column]:
    seen = town.observations
    same = (
        "reading", "reading_m", "to_reading", "to_reading_m", "kind", "clock_from", "percent", "grade", "material_after",
        "referent", "located_x", "located_y", "remark", "picture",
    )  # fmt: skip
    return {"run": seen["run_name"].to_numpy(), **{name: seen[name].to_numpy(object) for name in same}}


def _works(town: Town) -> dict[str, Column]:
    works = town.works
    same = ("done_on", "kind", "from_measure_m", "to_measure_m", "by")
    return {
        "work": works["name"].to_numpy(),
        "lateral": _lateral_names(town, works["lateral"]),
        **{name: works[name].to_numpy() for name in same},
    }


def _warranties(town: Town) -> dict[str, Column]:
    table = town.warranties
    same = (
        "begins_on", "term", "check_lead", "cure", "answerable", "work", "from_measure_m", "to_measure_m", "kinds",
        "start_event", "notice_by",
    )  # fmt: skip
    return {
        "warranty": table["name"].to_numpy(),
        "lateral": _lateral_names(town, table["lateral"]),
        **{name: table[name].to_numpy() for name in same},
    }
