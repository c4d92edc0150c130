import time

import numpy as np
import pyproj
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from sewermap.errors import MeasureError
from sewermap.line.reference import Lines, lines_from_geometries, measure_of, parts_between, plan_of, point_at

FOOT = 0.3048
SURVEY_FOOT = 1200 / 3937


@st.composite
def batches(draw):
    """Lines far from the origin that never turn back, so that each of their points has one measure, and a map unit."""
    steps = st.tuples(st.floats(0.1, 10), st.floats(-10, 10))
    shapes = draw(st.lists(st.lists(steps, min_size=1, max_size=9), min_size=1, max_size=5))
    corners = [np.cumsum([(500_000.0, 5_400_000.0), *steps], axis=0) for steps in shapes]
    unit = draw(st.sampled_from([1.0, FOOT]))
    return lines_from_geometries([shapely.LineString(corner) for corner in corners], unit), corners


def asked(lines, shares):
    """A measure for each share, on the lines in turn."""
    which = np.arange(len(shares)) % len(lines)
    return which, np.asarray(shares) * lines.length_m[which]


shares = st.lists(st.floats(0, 1), min_size=1, max_size=12)


def one(*coords):
    """A batch of one line."""
    return lines_from_geometries([shapely.LineString(coords)])


def test_postgis_points_at_fractions():
    """ST_LineInterpolatePoint of the PostGIS manual (chapter Linear Referencing): one line, four fractions."""
    lines = one((25, 50), (100, 125), (150, 190))
    assert lines.length_m[0] == pytest.approx(188.07211451226576, abs=1e-12)
    expected = [
        (51.5974135047432, 76.5974135047432),
        (78.1948270094864, 103.194827009486),
        (104.132163186446, 130.37181214238),
        (127.066081593223, 160.18590607119),
    ]
    points = point_at(lines, [0] * 4, np.array([0.2, 0.4, 0.6, 0.8]) * lines.length_m[0])
    np.testing.assert_allclose(points, expected, atol=1e-11)


def test_postgis_three_dimensional_line():
    """ST_3DLineInterpolatePoint of the PostGIS manual: length and the point at a fifth of it."""
    lines = one((25, 50, 70), (100, 125, 90), (150, 190, 200))
    assert lines.length_m[0] == pytest.approx(245.13939306473696, abs=1e-12)
    np.testing.assert_allclose(point_at(lines, [0], lines.length_m * 0.2), [(59.06758929108215, 84.06758929108216)], atol=1e-12)


def test_postgis_lengths_in_two_and_three_dimensions():
    """The PostGIS manual's line with a 2-D length of 10 and a 3-D length of 14.819: with Z everywhere 3-D, else 2-D."""
    lines = lines_from_geometries(
        [
            shapely.LineString([(0, 0, 0), (0, 2, 5), (0, 10, 10)]),
            shapely.LineString([(0, 0), (0, 2), (0, 10)]),
            shapely.LineString([(0, 0, 0), (0, 2, np.nan), (0, 10, 10)]),
        ]
    )
    np.testing.assert_allclose(lines.length_m, [14.819145939191106, 10, 10], rtol=1e-14)


def test_postgis_feet_of_points():
    """ST_ClosestPoint and ST_LineLocatePoint of the PostGIS manual: feet, distances, and the house numbers of a street."""
    measure, distance = measure_of(one((0, 0), (30, 30)), [0], [(15, 15.1)])
    np.testing.assert_allclose(point_at(one((0, 0), (30, 30)), [0], measure), [(15.05, 15.05)], atol=1e-12)
    assert distance[0] == pytest.approx(0.0707107, abs=1e-7)
    bent = one((1, 2), (4, 5), (6, 7))
    np.testing.assert_allclose(point_at(bent, [0], measure_of(bent, [0], [(4, 3)])[0]), [(3, 4)], atol=1e-12)
    street = one((1, 2), (3, 4))
    fraction = measure_of(street, [0] * 3, [(1.01, 2.06), (2.02, 3.09), (3.03, 4.12)])[0] / street.length_m[0]
    np.testing.assert_allclose(fraction, [0.0175, 0.5275, 1.0], atol=1e-12)
    assert (10 + 10 * fraction).astype(int).tolist() == [10, 15, 20]


