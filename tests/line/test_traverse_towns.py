"""Are readings where they are said to be on lines that no map drew? Fresh invented towns whose truth is known.

The bounds are the project's own promise. Errors of the legs (1 % of scale, 3 degrees a bearing) and of surveyed ends (0.1 m an
axis) are common practice, no source.
"""

import numpy as np
import pandas as pd
import pytest

from sample_gis import EASY, HARD, make_town
from tests.line.town_without_lines import noted, placed_without_lines

LATERALS = 250
TOWNS = {"easy": (EASY, 5101), "hard": (HARD, 5102)}
WAYS = {"bearings": {}, "fittings": {"by_fittings": True}, "located": {"located": 3}}


@pytest.fixture(scope="module")
def placed() -> dict[str, pd.DataFrame]:
    """All readings of the towns by the way in which the legs were noted: error, within."""
    towns = {name: make_town(seed, LATERALS, settings) for name, (settings, seed) in TOWNS.items()}
    return {
        way: pd.concat([placed_without_lines(town, noted(town, np.random.default_rng(7), **how)) for town in towns.values()])
        for way, how in WAYS.items()
    }


@pytest.mark.parametrize("way", WAYS)
def test_true_places_lie_within_the_radius_told(placed, way):
    """93 % or more of all readings lie where they are said to, and hardly one is left out."""
    table = placed[way]
    assert table["error"].isna().mean() < 0.01
    known = table.dropna()
    assert (known["error"] <= known["within"]).mean() >= 0.93


@pytest.mark.parametrize("way", WAYS)
def test_the_radius_is_as_good_where_it_is_small_as_where_it_is_wide(placed, way):
    """In each quarter of the readings by the radius told it holds 90 % or more: near known ends and in the middle of a line."""
    known = placed[way].dropna()
    inside = (known["error"] <= known["within"]).groupby(pd.qcut(known["within"], 4)).mean()
    assert (inside >= 0.9).all()


@pytest.mark.parametrize("way", WAYS)
def test_the_radius_is_not_bought_with_width(placed, way):
    """Its median is at most 2.6 times the median error."""
    table = placed[way].dropna()
    assert table["within"].median() <= 2.6 * table["error"].median()


@pytest.mark.parametrize(("way", "most_m"), [("bearings", 0.7), ("fittings", 0.7), ("located", 0.35)])
def test_the_median_error_is_small(placed, way, most_m):
    """Under 0.7 m with the legs and both ends alone, under 0.35 m with three points located to 0.3 m."""
    assert placed[way]["error"].median() < most_m
