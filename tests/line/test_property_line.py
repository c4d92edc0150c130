"""The property line from three statements, and where private ends by the rule of the place."""

import numpy as np
import pandas as pd
import pytest
import shapely

from sewermap.errors import SourceError
from sewermap.line.boundary_rule import boundary_rule
from sewermap.line.known_points import Ground
from sewermap.line.material_changes import material_changes, with_material_changes
from sewermap.line.place_rules import rules_from_texts
from sewermap.line.places import place
from sewermap.line.property_line import added
from sewermap.line.scene import Scene, scene_of, with_push
from sewermap.store.tables import buildings, lateral_lines, observations, parcels, referents, runs
from tests.line.one_pipe import rows

LINE = shapely.LineString([(0, 0), (0, 20)])
PARCEL = shapely.box(-5, 8, 5, 30)
RULE = "material_change_at_property_line = true\n"
SURVEY = {"name": ["pin"], "kind": ["property line"], "sigma_m": [0.1]}


def scene(rule: str = RULE, *, parcel=PARCEL, points=None, launch=None, names=("R",)) -> Scene:
    """One lateral of 20 m drawn to 0.1 m, its parcel drawn to 0.2 m, and its runs from the building."""
    plots = rows(parcels) if parcel is None else rows(parcels, property=["P"], geometry=[parcel], map_accuracy_m=[0.2])
    known = rows(referents, lateral=["L"] * len(points["name"]), **points) if points else rows(referents)
    lines = rows(lateral_lines, lateral=["L"], property=["P"], geometry=[LINE], map_accuracy_m=[0.1])
    count = len(names)
    said = {name: [value] * count for name, value in {"lateral": "L", "unit": "m", "launch": launch}.items()}
    pushed = rows(runs, run=list(names), **said)
    texts = {"boundary": rule} if rule else {}
    return scene_of(rules_from_texts(texts), lines, Ground(plots, rows(buildings), known), pushed, metres_per_unit=1.0)


def seen(where: Scene, *things: tuple[str, float, str, str | None]) -> pd.DataFrame:
    """Observations (run, reading, kind, referent)."""
    run, reading, kind, referent = (list(column) for column in zip(*things, strict=True))
    table = with_push(rows(observations, run=run, reading_m=reading, kind=kind, referent=referent), where)
    return table.assign(located_map_x=np.nan, located_map_y=np.nan)


def told(where: Scene, *things: tuple[str, float, str, str | None]) -> tuple[pd.Series, list[str]]:
    """The lateral's row and the warnings after these observations were heard."""
    heard = with_material_changes(where, seen(where, *things)) if things else where
    return heard.laterals.table.iloc[0], heard.warnings["reason"].tolist()


# ---- statements ----


def test_a_material_change_is_weighed_with_the_parcel() -> None:
    """By 1 / sigma², from where the run's launch alone puts it: 12.3 m of cable from the building (by hand, scipy's formula)."""
    row, warnings = told(scene(), ("R", 12.3, "material change", None))
    own = 0.3**2 + 0.1**2 + (0.015 * 12.3) ** 2 + 0.0004 * 12.3
    parcel, change = 0.2**2, own
    weight = parcel / (parcel + change)
    assert row["property_line_m"] == pytest.approx(8.0 - 0.3 * weight, abs=1e-9)
    assert row["property_line_sigma_m"] == pytest.approx((1 / parcel + 1 / change) ** -0.5, abs=1e-9)
    assert row["property_line_from"] == "parcel and material change"
    assert pd.isna(row["property_line_note"])
    assert warnings == []
    assert (row["property_line_fix_m"], row["property_line_fix_sigma_m"]) == (8.0, pytest.approx(np.hypot(0.1, 0.2)))


def test_without_the_rule_a_material_change_says_nothing() -> None:
    """Everything stays as the map has it."""
    row, _ = told(scene(""), ("R", 12.3, "material change", None))
    assert (row["property_line_m"], row["property_line_from"]) == (8.0, "parcel")


def test_no_statement_feeds_on_itself() -> None:
    """Named as the property line, or noted beside it, the change is a fix of the counter, yet what it says is the same."""
    plain = told(scene(), ("R", 12.9, "material change", None))[0]
    named = told(scene(), ("R", 12.9, "material change", "property line"))[0]
    beside = told(scene(), ("R", 12.9, "material change", None), ("R", 12.9, "property line", None))[0]
    assert plain["property_line_m"] == named["property_line_m"] == beside["property_line_m"] < 8.0
    launched = scene(launch="property line", points={"name": ["x"], "kind": ["bend"], "measure_m": [3.0]})
    assert told(launched, ("R", 0.3, "material change", None))[0]["property_line_from"] == "parcel"


