"""How the town's pipes fall, and what its map says of it."""

import numpy as np
import pytest

from sample_gis import make_town
from sample_gis.slopes import TAPE_SD_M

QUARTER, EIGHTH = 1 / 48, 1 / 96
"""1/4 and 1/8 in per ft: International Plumbing Code, Table 704.1, as adopted in Chicago's municipal code."""


@pytest.fixture(scope="module")
def town():
    """400 laterals."""
    return make_town(5, 400)


def test_most_fall_as_the_code_asks_some_do_not(town):
    """Most lines fall by 1/8 to 1/4 in per ft, a tenth or so too little, exactly one runs the wrong way."""
    slope = town.falls["true_slope"]
    assert (slope.between(EIGHTH, QUARTER)).mean() == pytest.approx(0.88, abs=0.05)
    assert ((slope > 0) & (slope < EIGHTH)).sum() > 20
    assert (slope < 0).sum() == 1
    assert slope.max() <= QUARTER


def test_fall_is_that_of_the_lines_length(town):
    """Slope times length of the true pipe is the difference of its inverts, which lie above nought and in the ground."""
    falls = town.falls
    fall_m = falls["true_building_invert_m"] - falls["true_tie_in_invert_m"]
    assert np.allclose(fall_m, falls["true_slope"] * town.ground.true.length_m)
    assert (falls["true_tie_in_invert_m"] > 2.0).all()
    assert (falls["ground_m"] - falls[["true_tie_in_invert_m", "true_building_invert_m"]].max(axis=1) > 0.4).all()


def test_what_the_map_says_is_near_the_truth(town):
    """Told inverts are within 5 cm and told depths within a tape's error and 2.5 cm of rounding; some of each are missing."""
    falls = town.falls
    for end in ("tie_in", "building"):
        assert (falls[f"{end}_invert_m"] - falls[f"true_{end}_invert_m"]).abs().max() < 0.05
        off = falls[f"{end}_depth_m"] - (falls["ground_m"] - falls[f"true_{end}_invert_m"])
        assert off.abs().max() < 4.5 * TAPE_SD_M + 0.025
        assert 0.6 < falls[f"{end}_depth_m"].notna().mean() < 0.95
    assert (falls["tie_in_invert_m"].notna() == falls["building_invert_m"].notna()).all()
    assert falls[["tie_in_depth_m", "building_depth_m", "tie_in_invert_m"]].isna().all(axis=1).sum() > 2


def test_wrong_way_can_be_found(town):
    """The line that runs the wrong way has both inverts on the map, and they say so."""
    wrong = town.falls[town.falls["true_slope"] < 0].iloc[0]
    assert wrong["building_invert_m"] < wrong["tie_in_invert_m"]


def test_water_stands_over_a_stretch(town):
    """Standing water is noted from one reading to another, with its share of the bore."""
    pools = town.observations[town.observations["true_kind"] == "standing water"]
    assert len(pools) > 20
    assert (pools["reading_m"] != pools["to_reading_m"]).mean() > 0.9
    assert pools["percent"].between(5, 95).all()
