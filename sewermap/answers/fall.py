"""How a lateral falls, where it sags, and how many bends lie between its clean-outs: findings, each against a named table.

Computed when asked, from what is recorded and placed. Local code and the authority decide.
"""

from typing import Any

import numpy as np
import pandas as pd
import sqlalchemy as sa

from sewermap.answers.names import lateral_row
from sewermap.line.bends import WITHIN, bends, one_a_place, rodding
from sewermap.line.fall import even_grades, slopes
from sewermap.line.fall_levels import known_levels
from sewermap.line.fall_rules import FallRules, fall_rules
from sewermap.line.ground import measured_referents
from sewermap.line.reference import Lines, lines_from_geometries
from sewermap.line.sags import HOLDS_WATER, SAG_KINDS, sags
from sewermap.plain import records
from sewermap.store import bulk, recorded
from sewermap.store import tables as schema
from sewermap.store.session import Store

__all__ = ["COLUMNS", "WITHIN", "fall", "fall_table", "findings"]

COLUMNS = (
    "what", "from_measure_m", "to_measure_m", "value", "unit", "sigma", "least_or_most", "against", "verdict", "note",
)  # fmt: skip
_CLEAN_OUT_SIGMA_M = 0.1
"""Sigma of a surveyed clean-out that does not say its own; as that of a fix (common practice, no source)."""


def fall(store: Store, lateral: str) -> list[dict[str, Any]]:
    """Findings on one lateral: slopes between known levels, sags, bends and distances between clean-outs, in this order.

    Each has ``what`` (slope, sag, standing water, bends, clean-out distance), from_measure_m, to_measure_m, value and unit
    (a slope as fall per length, the water's depth in m, bends in degrees, a distance in m), sigma, least_or_most (the limit),
    against (the table), verdict and note. Raises UnknownNameError.
    """
    return records(fall_table(store, lateral))


def fall_table(store: Store, lateral: str) -> pd.DataFrame:
    """The findings of ``fall`` as a table, its columns those of ``COLUMNS``."""
    line = lateral_row(store, lateral).to_frame().T.infer_objects()
    name = line["lateral"].iloc[0]
    with store.reading() as conn:
        placed, issues = (
            bulk.read(conn, sa.select(table).where(table.c.lateral == name))
            for table in (schema.placed_observations, schema.issues)
        )
        rows = findings(conn, line, placed, issues, store.metres_per_unit, name)
    return rows.drop(columns="lateral")


def findings(
    conn: sa.Connection,
    laterals: pd.DataFrame,
    placed: pd.DataFrame,
    issues: pd.DataFrame,
    metres_per_unit: float,
    name: str | None = None,
) -> pd.DataFrame:
    """The findings on many laterals at once: lateral, then ``COLUMNS``, by lateral in the order of ``fall``.

    ``laterals``, ``placed``, ``issues``: rows of the computed tables laterals, placed_observations and issues. ``name``: where it
    is one lateral alone, so that no more is read.
    """
    line = laterals.reset_index(drop=True)
    lines = lines_from_geometries(line["geometry"].to_numpy(), metres_per_unit)
    diameter = line.set_index("lateral")["diameter_m"].astype(float)
    rules = fall_rules(recorded.rules(conn).get("fall"))
    legs, referents = (_current(conn, table, name) for table in (schema.legs, schema.referents))
    levels = known_levels(line, lines, _depths(conn, name, placed), rules)
    found = [
        _slope_rows(slopes(levels, diameter, rules)),
        _sag_rows(placed, issues, diameter, even_grades(levels)),
        _rodding_rows(line, lines, _as_measures(legs, line), _clean_outs(line, lines, referents, placed), rules),
    ]
    rows = pd.concat([part[["lateral", *COLUMNS]].astype(object) for part in found], ignore_index=True)
    rows = rows.sort_values("lateral", kind="stable", ignore_index=True)
    return rows.assign(note=rows["note"].where(rows["note"] != "", None))


def _current(conn: sa.Connection, table: sa.Table, lateral: str | None) -> pd.DataFrame:
    query = sa.select(table).where(recorded.is_current(table)).order_by(table.c.id)
    return bulk.read(conn, query if lateral is None else query.where(table.c.lateral == lateral))