def test_a_fix_elsewhere_makes_it_sharper() -> None:
    """A run that passed a surveyed clean-out says more of the line than one that did not."""
    where = scene(points={"name": ["CO"], "kind": ["clean-out"], "measure_m": [9.0], "sigma_m": [0.05]})
    free = material_changes(where, seen(where, ("R", 12.2, "material change", None)))
    tied = material_changes(where, seen(where, ("R", 12.2, "material change", None), ("R", 11.0, "clean-out", "CO")))
    assert tied["sigma_m"][0] < free["sigma_m"][0]


def test_runs_are_weighed_and_share_the_map_once() -> None:
    """Two equal runs: half the variance of their own, and all of what their drawn line shares."""
    where = scene(names=("R", "S"))
    things = [(run, 12.3, "material change", None) for run in ("R", "S")]
    one, two = (material_changes(where, seen(where, *things[:count])).iloc[0] for count in (1, 2))
    shared = 0.5 * 0.1**2
    assert two["sigma_m"] ** 2 - shared == pytest.approx((one["sigma_m"] ** 2 - shared) / 2)
    assert (one["runs"], two["runs"]) == (1, 2)


def test_a_run_that_saw_it_change_twice_says_nothing_unless_it_names_one() -> None:
    """A repaired stretch changes material too; which change is the line's nobody knows."""
    two = (("R", 12.3, "material change", None), ("R", 5.0, "material change", None))
    assert told(scene(), *two)[0]["property_line_from"] == "parcel"
    named = (("R", 12.3, "material change", "property line"), two[1])
    assert told(scene(), *named)[0]["property_line_from"] == "parcel and material change"


def test_a_material_change_alone_tells_the_line_and_fixes_nothing() -> None:
    """Without parcel and survey: measure, sigma, the reason why nothing else tells it, and no fix."""
    row, _ = told(scene(parcel=None), ("R", 12.0, "material change", None))
    assert row["property_line_m"] == pytest.approx(8.0)
    assert row["property_line_from"] == "material change"
    assert "its own parcel is not known: no parcel bears its property" in row["property_line_note"]
    assert "the change of material that a run saw is the only word" in row["property_line_note"]
    assert np.isnan(row["property_line_fix_m"])
    where = scene(parcel=None)
    known = with_material_changes(where, seen(where, ("R", 12.0, "material change", None)))
    places = place(seen(where, ("R", 12.0, "material change", None)), known.pushes, known.laterals, known.points,
                   known.rules.counter, material_rule=True)  # fmt: skip
    assert places.coverages["fixes"].tolist() == [0]


@pytest.mark.parametrize(
    ("survey_m", "change_m", "used_m", "words"),
    [
        (8.1, 8.0, None, "parcel, survey and material change"),
        (8.1, 12.0, "without", "parcel and survey"),
        (14.0, 8.0, 14.0, "survey"),
        (None, 13.0, 8.0, "parcel"),
    ],
)
def test_what_contradicts_is_told_and_never_averaged(survey_m, change_m, used_m, words) -> None:
    """Survey before parcel before material change; over 3 sigma apart the later word is left out, with a note and a warning."""
    points = SURVEY | {"measure_m": [survey_m]} if survey_m else None
    row, warnings = told(scene(points=points), ("R", 20.0 - change_m, "material change", None))
    before, _ = told(scene(points=points))
    assert row["property_line_from"] == words
    if used_m is None:
        assert warnings == []
    else:
        assert row["property_line_m"] == (before["property_line_m"] if used_m == "without" else used_m)
        assert len(warnings) >= 1
        assert all(reason in row["property_line_note"] for reason in warnings)


def test_statements_are_added_by_variance() -> None:
    """0.3 and 0.4 m: weights 16/25 and 9/25, sigma 0.24 m (closed form); nothing known or said stays so."""
    measure, sigma, conflict = added(
        *np.array([[10.0, np.nan, 5.0], [0.3, np.nan, 0.2], [10.5, 3.0, np.nan], [0.4, 0.1, np.nan]])
    )
    assert measure.tolist() == [pytest.approx(10 + 0.5 * 9 / 25), 3.0, 5.0]
    assert sigma.tolist() == [pytest.approx(0.24), 0.1, 0.2]
    assert not conflict.any()


# ---- where private ends ----


def side_of_reading(where: Scene, reading_m: float = 5.0) -> tuple[str, float]:
    """Side and probability of roots at a reading."""
    thing = seen(where, ("R", reading_m, "roots", None))
    row = place(thing, where.pushes, where.laterals, where.points, where.rules.counter).observations.iloc[0]
    return row["side"], row["side_probability"]


