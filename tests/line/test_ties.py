"""Swing ties: shapely's circles meet in the place again, and what crosses flatly is not offered."""

import math

import numpy as np
import pandas as pd
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from sewermap.line.ties import TiePair, TieRules, building_corners, swing_ties, wind_of

NO_WALLS: list[shapely.Polygon] = []
FAR = 500_000.0
"""Maps have coordinates of hundreds of kilometres, and a centimetre must not be lost in them."""


def fixed(*places: tuple[float, float], rank: int = 0) -> pd.DataFrame:
    names = [f"peg {at}" for at in range(len(places))]
    return pd.DataFrame(
        {"name": pd.Series(names, dtype="str"), "rank": rank, "x": [x for x, _ in places], "y": [y for _, y in places]}
    )


def circles_meet(pair: TiePair, metres_per_unit: float = 1.0) -> list[tuple[float, float]]:
    """Where the two circles of a pair meet, by shapely alone: rings of chords that stay within 0.1 mm of the circle."""
    rings = []
    for tie in (pair.first, pair.second):
        radius = tie.distance_m / metres_per_unit
        quarter = max(64, math.ceil(math.pi / 4 / math.acos(1 - 1e-4 / tie.distance_m)))
        rings.append(shapely.Point(tie.x, tie.y).buffer(radius, quad_segs=quarter).exterior)
    meets = shapely.intersection(*rings)
    return [(point.x, point.y) for point in shapely.get_parts(meets)]


def angle_at(spot: tuple[float, float], pair: TiePair) -> float:
    """Degrees between the two ties, from the law of cosines."""
    a, b = math.dist(spot, (pair.first.x, pair.first.y)), math.dist(spot, (pair.second.x, pair.second.y))
    c = math.dist((pair.first.x, pair.first.y), (pair.second.x, pair.second.y))
    return math.degrees(math.acos(max(-1.0, min(1.0, (a * a + b * b - c * c) / (2 * a * b)))))


pegs = st.lists(st.tuples(st.floats(-40, 40), st.floats(-40, 40)), min_size=0, max_size=8)


@given(pegs, st.floats(-5, 5), st.floats(-5, 5), st.sampled_from([1.0, 0.3048, 1200 / 3937]))
def test_ties_give_the_place_back(places, x, y, metres_per_unit):
    """Whatever the fixed points, and in feet too: the told distances, in whole centimetres, meet within 1 cm of the place."""
    spot = (FAR + x, FAR + y)
    points = fixed(*((FAR + px, FAR + py) for px, py in places))
    for pair in swing_ties(spot, points, NO_WALLS, None, metres_per_unit):
        nearest = min(math.dist(spot, meet) for meet in circles_meet(pair, metres_per_unit)) * metres_per_unit
        assert nearest <= 0.01 + 2e-4


@given(pegs, st.floats(-5, 5), st.floats(-5, 5), st.floats(20, 80))
def test_a_bad_angle_is_never_offered(places, x, y, least):
    """No pair crosses more flatly than the rules say, none is nearer or farther than they say, and two pairs share no point."""
    rules = TieRules(least_angle_deg=least)
    pairs = swing_ties((x, y), fixed(*places), NO_WALLS, rules=rules)
    for pair in pairs:
        assert least - 1e-6 <= angle_at((x, y), pair) <= 180 - least + 1e-6
        assert pair.angle_deg == pytest.approx(angle_at((x, y), pair), abs=1e-3)
        assert all(0.99 <= tie.distance_m <= 30.01 for tie in (pair.first, pair.second))
    names = [tie.name for pair in pairs for tie in (pair.first, pair.second)]
    assert len(names) == len(set(names))
    assert len(pairs) <= 2


@given(pegs, st.floats(-5, 5), st.floats(-5, 5))
def test_the_side_is_the_places_side(places, x, y):
    """The circles meet twice: the words tell the meeting that is the place from the other, which lies the opposite way."""
    for pair in swing_ties((x, y), fixed(*places), NO_WALLS, street=(x + 3.0, y)):
        base = shapely.LineString([(pair.first.x, pair.first.y), (pair.second.x, pair.second.y)])
        middle = base.interpolate(0.5, normalized=True)
        unit = np.array([base.coords[1][0] - base.coords[0][0], base.coords[1][1] - base.coords[0][1]]) / base.length
        across = np.array([-unit[1], unit[0]])
        if (np.array([x - middle.x, y - middle.y]) @ across) < 0:
            across = -across
        assert pair.wind == wind_of(across)
        if pair.street_side is not None:
            street_is = np.array([x + 3.0 - middle.x, y - middle.y]) @ across
            assert pair.street_side == (street_is > 0)