def _as_measures(legs: pd.DataFrame, line: pd.DataFrame) -> pd.DataFrame:
    """Legs that were walked from the building, with their readings from the tie-in as the others have them."""
    length_m = legs["lateral"].map(line.set_index("lateral")["length_m"]).astype(float)
    from_building = legs["launch"].str.casefold() == "building"
    return legs.assign(reading_m=legs["reading_m"].where(~from_building, length_m - legs["reading_m"]))


def _depths(conn: sa.Connection, lateral: str | None, placed: pd.DataFrame) -> pd.DataFrame:
    """Depths of located camera heads at their measures."""
    table, files = schema.observations, schema.source_files
    query = (
        sa.select(table.c.run, table.c.source_row, files.c.path.label("source_file"), table.c.depth_m)
        .join_from(table, files, table.c.loaded_in == files.c.id)
        .where(recorded.is_current(table), table.c.depth_m.is_not(None))
    )
    if lateral is not None:
        runs = sa.select(schema.runs.c.run).where(schema.runs.c.lateral == lateral, recorded.is_current(schema.runs))
        query = query.where(table.c.run.in_(runs))
    same = ["run", "source_file", "source_row"]
    deep = bulk.read(conn, query).merge(placed[[*same, "lateral", "measure_m"]], on=same)
    return deep[["lateral", "measure_m", "depth_m"]]


def _clean_outs(line: pd.DataFrame, lines: Lines, referents: pd.DataFrame, placed: pd.DataFrame) -> pd.DataFrame:
    """Clean-outs that were surveyed and those that runs passed: lateral, measure_m, sigma_m, surveyed."""
    given = measured_referents(line, lines, referents, _CLEAN_OUT_SIGMA_M)
    given = given[given["kind"] == "clean-out"].assign(surveyed=True)
    given["lateral"] = line["lateral"].to_numpy()[given["lateral"].to_numpy()]
    seen = placed[placed["kind"] == "clean-out"].assign(surveyed=False)
    return pd.concat([part[["lateral", "measure_m", "sigma_m", "surveyed"]] for part in (given, seen)], ignore_index=True)


def _slope_rows(found: pd.DataFrame) -> pd.DataFrame:
    return found.assign(what="slope", value=found["slope"], unit="fall per length", least_or_most=found["least"])


def _sag_rows(placed: pd.DataFrame, issues: pd.DataFrame, diameter: pd.Series, grades: pd.DataFrame) -> pd.DataFrame:
    """Water as it was seen last of each issue that is not mended."""
    open_issues = issues.loc[issues["state"] != "mended", "issue"]
    seen = placed[placed["kind"].isin(SAG_KINDS) & placed["issue"].isin(open_issues) & placed["measure_m"].notna()]
    seen = seen.sort_values(["ran_on", "run", "measure_m", "observation"]).drop_duplicates("issue", keep="last")
    seen = seen.sort_values(["measure_m", "issue"], ignore_index=True)
    found = sags(seen, diameter, grades).assign(lateral=seen["lateral"])
    day = seen["ran_on"].dt.strftime("%Y-%m-%d")
    note = found["note"] + "; issue " + seen["issue"] + " as run " + seen["run"] + " saw it on " + day
    nothing = {"sigma": np.nan, "least_or_most": np.nan, "against": None}
    return found.assign(what=seen["kind"], value=found["depth_m"], unit="m", verdict=HOLDS_WATER, note=note, **nothing)


def _rodding_rows(
    line: pd.DataFrame, lines: Lines, legs: pd.DataFrame, clean_outs: pd.DataFrame, rules: FallRules
) -> pd.DataFrame:
    by_name = line.set_index("lateral")
    turns = bends(line["lateral"], lines, legs, rules)
    once = one_a_place(clean_outs, rules.one_place_m)
    found = rodding(by_name["length_m"].astype(float), once, turns, by_name["diameter_m"].astype(float), rules)
    found = found.sort_values(["what", "from_measure_m"], ignore_index=True)
    unit = found["what"].map({"bends": "degrees", "clean-out distance": "m"})
    return found.assign(unit=unit, least_or_most=found["most"])