OUTS = {"name": ["A", "B", "C"], "kind": ["clean-out"] * 3, "measure_m": [9.5, 6.9, 19.0], "sigma_m": [0.05, 0.07, 0.1]}


def test_private_ends_at_the_property_line_unless_said_otherwise() -> None:
    """The same measure and sigma."""
    row = scene("").laterals.table.iloc[0]
    assert (row["private_ends_m"], row["private_ends_sigma_m"], row["private_ends_at"]) == (
        8.0,
        pytest.approx(0.2),
        "property line",
    )


def test_private_ends_at_the_clean_out_at_the_line() -> None:
    """The nearest to the property line, with its own sigma."""
    row = scene('private_ends = "clean-out"', points=OUTS).laterals.table.iloc[0]
    assert (row["private_ends_m"], row["private_ends_sigma_m"], row["private_ends_at"]) == (6.9, 0.07, "clean-out")
    assert pd.isna(row["property_line_note"])


@pytest.mark.parametrize("within", ["1", '"3 ft"'])
def test_a_clean_out_far_from_the_line_is_not_at_it(within: str) -> None:
    """Then private ends at the property line, and the note says so."""
    row = scene(f'private_ends = "clean-out"\nclean_out_within = {within}', points=OUTS).laterals.table.iloc[0]
    assert (row["private_ends_m"], row["private_ends_at"]) == (8.0, "property line")
    assert "no clean-out is known within" in row["property_line_note"]


def test_the_only_clean_out_where_no_line_is_known() -> None:
    """One is the limit; of several nobody can say which, and private ends nowhere that is known."""
    one = {name: values[:1] for name, values in OUTS.items()}
    row = scene('private_ends = "clean-out"', parcel=None, points=one).laterals.table.iloc[0]
    assert (row["private_ends_m"], row["private_ends_at"]) == (9.5, "clean-out")
    row = scene('private_ends = "clean-out"', parcel=None, points=OUTS).laterals.table.iloc[0]
    assert np.isnan(row["private_ends_m"])
    assert "which clean-out stands at the line is not known either" in row["property_line_note"]


@pytest.mark.parametrize(
    ("ends", "limit_m", "side", "probability"), [("tie-in", 0.0, "private", 1.0), ("building", 20.0, "public", 0.0)]
)
def test_where_all_is_one_partys_there_is_no_doubt(ends, limit_m, side, probability) -> None:
    """At both ends of the line too, with a parcel and without."""
    for parcel in (PARCEL, None):
        where = scene(f'private_ends = "{ends}"', parcel=parcel)
        row = where.laterals.table.iloc[0]
        assert (row["private_ends_m"], row["private_ends_sigma_m"], row["private_ends_at"]) == (limit_m, 0.0, ends)
        assert {side_of_reading(where, reading) for reading in (0.0, 10.0, 20.0)} == {(side, probability)}


def test_how_sure_one_must_be() -> None:
    """The same probability is a side or none by the place's rule."""
    _, probability = side_of_reading(scene(""), 11.4)
    assert 0.8 < probability < 0.95
    assert side_of_reading(scene(""), 11.4)[0] == "undetermined"
    assert side_of_reading(scene("sure = 0.8"), 11.4)[0] == "private"
    assert side_of_reading(scene("sure = 0.9999"), 5.0)[0] == "private"


def test_a_coupling_near_the_property_line_may_be_its_very_joint() -> None:
    """Whose side it is on no reading can tell, unless the place's rule says that couplings there are as rare as elsewhere."""
    for share, undetermined in ((0.5, True), (0.0, False)):
        where = scene(f"couplings_at_property_line = {share}")
        coupling = seen(where, ("R", 11.1, "shifted coupling", None))
        row = place(coupling, where.pushes, where.laterals, where.points, where.rules.counter).observations.iloc[0]
        assert (row["side"] == "undetermined") == undetermined
    assert side_of_reading(scene(""), 11.1)[0] == "private"


@pytest.mark.parametrize(
    "text",
    ["private_ends = 'kerb'", "sure = 0.5", "sure = 1", "sure = true", "clean_out_within = -1", "clean_out_within = 'far'",
     "couplings_at_property_line = 1", "private = 1", "not toml"],
)  # fmt: skip
def test_a_rule_that_cannot_be_meant_is_refused(text: str) -> None:
    """In a sentence that names the rule file."""
    with pytest.raises(SourceError, match="the rule file 'boundary'"):
        boundary_rule(text)
