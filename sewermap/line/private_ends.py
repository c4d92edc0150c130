"""Where private ends on each lateral, by the rule of the place."""

from dataclasses import replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sewermap.line.boundary_rule import BUILDING, CLEAN_OUT, PROPERTY_LINE, TIE_IN, BoundaryRule
from sewermap.line.known_points import Laterals
from sewermap.line.property_line import set_notes


def with_private_ends(laterals: Laterals, points: pd.DataFrame) -> Laterals:
    """The laterals with private_ends_m, private_ends_sigma_m and private_ends_at (which point that is).

    ``points``: of ``known_points``. Where a clean-out should be the limit and there is none near the property line, it is the
    property line, and property_line_note says so.
    """
    table, rule = laterals.table.copy(), laterals.boundary
    table["private_ends_m"] = table["property_line_m"]
    table["private_ends_sigma_m"] = table["property_line_sigma_m"]
    at = pd.Series(PROPERTY_LINE, index=table.index, dtype="str")
    if rule.private_ends in (TIE_IN, BUILDING):
        table["private_ends_m"] = 0.0 if rule.private_ends == TIE_IN else table["length_m"]
        table["private_ends_sigma_m"] = 0.0
        at = pd.Series(rule.private_ends, index=table.index, dtype="str")
    elif rule.private_ends == CLEAN_OUT:
        found = _clean_outs_at_the_line(table, points, rule)
        has = found["measure_m"].notna().to_numpy()
        table["private_ends_m"] = found["measure_m"].where(has, table["property_line_m"])
        table["private_ends_sigma_m"] = found["sigma_m"].where(has, table["property_line_sigma_m"])
        at = at.mask(has, CLEAN_OUT)
        _tell_where_none(table, ~has, rule)
    table["private_ends_at"] = at
    return replace(laterals, table=table)


def ends_there(points: pd.DataFrame, table: pd.DataFrame) -> NDArray[np.bool_]:
    """Which of the known points are the ones at which private ends, as ``table`` says of their laterals."""
    of = table.iloc[points["lateral"].to_numpy(np.int64)]
    at, kind = of["private_ends_at"].to_numpy(object), points["kind"].to_numpy(object)
    same = (kind == PROPERTY_LINE) | (points["measure_m"].to_numpy(float) == of["private_ends_m"].to_numpy(float))
    return np.asarray((kind == at) & np.isin(kind, (PROPERTY_LINE, CLEAN_OUT)) & same, dtype=bool)


def _clean_outs_at_the_line(table: pd.DataFrame, points: pd.DataFrame, rule: BoundaryRule) -> pd.DataFrame:
    """Row by row with the laterals the clean-out at the line: the nearest within reach, or the only one if no line is known."""
    outs = points[(points["kind"] == CLEAN_OUT).to_numpy()].drop_duplicates(["lateral", "measure_m"])
    line = table["property_line_m"].to_numpy(float)[outs["lateral"].to_numpy(np.int64)]
    away = (outs["measure_m"] - line).abs()
    alone = np.isnan(line) & (outs.groupby("lateral")["name"].transform("size") == 1).to_numpy()
    near = outs.assign(away=away.fillna(0.0))[(away <= rule.clean_out_within).to_numpy() | alone]
    # Equally near ones on both sides: the one nearer to the main, in any order of rows.
    nearest = near.sort_values(["lateral", "away", "measure_m"]).drop_duplicates("lateral")
    return pd.DataFrame(nearest.set_index("lateral")[["measure_m", "sigma_m"]].reindex(np.arange(len(table)))).set_axis(
        table.index
    )


def _tell_where_none(table: pd.DataFrame, lacking: NDArray[np.bool_], rule: BoundaryRule) -> None:
    notes = table["property_line_note"].fillna("").to_numpy(object).copy()
    known = table["property_line_m"].notna().to_numpy()
    within = f"no clean-out is known within {rule.clean_out_within:g} m of the property line, so private ends there"
    words = np.where(known, within, "which clean-out stands at the line is not known either")[lacking]
    notes[lacking] = np.where(notes[lacking] == "", "", notes[lacking] + "; ") + words
    set_notes(table, notes)
