"""From recorded rows to places: known points, fixes, launches, coverage."""

import numpy as np
import pytest
import shapely

from sewermap.errors import SourceError
from sewermap.line.known_points import Ground
from sewermap.line.place_figures import figures_of_place
from sewermap.line.place_rules import rules_from_texts
from sewermap.line.places import Places, place
from sewermap.line.scene import Scene, scene_of, with_push
from sewermap.store.tables import buildings, lateral_lines, observations, parcels, referents, runs
from tests.line.one_pipe import rows

LINE = shapely.LineString([(0, 0), (0, 20)])


def scene(*, parcel=None, points=None, rules=None, **run) -> Scene:
    """One lateral of 20 m from the main at (0, 0) to its building, and one run R on it, unless said otherwise."""
    given = {"run": ["R"], "lateral": ["L"], "unit": ["m"], **{name: [value] for name, value in run.items()}}
    plots = rows(parcels, property=["P"], geometry=[parcel]) if parcel is not None else rows(parcels)
    ground = Ground(plots, rows(buildings), rows(referents, **points) if points else rows(referents))
    lines = rows(lateral_lines, lateral=["L"], property=["P"], geometry=[LINE])
    return scene_of(rules_from_texts(rules or {}), lines, ground, rows(runs, **given), metres_per_unit=1.0)


def placed(where: Scene, **columns) -> Places:
    """Observations of run R placed in a scene."""
    count = len(columns["reading_m"])
    seen = rows(observations, run=["R"] * count, **{"kind": ["roots"] * count, **columns})
    seen = with_push(seen, where).assign(located_map_x=seen["located_x"].to_numpy(), located_map_y=seen["located_y"].to_numpy())
    model = where.rules.counter
    return place(
        seen,
        where.pushes,
        where.laterals,
        where.points,
        model,
        material_rule=where.rules.material_change_at_property_line,
    )


def test_a_run_from_the_building_counts_down_to_the_main() -> None:
    """Without a word about the launch, a run starts at the building and goes to the main."""
    places = placed(scene(), reading_m=[5.0]).observations
    assert places["measure_m"].tolist() == [15.0]
    assert (places["x"].tolist(), places["y"].tolist()) == ([0.0], [15.0])


def test_a_run_from_the_tie_in_counts_up() -> None:
    """The direction follows the launch."""
    assert placed(scene(launch="tie-in"), reading_m=[5.0]).observations["measure_m"].tolist() == [5.0]


def test_a_run_from_a_clean_out_goes_where_it_is_said_to() -> None:
    """A named referent is a launch point, by measure or by its place on the map."""
    points = {"lateral": ["L", "L"], "name": ["CO1", "CO2"], "kind": ["clean-out"] * 2, "measure_m": [12.0, np.nan]}
    points |= {"x": [np.nan, 0.5], "y": [np.nan, 8.0]}
    up = scene(points=points, launch="co1", direction="to building")
    down = scene(points=points, launch="CO2", direction="to main")
    assert placed(up, reading_m=[5.0]).observations["measure_m"].tolist() == [17.0]
    assert placed(down, reading_m=[5.0]).observations["measure_m"].tolist() == [3.0]


def test_a_launch_measure_beats_the_name_of_the_launch() -> None:
    """Whoever says a measure knows better than a name."""
    assert placed(scene(launch_measure_m=18.0), reading_m=[5.0]).observations["measure_m"].tolist() == [13.0]


def test_riser_and_counter_start_are_taken_off() -> None:
    """The cable in a riser, and what the counter showed at the launch, are no way along the line."""
    places = placed(scene(launch_reading_m=2.0, lead_in_m=1.0), reading_m=[8.0]).observations
    assert places["measure_m"].tolist() == [15.0]


