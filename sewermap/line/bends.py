"""Bends and clean-outs of laterals, against a rule of how far and round how many degrees one may have to rod."""

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sewermap.line.fall import DOUBTFUL, NO_RULE, against, joined, only_where, unsaid
from sewermap.line.fall_rules import FallRules
from sewermap.line.reference import Lines

WITHIN, OVER = "within", "over"
FROM_LEGS, FROM_DRAWING = "bends as recorded, readings taken as measures from the tie-in", "bends from the drawn line"
FITTINGS = np.array([22.5, 45.0, 90.0])
"""Angles of the common bends of the trade (common practice, no source)."""

_BEGIN, _CLEAN_OUT, _END = 0, 1, 2
_DECIMALS = 6
_ROUNDING = 1e-6


def bends(laterals: pd.Series, lines: Lines, legs: pd.DataFrame, rules: FallRules) -> pd.DataFrame:
    """The bends of laterals: lateral, measure_m, angle (degrees), how.

    ``laterals`` (L,) are the names of the lines. ``legs``: lateral, reading_m, angle; a lateral with an angle there has those
    bends and no others, at their readings. Of the rest the drawn line tells: where it turns in plan by ``rules.least_bend`` or
    more; a turn near a common fitting (``rules.snap``) is that fitting. A turn drawn in many small steps is not seen.

    >>> import shapely
    >>> from sewermap.line.fall_rules import fall_rules
    >>> from sewermap.line.reference import lines_from_geometries
    >>> line = lines_from_geometries([shapely.LineString([(0, 0), (0, 10), (5, 15)])])
    >>> none = pd.DataFrame({"lateral": [], "reading_m": [], "angle": []})
    >>> bends(pd.Series(["L1"]), line, none, fall_rules())[["measure_m", "angle"]].to_dict("records")
    [{'measure_m': 10.0, 'angle': 45.0}]
    """
    recorded = legs.dropna(subset=["angle", "reading_m"])
    recorded = recorded[recorded["lateral"].isin(laterals)]
    given = pd.DataFrame(
        {"lateral": recorded["lateral"], "measure_m": recorded["reading_m"], "angle": recorded["angle"], "how": FROM_LEGS}
    )
    drawn = _drawn(laterals, lines, rules)
    drawn = drawn[~drawn["lateral"].isin(given["lateral"])]
    both = pd.concat([given, drawn], ignore_index=True).astype({"lateral": "str", "how": "str"})
    return both.sort_values(["lateral", "measure_m", "angle"], ignore_index=True)


def one_a_place(points: pd.DataFrame, one_place_m: float) -> pd.DataFrame:
    """Clean-outs once each: lateral, measure_m, sigma_m.

    ``points``: lateral, measure_m, sigma_m, surveyed (a referent, not a sighting). Points of a lateral that follow each other
    within ``one_place_m`` are one; where it was surveyed, that holds, else the mean of the sightings with the best of their
    sigmas (sightings of one run share their errors, so more of them are not better).
    """
    known = points.dropna(subset="measure_m").sort_values(["lateral", "measure_m", "surveyed", "sigma_m"], ignore_index=True)
    apart = (known["lateral"] != known["lateral"].shift()) | (known["measure_m"].diff() > one_place_m)
    known["place"] = apart.cumsum()
    known["best"] = known.groupby("place")["surveyed"].transform("max") == known["surveyed"]
    places = known[known["best"]].groupby("place", sort=True)
    return places.agg({"lateral": "first", "measure_m": "mean", "sigma_m": "min"}).reset_index(drop=True)


def rodding(
    length_m: pd.Series, clean_outs: pd.DataFrame, turns: pd.DataFrame, diameter_m: pd.Series, rules: FallRules
) -> pd.DataFrame:
    """Each stretch without a clean-out, with the sum of its bends and its length against the rule: two rows a stretch.

    ``length_m``: by lateral. ``clean_outs`` as ``one_a_place`` gives them, ``turns`` as ``bends`` does. Tie-in and building are
    no clean-outs, but stretches begin and end there too. A bend at a clean-out counts for the stretch towards the building.
    Returns lateral, what (``bends``, degrees, or ``clean-out distance``, metres), from_measure_m, to_measure_m, value, sigma
    (of a distance), most, against, verdict (``within``, ``over``, ``doubtful``, ``no limit known``) and note.
    """
    stretches = _stretches(length_m, clean_outs)
    summed = _summed(stretches, turns)
    diameter = stretches["lateral"].map(diameter_m).to_numpy(float)
    table = rules.clean_outs
    distance = stretches["to_measure_m"] - stretches["from_measure_m"]
    parts = []
    for what, limit, value, sigma, note in (
        ("bends", "bends", summed["angle"], np.nan, summed["note"]),
        ("clean-out distance", "every", distance, stretches["sigma"], ""),
    ):
        part = stretches[["lateral", "from_measure_m", "to_measure_m"]].assign(what=what, value=value, sigma=sigma)
        part["most"] = rules.limit(table, limit, diameter)
        part["against"] = against(table)
        part["verdict"] = pd.Series(_verdicts(part, rules.doubt_sigmas), part.index, dtype="str")
        silent = part["most"].isna().to_numpy()
        why = np.where(np.isnan(table.limits[limit]).all(), f"{against(table)} says nothing of {what}", unsaid(table, diameter))
        told = joined(
            np.broadcast_to(np.asarray(note, object), len(part)), stretches["ends"].to_numpy(object), only_where(silent, why)
        )
        parts.append(part.assign(note=pd.Series(told, part.index, dtype="str")))
    rows = pd.concat(parts).sort_values(["lateral", "from_measure_m", "to_measure_m", "what"], ignore_index=True)
    return rows[["lateral", "what", "from_measure_m", "to_measure_m", "value", "sigma", "most", "against", "verdict", "note"]]