def test_flat_or_hidden_or_far_points_make_no_pair():
    """Points in line with the place, behind a wall, too far or too near give no ties at all, and nothing is made up."""
    assert swing_ties((0, 0), fixed((5, 0), (10, 0), (-7, 0)), NO_WALLS) == []
    assert swing_ties((0, 0), fixed((5, 0), (5, 3)), NO_WALLS) == []  # 31°
    assert swing_ties((0, 0), fixed((31, 0), (0, 31)), NO_WALLS) == []
    assert swing_ties((0, 0), fixed((0.5, 0), (0, 0.5)), NO_WALLS) == []
    assert swing_ties((0, 0), fixed(), NO_WALLS) == []
    assert len(swing_ties((0, 0), fixed((5, 0), (0, 5)), NO_WALLS)) == 1
    assert swing_ties((0, 0), fixed((5, 0), (0, 5)), [shapely.box(2, -1, 3, 1)]) == []


def test_a_tape_may_run_along_a_wall_but_not_through_a_house():
    """Of a house, the corners that the place sees are used, the far ones never."""
    house = shapely.box(0, 0, 10, 8)
    corners = building_corners([house], ["the house"], (13, 4))
    (pair,) = swing_ties((13, 4), corners, [house])
    assert {pair.first.name, pair.second.name} == {"north-east corner of the house", "south-east corner of the house"}
    assert pair.first.distance_m == pair.second.distance_m == 5.0
    assert pair.wind == "east"
    flush = swing_ties((15, 0), corners, [house])
    assert "south-east corner of the house" in {flush[0].first.name, flush[0].second.name}


def test_square_and_near_pairs_come_first():
    """A pair that crosses at 90° beats one at 45°, and of two square pairs the nearer wins."""
    best, second = swing_ties((0, 0), fixed((3, 0), (0, 4), (20, 0), (0, 20)), NO_WALLS)
    assert {best.first.name, best.second.name} == {"peg 0", "peg 1"}
    assert {second.first.name, second.second.name} == {"peg 2", "peg 3"}


def test_map_corners_only_where_nothing_else_serves():
    """A parcel's corner is offered only where no pair of things is good, however near it lies."""
    lot = fixed((2, 0), (0, 2), rank=1).assign(name=["lot a", "lot b"])
    things = fixed((9, 0), (0, 9))
    (pair,) = swing_ties((0, 0), pd.concat([lot, things], ignore_index=True), NO_WALLS)
    assert {pair.first.name, pair.second.name} == {"peg 0", "peg 1"}
    assert len(swing_ties((0, 0), lot, NO_WALLS)) == 1


def test_corners_are_where_walls_turn():
    """A bend of 10°, a vertex in a straight wall and a round tank are no corners; an inner corner is one, and is called so."""
    bent = shapely.Polygon([(0, 0), (5, 0), (10, 0.9), (10, 6), (5, 6), (0, 6)])
    assert len(building_corners([bent], ["b"], (20, 0))) == 4
    assert building_corners([shapely.Point(0, 0).buffer(4, quad_segs=16)], ["tank"], (20, 0)).empty
    ell = shapely.Polygon([(0, 0), (10, 0), (10, 4), (5, 4), (5, 9), (0, 9)])
    names = building_corners([ell, None], ["house 5", "nothing"], (20, 3))["name"].tolist()
    assert "north-east inner corner of house 5" in names
    assert "north-east corner of house 5 (the one nearest to the place)" in names
    assert "north-east corner of house 5 (the second nearest to the place)" in names
    assert len(names) == len(set(names)) == 6


def test_corners_do_not_depend_on_how_a_ring_was_drawn():
    """Clockwise or not, started at any vertex, in parts or not: the same corners with the same names."""
    ring = [(0, 0), (10, 0), (10, 4), (5, 4), (5, 9), (0, 9)]
    drawn = [shapely.Polygon(ring[at:] + ring[:at]) for at in range(6)]
    drawn += [shapely.reverse(shape) for shape in drawn] + [shapely.MultiPolygon([shape]) for shape in drawn]
    tables = [
        building_corners([shape], ["h"], (20, 3)).sort_values(["x", "y"], ignore_index=True)  # one house each
        for shape in drawn
    ]
    for table in tables:
        pd.testing.assert_frame_equal(table, tables[0])


def test_winds_are_the_eight_of_the_compass():
    """East along x, north along y, and the six between (the usual compass card)."""
    around = [wind_of((math.cos(at * math.pi / 4), math.sin(at * math.pi / 4))) for at in range(8)]
    assert around == ["east", "north-east", "north", "north-west", "west", "south-west", "south", "south-east"]
