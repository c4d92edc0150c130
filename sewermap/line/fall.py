"""How much a lateral falls between the points where its level is known, against a table of least slopes.

The findings say against which table; whether it rules there, local code and the authority decide.
"""

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sewermap.line.fall_rules import FallRules, SizeTable
from sewermap.line.slope_texts import ratio_texts

STEEP, FLAT, APPROVED, BACKWARDS = "steep enough", "flatter than", "only with approval", "runs backwards"
DOUBTFUL, NO_RULE = "doubtful", "no limit known"
SLOPE_COLUMNS = [
    "lateral", "from_measure_m", "to_measure_m", "fall_m", "plan_m", "slope", "sigma", "least", "with_approval", "against",
    "verdict", "note",
]  # fmt: skip

_SAME_M = 0.01
"""Points of one lateral nearer than this are one point, measured twice."""

_ROUNDING = 1e-9
"""A slope may miss its limit by this share of it: rounding, not a fault."""

Floats = NDArray[np.float64]
Texts = NDArray[np.object_]


def slopes(levels: pd.DataFrame, diameter_m: pd.Series, rules: FallRules) -> pd.DataFrame:
    """The fall between neighbouring known points of each lateral, against the least slope for its size.

    ``levels``: lateral, measure_m, level_m (elevation, or minus a depth), sigma_m, how (in words; points known in different
    ways are not compared), and plan_m where the distance in plan differs from the measure, in any order of rows.
    ``diameter_m``: by lateral, NaN or absent where unknown. A slope is the fall towards the main for each length in plan; the
    level should rise with the measure, so a negative one runs backwards. Its sigma is that of the two levels over the length;
    errors of the measures themselves are small against it and left out.

    Returns one row a stretch: lateral, from_measure_m, to_measure_m, fall_m, plan_m (its length in plan), slope and sigma
    (NaN for a vertical drop), least and with_approval (the table's), against (its name), verdict and note. The verdict is
    ``steep enough``, ``flatter than`` (the least slope), ``only with approval``, ``runs backwards``, ``doubtful`` (the limit
    lies within 2 sigma, see fall.toml) or ``no limit known``.

    >>> from sewermap.line.fall_rules import fall_rules
    >>> known = pd.DataFrame({"lateral": "L1", "measure_m": [0.0, 40.0], "level_m": [9.0, 9.2], "sigma_m": 0.01, "how": ""})
    >>> slopes(known, pd.Series({"L1": 0.1}), fall_rules())[["slope", "least", "verdict"]].round(4).to_dict("records")
    [{'slope': 0.005, 'least': 0.0104, 'verdict': 'flatter than'}]
    """
    points = _once(levels)
    after = points.shift(-1)
    pair = (points["lateral"] == after["lateral"]) & (points["how"] == after["how"])
    low, high = points[pair].reset_index(drop=True), after[pair].reset_index(drop=True)
    found = pd.DataFrame({"lateral": low["lateral"], "from_measure_m": low["measure_m"], "to_measure_m": high["measure_m"]})
    found["fall_m"] = high["level_m"] - low["level_m"]
    found["plan_m"] = high["plan_m"] - low["plan_m"]
    run = found["plan_m"].where(found["plan_m"] > _SAME_M)
    found["slope"] = found["fall_m"] / run
    found["sigma"] = np.hypot(high["sigma_m"], low["sigma_m"]) / run
    diameter = found["lateral"].map(diameter_m).to_numpy(float)
    for name in ("least", "with_approval"):
        found[name] = rules.limit(rules.slopes, name, diameter)
    found["against"] = against(rules.slopes)
    found["verdict"] = pd.Series(_verdicts(found, rules.doubt_sigmas), dtype="str")
    found["note"] = pd.Series(_notes(found, low["how"], diameter, rules), dtype="str")
    return found[SLOPE_COLUMNS]


def even_grades(levels: pd.DataFrame) -> pd.DataFrame:
    """The even grade of each lateral between its outermost known points: from_measure_m, to_measure_m, slope, by lateral.

    ``levels`` as for ``slopes``. A lateral with fewer than two known points, or with both in one place, has no row.
    """
    points = _once(levels)
    ends = points.groupby(["lateral", "how"], sort=True)
    low, high = ends.first(), ends.last()
    run = high["plan_m"] - low["plan_m"]
    grade = pd.DataFrame({"from_measure_m": low["measure_m"], "to_measure_m": high["measure_m"]})
    grade["slope"] = (high["level_m"] - low["level_m"]) / run.where(run > _SAME_M)
    grade = grade.dropna().reset_index("how", drop=True)
    return grade[~grade.index.duplicated()]