def _drawn(laterals: pd.Series, lines: Lines, rules: FallRules) -> pd.DataFrame:
    """Turns of the drawn lines in plan."""
    owner = np.repeat(np.arange(len(lines)), np.diff(lines.offsets))
    plan = lines.coords[:, :2]
    # A vertex on its predecessor (a riser, or drawn twice) has no direction of its own.
    moves = np.append(True, (owner[1:] != owner[:-1]) | (np.abs(np.diff(plan, axis=0)).max(axis=1) > 0))[: len(owner)]
    owner, plan, measure = owner[moves], plan[moves], lines.cumulative_m[moves]
    step = np.diff(plan, axis=0)
    before, after = step[:-1], step[1:]
    inner = (owner[2:] == owner[:-2]) if len(owner) > 1 else np.zeros(0, dtype=bool)
    cross = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]
    # Rounded, so that an angle that stands on a threshold is on the same side of it wherever the line lies.
    angle = np.degrees(np.abs(np.arctan2(cross, (before * after).sum(axis=1)))).round(_DECIMALS)
    bend = inner & (angle >= rules.least_bend)
    fitting = FITTINGS[np.abs(angle[:, None] - FITTINGS).argmin(axis=1)]
    angle = np.where(np.abs(angle - fitting) <= rules.snap, fitting, angle)
    names = laterals.to_numpy()[owner[1:-1][bend]] if len(owner) > 1 else np.zeros(0, dtype=object)
    return pd.DataFrame({"lateral": names, "measure_m": measure[1:-1][bend], "angle": angle[bend], "how": FROM_DRAWING})


def _stretches(length_m: pd.Series, clean_outs: pd.DataFrame) -> pd.DataFrame:
    """From each beginning or clean-out to the next, or to the end: lateral, from_measure_m, to_measure_m, sigma, ends."""
    begins = pd.DataFrame({"lateral": length_m.index, "measure_m": 0.0, "sigma_m": 0.0, "place": _BEGIN})
    ends = pd.DataFrame({"lateral": length_m.index, "measure_m": length_m.to_numpy(float), "sigma_m": 0.0, "place": _END})
    cuts = clean_outs[clean_outs["lateral"].isin(length_m.index)].assign(place=_CLEAN_OUT)
    cuts["measure_m"] = cuts["measure_m"].clip(lower=0.0, upper=cuts["lateral"].map(length_m).astype(float))
    cuts = pd.concat([begins, cuts, ends]).sort_values(["lateral", "place", "measure_m"], ignore_index=True)
    after = cuts.shift(-1)
    same = cuts["lateral"] == after["lateral"]
    found = pd.DataFrame({"lateral": cuts["lateral"], "from_measure_m": cuts["measure_m"], "to_measure_m": after["measure_m"]})
    found["sigma"] = np.hypot(cuts["sigma_m"], after["sigma_m"])
    none = (cuts["place"] == _BEGIN) & (after["place"] == _END)
    found["ends"] = only_where(none.to_numpy(), "no clean-out is recorded on this line")
    # A clean-out at the very end of its line cuts off a stretch of nothing.
    return found[same & (found["to_measure_m"] > found["from_measure_m"])].reset_index(drop=True)


def _summed(stretches: pd.DataFrame, turns: pd.DataFrame) -> pd.DataFrame:
    """The sum of the bends of each stretch, and how they are known: angle, note, row by row with the stretches."""
    last = turns["lateral"].map(stretches.groupby("lateral")["to_measure_m"].max()).astype(float)
    inside = turns.assign(measure_m=turns["measure_m"].clip(lower=0.0, upper=last)).dropna(subset="measure_m")
    starts = stretches.assign(stretch=np.arange(len(stretches))).sort_values("from_measure_m", kind="stable")
    placed = pd.merge_asof(
        inside.sort_values(["measure_m", "lateral", "angle"]),
        starts[["lateral", "from_measure_m", "stretch"]].astype({"lateral": inside["lateral"].dtype}),
        left_on="measure_m",
        right_on="from_measure_m",
        by="lateral",
    )
    placed["told"] = placed["angle"].map("{:g}".format).astype("str")
    sums = placed.groupby("stretch").agg(angle=("angle", "sum"), told=("told", " + ".join))
    sums = sums.reindex(np.arange(len(stretches))).astype({"told": "str"})
    known = turns.drop_duplicates("lateral").set_index("lateral")["how"]
    how = stretches["lateral"].map(known).astype("str").fillna(FROM_DRAWING)
    note = (sums["told"] + " degrees; ").fillna("") + how
    return pd.DataFrame({"angle": sums["angle"].fillna(0.0).to_numpy(), "note": note.to_numpy(object)})


def _verdicts(part: pd.DataFrame, sigmas: float) -> NDArray[np.object_]:
    value, most = part["value"].to_numpy(float), part["most"].to_numpy(float)
    doubt = sigmas * np.nan_to_num(part["sigma"].to_numpy(float))
    cases = {
        NO_RULE: np.isnan(most),
        OVER: value - doubt > most + _ROUNDING,
        WITHIN: value + doubt <= most + _ROUNDING,
    }
    return np.select(list(cases.values()), [np.full(len(part), word, dtype=object) for word in cases], DOUBTFUL)