def test_postgis_part_of_a_line():
    """ST_LineSubstring of the PostGIS manual: the middle third of a bent line."""
    lines = one((20, 180), (50, 20), (90, 80), (120, 40), (180, 150))
    low, high = 0.333 * lines.length_m, 0.666 * lines.length_m
    expected = [(45.17311810399485, 45.74337011202746), (50, 20), (90, 80), (112.97593050157862, 49.36542599789519)]
    np.testing.assert_allclose(shapely.get_coordinates(parts_between(lines, [0], low, high)), expected, atol=1e-11)
    np.testing.assert_allclose(shapely.get_coordinates(parts_between(lines, [0], high, low)), expected[::-1], atol=1e-11)


def test_postgis_measures_of_vertices():
    """ST_AddMeasure of the PostGIS manual: measures 10 to 40 laid on (1 0, 2 0, 4 0) are 10, 20, 40 at its vertices."""
    lines = one((1, 0), (2, 0), (4, 0))
    np.testing.assert_allclose(10 + 30 * lines.cumulative_m / lines.length_m[0], [10, 20, 40])


@pytest.mark.parametrize("measure", [12.0, -3.0, np.nan, np.inf, 10 + 1e-6])
def test_a_measure_off_the_line_is_never_clamped(measure):
    """shapely.line_interpolate_point gives an end, or counts back, without a word: we say which measure is off its line."""
    line = shapely.LineString([(0, 0), (10, 0)])
    # The trap itself, as shapely has it today.
    assert shapely.line_interpolate_point(line, 12).wkt == "POINT (10 0)"
    assert shapely.line_interpolate_point(line, -3).wkt == "POINT (7 0)"
    lines = lines_from_geometries([line, line])
    with pytest.raises(MeasureError, match="not on line 1, which runs from 0 to 10 m"):
        point_at(lines, [0, 1], [5, measure])
    with pytest.raises(MeasureError, match="not on line 0"):
        parts_between(lines, [0], [5], [measure])


def test_rounding_at_the_ends_is_no_fault():
    """What is over an end by less than a billionth of the length is the end."""
    points = point_at(one((0, 0), (10, 0)), [0, 0], [10 + 9e-9, -9e-9])
    np.testing.assert_array_equal(points, [(10, 0), (0, 0)])


def test_the_foot_trap():
    """A map in US survey feet read as one in international feet is 2.280 ft off, while its lengths look right (pyproj).

    Same point in both: (728368.048, 877125.895) US survey ft is (728369.505, 877127.649) in EPSG:2223, Arizona Central.
    """
    survey = pyproj.CRS.from_proj4(
        "+proj=tmerc +lat_0=31 +lon_0=-111.916666666667 +k=0.9999 +x_0=213360 +datum=NAD83 +units=us-ft"
    )
    to_international = pyproj.Transformer.from_crs(survey, "EPSG:2223", always_xy=True).transform
    assert to_international(728368.048, 877125.895) == pytest.approx((728369.505, 877127.649), abs=0.001)
    assert np.hypot(728369.505 - 728368.048, 877127.649 - 877125.895) == pytest.approx(2.280, abs=0.001)

    drawn = np.array([(728368.048, 877125.895), (728398.048, 877165.895), (728398.048, 877215.895)])
    lines = lines_from_geometries([shapely.LineString(drawn)], survey.axis_info[0].unit_conversion_factor)
    same = lines_from_geometries([shapely.LineString(np.column_stack(to_international(*drawn.T)))], FOOT)
    assert lines.metres_per_unit == pytest.approx(SURVEY_FOOT, rel=1e-9)
    # A measure in metres is the same place on both maps …
    at = point_at(lines, [0], [20.0])
    np.testing.assert_allclose(np.column_stack(to_international(*at.T)), point_at(same, [0], [20.0]), atol=1e-4)
    # … and the wrong foot would hardly show: 100 ft differ by 0.0024 in.
    wrong = lines_from_geometries([shapely.LineString(drawn)], FOOT)
    assert (lines.length_m[0] - wrong.length_m[0]) / 0.0254 == pytest.approx(0.0024, abs=0.0001)


@pytest.mark.parametrize(("slope", "plan_ft"), [(1 / 48, 99.97831), (1 / 96, 99.99457), (1.0, 70.71068)])
def test_slope_and_plan(slope, plan_ft):
    """100 ft of pipe at 1/4 in per ft, 1/8 in per ft and 45 degrees cover so much of plan (closed form: 100 cos atan slope)."""
    lines = lines_from_geometries([shapely.LineString([(0, 0, 0), (200, 0, 200 * slope)])], FOOT)
    point = point_at(lines, [0], [100 * FOOT])
    assert point[0, 0] == pytest.approx(plan_ft, abs=1e-5)
    assert point[0, 0] == pytest.approx(100 * np.cos(np.arctan(slope)), abs=1e-9)