def test_an_unknown_launch_point_leaves_the_run_unplaced_and_says_so() -> None:
    """Nothing is guessed, and the reason stands with the row, the run and the warnings."""
    places = placed(scene(launch="CO9"), reading_m=[5.0])
    assert np.isnan(places.observations["measure_m"]).all()
    assert places.observations["reason"].tolist() == ["the launch point is not known on this lateral"]
    assert places.coverages["notes"].tolist() == ["the launch point is not known on this lateral"]
    assert "the launch point is not known on this lateral" in places.warnings["reason"].tolist()


@pytest.mark.parametrize(("kind", "measure_m"), [("tie-in", 0.0), ("building", 20.0), ("property line", 8.0)])
def test_points_that_every_lateral_has_are_fixes_by_their_kind(kind: str, measure_m: float) -> None:
    """Even when no referent is named; the property line where the line leaves its own parcel."""
    where = scene(parcel=shapely.box(-5, 8, 5, 30), launch_measure_m=10.0)
    there = abs(10.0 - measure_m) + 0.9
    direction = scene(parcel=shapely.box(-5, 8, 5, 30), launch_measure_m=10.0, direction="to building")
    where = direction if measure_m > 10 else where
    free, fixed = (placed(where, reading_m=[there], kind=[seen]).observations.iloc[0] for seen in ("roots", kind))
    if np.isfinite(free["measure_m"]):
        assert abs(fixed["measure_m"] - measure_m) < abs(free["measure_m"] - measure_m) or fixed["reason"] == "at end"
    assert placed(where, reading_m=[there], kind=[kind]).coverages["fixes"].tolist() == [1]


def test_a_named_referent_is_a_fix_and_an_unknown_one_is_told() -> None:
    """A name that the lateral does not have fixes nothing, and is a warning."""
    points = {"lateral": ["L"], "name": ["CO1"], "kind": ["clean-out"], "measure_m": [12.0], "sigma_m": [0.05]}
    where = scene(points=points)
    assert placed(where, reading_m=[8.2], referent=["co1"]).coverages["fixes"].tolist() == [1]
    lost = placed(where, reading_m=[8.2], referent=["CO7"])
    assert lost.coverages["fixes"].tolist() == [0]
    assert lost.warnings["reason"].str.contains("no known point").any()


def test_a_material_change_is_a_fix_only_where_the_place_says_so() -> None:
    """Owner's and town's plastic change kind at the property line in some places (common practice, no source)."""
    parcel = shapely.box(-5, 8, 5, 30)
    rule = {"boundary": "material_change_at_property_line = true"}
    for rules, fixes in (({}, 0), (rule, 1)):
        where = scene(parcel=parcel, rules=rules)
        assert placed(where, reading_m=[12.1], kind=["material change"]).coverages["fixes"].tolist() == [fixes]


def test_a_located_head_is_a_fix_unless_it_lies_far_from_the_line() -> None:
    """A point 4 m beside a line drawn to 0.3 m is not this line's."""
    near = placed(scene(), reading_m=[8.0], located_x=[0.2], located_y=[11.5])
    far = placed(scene(), reading_m=[8.0], located_x=[4.0], located_y=[11.5])
    assert 11.5 < near.observations["measure_m"].iloc[0] < 12.0
    assert far.observations["measure_m"].tolist() == [12.0]
    assert far.warnings["reason"].tolist() == ["the head was located 4.0 m away from the line, too far to fix the counter by it"]


def test_sigma_holds_the_map_and_is_never_less_than_what_a_line_shares() -> None:
    """However many fixes: they lie on one drawn line, and half of its variance is common to all of it."""
    kinds = ["tie-in", "building", "property line", "roots"]
    where = scene(parcel=shapely.box(-5, 8, 5, 30), launch_measure_m=19.0)
    sigma = placed(where, reading_m=[19.0, 0.0, 11.0, 6.0], kind=kinds).observations["sigma_m"]
    assert (sigma >= 0.3 * np.sqrt(0.5) - 1e-12).all()
    assert (placed(where, reading_m=[6.0]).observations["sigma_m"] > 0.42).all()


