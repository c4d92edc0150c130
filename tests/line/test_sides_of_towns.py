"""Whose side, against the truth of fresh invented towns: told, right, and as sure as it says."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from sample_gis.frames import frames
from sample_gis.generator import make_town
from sample_gis.settings import EASY, HARD
from sample_gis.truth import observation_truth
from sewermap.follow.together import placed_together
from sewermap.history.kinds import vocabulary
from sewermap.line.known_points import Ground
from sewermap.line.material_changes import with_material_changes
from sewermap.line.place_figures import figures_of_place
from sewermap.line.place_rules import rules_from_texts
from sewermap.line.scene import scene_of, with_push

TOWNS = {"easy": (EASY, 90210, 14_000), "hard": (HARD, 90211, 7_000)}


def sides(name: str, laterals: int, rule: str = "") -> pd.DataFrame:
    """Every sighting of a defect in a town: the side and probability told, whether it truly is on private ground."""
    settings, seed, _ = TOWNS[name]
    town = make_town(seed, laterals, settings)
    tables = frames(town)
    ground = Ground(tables["parcels"], tables["buildings"], tables["referents"])
    rules = rules_from_texts({"boundary": rule})
    scene = scene_of(rules, tables["lateral_lines"], ground, tables["runs"], metres_per_unit=1.0)
    seen = with_push(tables["observations"], scene)
    seen = seen.assign(located_map_x=seen["located_x"].to_numpy(), located_map_y=seen["located_y"].to_numpy())
    scene = replace(scene, rules=replace(rules, counter=figures_of_place(scene, seen)))
    scene = with_material_changes(scene, seen)
    places, _ = placed_together(scene, seen, tables["works"], vocabulary())
    truth = observation_truth(town)
    row = pd.Index(town.laterals["lateral"]).get_indexer(truth["lateral"])
    private = truth["true_measure_m"].to_numpy(float) > town.ground.property_line_m[row]
    told = places.observations[["side", "side_probability"]].assign(is_private=private)
    return told[truth["truth_id"].notna().to_numpy()]


@pytest.fixture(scope="module", params=list(TOWNS))
def town(request: pytest.FixtureRequest) -> pd.DataFrame:
    """The sides of more than 40,000 sightings of defects, parcels and lines drawn with the error that their map_accuracy says."""
    return sides(request.param, TOWNS[request.param][2])


def test_the_side_is_told_and_is_right(town: pd.DataFrame) -> None:
    """For at least 85 % the side is told (one without a known line counted against it), and for under 1 % it is wrong."""
    assert len(town) > 40_000
    told = town["side"].isin(["private", "public"])
    wrong = told & ((town["side"] == "private") != town["is_private"])
    assert told.mean() >= 0.85
    assert wrong.mean() < 0.01


def test_a_probability_is_as_good_as_it_says(town: pd.DataFrame) -> None:
    """In each tenth between 0.1 and 0.9 the share that is truly private lies within 0.1 of what was said."""
    tenth = np.floor(town["side_probability"] * 10).clip(0, 9)
    grouped = town.groupby(tenth)[["side_probability", "is_private"]].mean().loc[1:8]
    assert len(grouped) == 8
    assert (grouped["side_probability"] - grouped["is_private"]).abs().max() < 0.1, grouped


def test_where_materials_tell_the_line_more_sides_are_told() -> None:
    """With the place's rule more sides are told, and still under 1 % are wrong."""
    without, with_rule = (sides("easy", 2_000, rule) for rule in ("", "material_change_at_property_line = true"))
    told = [table["side"].isin(["private", "public"]) for table in (without, with_rule)]
    assert told[1].mean() > told[0].mean()
    assert (told[1] & ((with_rule["side"] == "private") != with_rule["is_private"])).mean() < 0.01