def test_a_riser_is_one_point_of_the_plan():
    """Along a vertical piece the measure goes on and the plan stands still; its foot has the measure of its beginning."""
    lines = one((0, 0, 0), (4, 0, 0), (4, 0, 3), (8, 0, 3))
    np.testing.assert_allclose(point_at(lines, [0] * 3, [4, 6, 7]), [(4, 0)] * 3)
    assert measure_of(lines, [0], [(4, 1)])[0][0] == pytest.approx(4)
    assert parts_between(lines, [0], [5], [9])[0].wkt == "LINESTRING (4 0, 4 0, 6 0)"


@given(batches(), shares)
def test_measure_to_point_to_measure(batch, some):
    """A measure's point has that measure, and lies on its line."""
    lines, _ = batch
    which, measure = asked(lines, some)
    back, distance = measure_of(lines, which, point_at(lines, which, measure))
    np.testing.assert_allclose(back, measure, atol=1e-6)
    np.testing.assert_allclose(distance, 0, atol=2e-9)


@given(batches(), shares)
def test_points_agree_with_shapely(batch, some):
    """Points and measures are those of GEOS, line by line (shapely.line_interpolate_point, line_locate_point)."""
    lines, corners = batch
    which, measure = asked(lines, some)
    shapes = np.array([shapely.LineString(corner) for corner in corners])[which]
    point = point_at(lines, which, measure)
    np.testing.assert_allclose(
        point, shapely.get_coordinates(shapely.line_interpolate_point(shapes, measure / lines.metres_per_unit)), atol=3e-9
    )
    beside = point + np.array([3.0, -7.0])
    foot, distance = measure_of(lines, which, beside)
    np.testing.assert_allclose(distance, shapely.distance(shapes, shapely.points(beside)) * lines.metres_per_unit, atol=3e-9)
    # Two feet may be equally near but for rounding, so the foot is compared by its distance.
    feet = shapely.points(point_at(lines, which, foot))
    np.testing.assert_allclose(shapely.distance(feet, shapely.points(beside)) * lines.metres_per_unit, distance, atol=3e-9)


@given(batches(), shares, shares)
def test_parts_have_the_length_between_their_measures(batch, some, others):
    """The part between two measures is as long as they are apart, and begins and ends at their points."""
    lines, _ = batch
    count = min(len(some), len(others))
    which, low = asked(lines, some[:count])
    _, high = asked(lines, others[:count])
    parts = parts_between(lines, which, low, high)
    np.testing.assert_allclose(shapely.length(parts) * lines.metres_per_unit, np.abs(high - low), atol=1e-7)
    np.testing.assert_allclose(shapely.get_coordinates(shapely.get_point(parts, 0)), point_at(lines, which, low), atol=0)
    np.testing.assert_allclose(shapely.get_coordinates(shapely.get_point(parts, -1)), point_at(lines, which, high), atol=0)


@given(batches())
def test_measures_grow_along_each_line(batch):
    """Vertices have measures from 0, in order, and they are the vertices' own places."""
    lines, corners = batch
    for line, corner in enumerate(corners):
        measures = lines.cumulative_m[lines.offsets[line] : lines.offsets[line + 1]]
        assert measures[0] == 0
        assert (np.diff(measures) > 0).all()
        np.testing.assert_allclose(point_at(lines, [line] * len(measures), measures), corner, atol=2e-9)


def test_a_long_batch_loses_no_digits():
    """A short line after a hundred thousand kilometres of others is measured as if it were alone."""
    short = shapely.LineString([(0.1, 0.2), (0.4, 0.6), (0.4, 0.9), (1.3, 2.1)])
    lines = lines_from_geometries(
        [shapely.LineString([(0, 0), (1e8, 1 / 3)]), short, shapely.LineString([(0, 0), (7e7, 1e7)]), short]
    )
    alone = lines_from_geometries([short])
    for line in (1, 3):
        measures = lines.cumulative_m[lines.offsets[line] : lines.offsets[line + 1]]
        np.testing.assert_allclose(measures, alone.cumulative_m, atol=1e-15)
        np.testing.assert_allclose(measures, [0, 0.5, 0.8, 2.3], atol=1e-15)