def test_coverage_ends_where_the_push_ended() -> None:
    """With an end reading that counts, else the last reading; a run in which nothing was read covers nothing."""
    assert placed(scene(end_reading_m=15.0), reading_m=[5.0]).coverages["from_measure_m"].tolist() == [pytest.approx(4.9)]
    assert placed(scene(), reading_m=[5.0]).coverages["from_measure_m"].tolist() == [pytest.approx(14.9)]
    empty = placed(scene(), reading_m=[])
    assert empty.coverages[["from_measure_m", "to_measure_m"]].isna().all(axis=None)


def test_whose_side_is_said_with_its_probability() -> None:
    """Far inside the parcel private, far outside public, at its edge undetermined, and unknown without a parcel."""
    where = scene(parcel=shapely.box(-5, 8, 5, 30))
    sides = placed(where, reading_m=[5.0, 12.0, 17.0]).observations
    assert sides["side"].tolist() == ["private", "undetermined", "public"]
    assert placed(scene(), reading_m=[5.0]).observations["side"].isna().all()


def test_a_survey_and_a_parcel_that_agree_are_weighed_and_a_conflict_is_told() -> None:
    """Inverse variance where they agree; over 3 sigma apart nothing is averaged: the survey holds."""
    parcel = shapely.box(-5, 8, 5, 30)
    survey = {"lateral": ["L"], "name": ["pin"], "kind": ["property line"], "sigma_m": [0.1]}
    agree = scene(parcel=parcel, points=survey | {"measure_m": [8.3]})
    clash = scene(parcel=parcel, points=survey | {"measure_m": [11.0]})
    assert 8.2 < agree.laterals.table["property_line_m"].iloc[0] < 8.3
    assert agree.laterals.table["property_line_from"].tolist() == ["parcel and survey"]
    assert agree.warnings.empty
    assert clash.laterals.table["property_line_m"].tolist() == [11.0]
    assert "3.00 m from where the line leaves its parcel" in clash.warnings["reason"].iloc[0]


def test_a_surveyed_property_line_is_known_under_its_own_name_too() -> None:
    """A crew that passes the pin by name fixes the counter at the property line."""
    survey = {"lateral": ["L"], "name": ["Pin 7"], "kind": ["property line"], "measure_m": [8.3]}
    assert placed(scene(points=survey), reading_m=[11.8], referent=["pin 7"]).coverages["fixes"].tolist() == [1]


def test_a_surveyed_building_stands_before_the_end_of_the_drawn_line() -> None:
    """Whatever name it was given: the run was launched where the wall was surveyed."""
    wall = {"lateral": ["L"], "name": ["wall"], "kind": ["building"], "measure_m": [19.0]}
    assert placed(scene(points=wall), reading_m=[5.0]).observations["measure_m"].tolist() == [14.0]


def test_common_figures_are_estimated_only_where_enough_runs_hold_fixes() -> None:
    """One run is no town: the figures of common practice stay."""
    where = scene()
    seen = with_push(rows(observations, run=["R"], kind=["tie-in"], reading_m=[21.0]), where)
    seen = seen.assign(located_map_x=np.nan, located_map_y=np.nan)
    assert figures_of_place(where, seen) == where.rules.counter


@pytest.mark.parametrize("text", ["material_change = true", "material_change_at_property_line = 1", "what is this"])
def test_a_boundary_rule_that_cannot_be_meant_is_refused(text: str) -> None:
    """In a sentence that names the rule file."""
    with pytest.raises(SourceError, match="the rule file 'boundary'"):
        rules_from_texts({"boundary": text})


@pytest.mark.parametrize("text", ["[counter]\nspeed = 3", "[counter]\nscale = -1", "what is this"])
def test_a_counter_rule_that_cannot_be_meant_is_refused(text: str) -> None:
    """In a sentence that names the rule file."""
    with pytest.raises(SourceError, match="the rule file 'counter'"):
        rules_from_texts({"counter": text})
