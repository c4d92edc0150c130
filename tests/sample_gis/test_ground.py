"""The pipes in the ground and the map that is drawn of them. Reference: shapely (GEOS) on the same lines."""

from dataclasses import replace

import numpy as np
import pyproj
import pytest
import shapely

from sample_gis import DEMO, make_town
from sample_gis.layers import areas, line_strings, main_lines, street_lines
from sample_gis.streets import CRS

TRUE_MAP = replace(DEMO, map_accuracy_m=(0.0, 0.0))
"""A town whose map is without error, so that what is drawn is what is true."""


@pytest.fixture(scope="module")
def town():
    """400 laterals, drawn as they lie."""
    return make_town(7, 400, TRUE_MAP)


def test_lengths_are_those_of_laterals(town):
    """Laterals are 8 to 40 m long, and start on their street's main."""
    length = town.ground.true.length_m
    assert (length > 8.0).all()
    assert (length < 40.0).all()
    starts = shapely.points(town.ground.true.xy[:, 0])
    assert shapely.distance(starts, main_lines(town)[town.lots.street]).max() < 0.2


def test_points_along_a_pipe_agree_with_shapely(town):
    """A measure on a true pipe is where shapely's line_interpolate_point puts it."""
    lines = line_strings(town.ground.true)
    assert np.allclose(shapely.length(lines), town.ground.true.length_m, atol=1e-9)
    line = np.repeat(np.arange(len(lines)), 5)
    measure = np.tile([0.0, 0.2, 0.5, 0.9, 1.0], len(lines)) * town.ground.true.length_m[line]
    expected = shapely.get_coordinates(shapely.line_interpolate_point(lines[line], measure))
    assert np.abs(town.ground.true.point_at(line, measure) - expected).max() < 1e-8


def test_property_line_is_where_the_pipe_crosses_its_lot(town):
    """The true property line's measure is the length of pipe outside the lot, as shapely cuts it."""
    outside = shapely.difference(line_strings(town.ground.true), areas(town.ground.parcel))
    assert np.abs(shapely.length(outside) - town.ground.property_line_m).max() < 1e-6


def test_houses_stand_in_lots_and_lots_beside_each_other(town):
    """Each house lies within its lot and touches its pipe's end; lots overlap nowhere worth mentioning."""
    lots, houses = areas(town.ground.parcel), areas(town.ground.building)
    assert shapely.is_valid(lots).all()
    assert shapely.is_ccw(shapely.get_exterior_ring(lots)).all()
    assert shapely.area(shapely.difference(houses, lots)).max() < 0.5
    ends = shapely.points(town.ground.true.xy[:, -1])
    assert shapely.distance(ends, houses).max() < 1e-6
    one, other = shapely.STRtree(lots).query(lots, predicate="intersects")
    pairs = one < other
    assert shapely.area(shapely.intersection(lots[one[pairs]], lots[other[pairs]])).max() < 8.0


def test_bends_are_fittings_that_one_can_buy(town):
    """Bends are of 22.5, 45 or 90 degrees or of two such at one place, up to three on a line."""
    turns = town.ground.turn_deg[town.ground.turn_deg > 0.0]
    sums = np.array([22.5, 45.0, 67.5, 90.0, 112.5, 135.0])
    assert np.abs(turns[:, None] - sums).min(axis=1).max() < 1e-6
    assert town.ground.true.count.max() == 5


@pytest.mark.parametrize("rigid", [0.0, 0.7, 1.0])
def test_map_is_as_wrong_as_it_says(rigid):
    """A drawn vertex deviates from the true one by map_accuracy (one sigma) on each axis, however much of it is shared."""
    town = make_town(11, 3000, replace(DEMO, rigid_share=rigid))
    ground = town.ground
    real = np.arange(5) < ground.true.count[:, None]
    off = (ground.drawn.xy - ground.true.xy)[real] / np.repeat(ground.map_accuracy_m, ground.true.count)[:, None]
    assert off.std(axis=0) == pytest.approx([1.0, 1.0], rel=0.05)
    assert np.abs(off.mean(axis=0)).max() < 0.06


def test_town_lies_where_its_crs_is_good_and_nobody_lives():
    """Coordinates lie in the area of use of EPSG:26910 (EPSG registry, by pyproj), and far west of its coast, in the sea."""
    town = make_town(1, 60)
    bounds = shapely.total_bounds(street_lines(town, 0.0))
    crs = pyproj.CRS(CRS)
    west, south, east, north = pyproj.Transformer.from_crs(crs, "EPSG:4326", always_xy=True).transform_bounds(*bounds)
    use = crs.area_of_use
    assert use.west < west < east < -125.5
    assert use.south < south < north < use.north