def test_vertices_that_repeat_do_no_harm():
    """Doubled vertices, at the ends and inside, change neither points nor measures nor parts."""
    doubled = one((0, 0), (0, 0), (5, 0), (5, 0), (5, 0), (5, 5), (5, 5))
    plain = one((0, 0), (5, 0), (5, 5))
    measures = np.array([0, 2.5, 5, 7.5, 10])
    np.testing.assert_array_equal(point_at(doubled, [0] * 5, measures), point_at(plain, [0] * 5, measures))
    np.testing.assert_array_equal(measure_of(doubled, [0], [(6, 2)])[0], measure_of(plain, [0], [(6, 2)])[0])
    assert shapely.length(parts_between(doubled, [0], [0], [10]))[0] == 10


def test_a_line_that_meets_itself_has_the_lower_measure():
    """Where two stretches pass one point, the foot is on the one nearer to the tie-in."""
    lines = one((0, 0), (10, 0), (10, 10), (5, 10), (5, -5))
    assert measure_of(lines, [0], [(5, 0)])[0][0] == 5


def test_lines_come_back_as_they_were():
    """The plan of the lines is what went in, without Z, one geometry a line."""
    shapes = [shapely.LineString([(0, 0, 9), (1, 1, 9)]), shapely.LineString([(5, 5), (6, 7), (8, 8)])]
    lines = lines_from_geometries(shapes)
    assert [shape.wkt for shape in plan_of(lines)] == ["LINESTRING (0 0, 1 1)", "LINESTRING (5 5, 6 7, 8 8)"]
    assert isinstance(lines, Lines)
    assert len(lines) == 2


def test_nothing_asked_nothing_answered():
    """Empty batches and empty questions are answered by empty arrays."""
    for lines in (lines_from_geometries([]), one((0, 0), (1, 0))):
        assert point_at(lines, [], []).shape == (0, 2)
        assert [len(part) for part in measure_of(lines, [], np.empty((0, 2)))] == [0, 0]
        assert len(parts_between(lines, [], [], [])) == 0
    assert len(plan_of(lines_from_geometries([]))) == 0


@pytest.mark.parametrize(
    "shape",
    [
        None,
        shapely.LineString(),
        shapely.Point(0, 0),
        shapely.MultiLineString([[(0, 0), (1, 1)]]),
        shapely.LineString([(0, 0), (np.inf, 1)]),
    ],
)
def test_what_is_no_single_line_is_refused(shape):
    """A batch says which of its geometries is missing, empty, no single line, or not finite."""
    with pytest.raises(MeasureError, match="line 1 of 2"):
        lines_from_geometries([shapely.LineString([(0, 0), (1, 0)]), shape])


def test_questions_that_do_not_fit_are_refused():
    """A line that is not there, and questions of unequal number, are refused rather than stretched to fit."""
    lines = one((0, 0), (1, 0))
    for which in ([1], [-1]):
        with pytest.raises(MeasureError, match="there is no line"):
            point_at(lines, which, [0.5])
    with pytest.raises(MeasureError, match="each needs its own"):
        point_at(lines, [0], [0.1, 0.2])
    with pytest.raises(MeasureError, match="has no foot"):
        measure_of(lines, [0], [(np.nan, 0)])
    with pytest.raises(MeasureError, match="each needs its own"):
        parts_between(lines, [0, 0], [0.1, 0.2], [0.3])


def test_many_points_are_cut_into_pieces(monkeypatch):
    """How many points are held in memory at once changes no answer."""
    lines = lines_from_geometries([shapely.LineString([(0, 0), (4, 0), (4, 6)]), shapely.LineString([(0, 9), (4, 9)])])
    which = np.arange(50) % 2
    points = np.column_stack([np.linspace(-2, 6, 50), np.linspace(9, -1, 50)])
    whole = measure_of(lines, which, points)
    monkeypatch.setattr("sewermap.line.reference._PAIRS_AT_ONCE", 7)
    np.testing.assert_array_equal(measure_of(lines, which, points), whole)


def test_a_million_points_take_a_moment():
    """A million points are placed in well under a second of processor time: no loop over rows hides in it."""
    rng = np.random.default_rng(4)
    corners = np.cumsum(rng.uniform(0.5, 4, (50_000, 5, 2)), axis=1)
    lines = lines_from_geometries(shapely.linestrings(corners))
    which = np.sort(rng.integers(0, len(lines), 1_000_000))
    measure = rng.uniform(0, 1, len(which)) * lines.length_m[which]
    took = []
    for _ in range(3):
        began = time.process_time()
        point_at(lines, which, measure)
        took.append(time.process_time() - began)
    assert min(took) < 0.5