def against(table: SizeTable) -> str:
    """How a finding names its table."""
    return f"table {table.name}"


def unsaid(table: SizeTable, diameter_m: Floats) -> Texts:
    """Why a table has no limit for pipes of these diameters (N,), in words."""
    unknown = f"the diameter is not known, and {against(table)} goes by size"
    return np.where(np.isnan(diameter_m), unknown, f"{against(table)} says nothing for this size").astype(object)


def joined(*parts: Texts) -> Texts:
    """Clauses (N,) one after the other with semicolons between; empty ones leave no trace."""
    told = np.full(len(parts[0]), "", dtype=object)
    for part in parts:
        told = told + np.where((told != "") & (part != ""), "; ", "") + part
    return told


def only_where(mask: NDArray[np.bool_], text: str | Texts) -> Texts:
    """A clause (N,) where a mask holds, else nothing."""
    return np.where(mask, text, "").astype(object)


def _once(levels: pd.DataFrame) -> pd.DataFrame:
    """Points in order, several of one place as their mean by inverse variance."""
    plan = levels["plan_m"] if "plan_m" in levels else levels["measure_m"]
    points = levels.assign(plan_m=plan).dropna(subset=["lateral", "measure_m", "level_m", "sigma_m"])
    points = points.sort_values(["lateral", "how", "measure_m", "level_m", "sigma_m"], ignore_index=True)
    other = (points["lateral"] != points["lateral"].shift()) | (points["how"] != points["how"].shift())
    place = (other | (points["measure_m"].diff() > _SAME_M)).cumsum()
    weight = 1 / np.maximum(points["sigma_m"].to_numpy(float), 1e-12) ** 2
    weighed = points.assign(weight=weight, **{name: points[name] * weight for name in ("measure_m", "plan_m", "level_m")})
    once = weighed.groupby(place, sort=True).agg(
        {"lateral": "first", "how": "first", "measure_m": "sum", "plan_m": "sum", "level_m": "sum", "weight": "sum"}
    )
    for name in ("measure_m", "plan_m", "level_m"):
        once[name] /= once["weight"]
    return once.assign(sigma_m=1 / np.sqrt(once["weight"])).reset_index(drop=True)


def _verdicts(found: pd.DataFrame, sigmas: float) -> Texts:
    slope, doubt = found["slope"].to_numpy(float), sigmas * found["sigma"].to_numpy(float)
    least, approved = found["least"].to_numpy(float), found["with_approval"].to_numpy(float)
    # A vertical drop has no slope, only a way that it goes.
    drops, climbs = (np.isnan(slope) & way for way in (found["fall_m"] >= 0, found["fall_m"] < 0))
    flat = slope + doubt < least * (1 - _ROUNDING)
    too_flat = flat & (np.isnan(approved) | (slope + doubt < approved * (1 - _ROUNDING)))
    cases = {
        BACKWARDS: climbs | (slope + doubt < 0),
        NO_RULE: np.isnan(least),
        STEEP: drops | (slope - doubt >= least * (1 - _ROUNDING)),
        FLAT: too_flat,
        APPROVED: flat & (slope - doubt >= approved * (1 - _ROUNDING)),
    }
    return np.select(list(cases.values()), [np.full(len(found), word, dtype=object) for word in cases], DOUBTFUL)


def _notes(found: pd.DataFrame, how: pd.Series, diameter: Floats, rules: FallRules) -> Texts:
    verdict, slope = found["verdict"].to_numpy(object), found["slope"].to_numpy(float)
    least = ratio_texts(found["least"].to_numpy(float))
    flatter = slope < found["least"].to_numpy(float)
    limit = found["with_approval"].to_numpy(float)
    backwards = (slope < 0) & (verdict != BACKWARDS)
    return joined(
        how.fillna("").to_numpy(object),
        only_where(np.isnan(slope), "a vertical drop"),
        only_where((verdict == DOUBTFUL) & flatter, "flatter than " + least + " as measured, but within its error"),
        only_where((verdict == DOUBTFUL) & ~flatter, "not flatter than " + least + " as measured, but within its error"),
        only_where(backwards, "it may run backwards"),
        only_where(~np.isnan(limit) & flatter, ratio_texts(limit) + " only with the authority's approval"),
        only_where(np.isnan(found["least"].to_numpy(float)), unsaid(rules.slopes, diameter)),
    )
