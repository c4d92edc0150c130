"""Traverses against worked examples: J. Mahun, *Open Access Surveying Library*, Traverse Computations, ch. E and I; Ghilani and
Wolf, *Elementary Surveying*, ch. 10 (its data from memory, confirmed by a second copy).
"""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sewermap.errors import MeasureError
from sewermap.line.adjusting import Controls, LegErrors, adjusted
from sewermap.line.along import an_axis
from sewermap.line.traverse import Traverses, compass_rule

ARC_SECOND = 1 / 3600


def degrees(whole, minutes, seconds):
    """An angle in degrees."""
    return whole + minutes / 60 + seconds / 3600


def bearing(north, angle, east):
    """A quadrant bearing as an azimuth."""
    value = degrees(*angle)
    return {"NE": value, "SE": 180 - value, "SW": 180 + value, "NW": 360 - value}[north + east]


def walked(start, legs):
    """One traverse; start as north, east."""
    azimuths, lengths = zip(*legs, strict=True)
    return Traverses(np.array([start[::-1]], float), np.array(azimuths), np.array(lengths), np.array([0, len(legs)]))


LOOP = walked(
    (500.0, 2000.0),
    [
        (bearing("S", (68, 5, 35), "W"), 472.68),
        (bearing("N", (19, 46, 0), "W"), 216.13),
        (bearing("N", (45, 55, 20), "E"), 276.52),
        (bearing("S", (54, 59, 15), "E"), 382.24),
    ],
)
LINK = walked(
    (2600.480, 1391.670),
    [
        (bearing("S", (56, 23, 38), "E"), 398.75),
        (bearing("S", (75, 17, 42), "W"), 422.89),
        (bearing("N", (43, 5, 47), "E"), 604.49),
    ],
)
LINK_END = (1727.810, 2713.780)
FIVE = walked(
    (5000.0, 10000.0),
    [
        (degrees(126, 55, 17), 647.25),
        (degrees(178, 18, 58), 203.03),
        (degrees(15, 31, 54), 720.35),
        (degrees(284, 35, 20), 610.24),
        (degrees(26, 9, 41) + 180, 285.13),
    ],
)


def assert_courses(traverse, points, book):
    """The adjusted courses from one place to the next are the book's to 1″ and what the rounding of its places to 0.001 ft leaves
    open, which at 200 ft is another arc second.
    """
    steps, told = (np.diff(np.vstack([traverse.start, places]), axis=0) for places in (points, book))
    turned = np.degrees(np.arctan2(*steps.T) - np.arctan2(*told.T))
    assert (np.abs((turned + 180.0) % 360.0 - 180.0) <= ARC_SECOND + np.degrees(0.001 / np.hypot(*told.T))).all()


def test_closed_loop_of_mahun():
    """Errors, closure, precision and adjusted places of the closed loop, chapter E, to 0.002 ft, its courses to 1″."""
    closed = compass_rule(LOOP, LOOP.start)
    assert (closed.latitude[0], closed.departure[0]) == pytest.approx((0.0827, 0.0744), abs=0.0005)
    assert closed.misclosure[0] == pytest.approx(0.1112, abs=0.0005)
    assert 1 / closed.share[0] == pytest.approx(12116, rel=0.001)
    wanted = np.array([(1561.426, 323.614), (1488.321, 526.996), (1686.956, 719.336), (2000.0, 500.0)])
    assert closed.points == pytest.approx(wanted, abs=0.002)
    assert_courses(LOOP, closed.points, wanted)


def test_link_traverse_of_mahun():
    """The link from Q to T, chapter I, to 0.002 ft and 1″: a lateral from a known clean-out to a known tie-in is this case."""
    closed = compass_rule(LINK, [LINK_END])
    assert (closed.latitude[0], closed.departure[0]) == pytest.approx((0.055, -0.070), abs=0.001)
    assert closed.misclosure[0] == pytest.approx(0.0888, abs=0.0005)
    assert 1 / closed.share[0] == pytest.approx(16068, rel=0.005)
    wanted = np.array([(1723.793, 2379.765), (1314.776, 2272.401), LINK_END])
    assert closed.points == pytest.approx(wanted, abs=0.002)
    assert_courses(LINK, closed.points, wanted)


def test_five_legs_of_ghilani_and_wolf():
    """The example of chapter 10: adjusted places to 0.002 ft, and the adjusted courses that lead from one to the next to 1″."""
    closed = compass_rule(FIVE, FIVE.start)
    wanted = np.array([(10517.444, 4611.165), (10523.408, 4408.216), (10716.289, 5102.239), (10125.717, 5255.929)])
    assert closed.points[:-1] == pytest.approx(wanted, abs=0.002)
    assert_courses(FIVE, closed.points, np.vstack([wanted, FIVE.start]))


def test_many_at_once_are_as_each_alone():
    """Batches only save time."""
    both = Traverses(
        np.vstack([LOOP.start, LINK.start]),
        np.concatenate([LOOP.azimuth_deg, LINK.azimuth_deg]),
        np.concatenate([LOOP.length, LINK.length]),
        np.array([0, 4, 7]),
    )
    closed = compass_rule(both, np.vstack([LOOP.start, [LINK_END]]))
    alone = [compass_rule(LOOP, LOOP.start), compass_rule(LINK, [LINK_END])]
    assert closed.points == pytest.approx(np.vstack([one.points for one in alone]), abs=1e-9)
    assert closed.misclosure == pytest.approx(np.concatenate([one.misclosure for one in alone]), abs=1e-9)


@given(
    st.lists(st.tuples(st.floats(0, 360), st.floats(0.1, 100)), min_size=1, max_size=8),
    st.tuples(st.floats(-500, 500), st.floats(-500, 500)),
)
def test_a_closed_traverse_ends_where_it_must(legs, end):
    """Whatever the legs, the last point is the known end, and each leg is changed by its share of the error alone."""
    one = walked((0.0, 0.0), legs)
    closed = compass_rule(one, [end])
    assert closed.points[-1].tolist() == list(end)
    moved = np.hypot(*np.diff(np.vstack([np.zeros((1, 2)), closed.points - one.ends()]), axis=0).T)
    assert moved == pytest.approx(closed.misclosure[0] * one.length / one.length.sum(), abs=1e-6)


@pytest.mark.parametrize("length", [0.0, np.nan])
def test_nonsense_is_refused(length):
    """Legs without length, or with none that is a number, cannot be closed."""
    with pytest.raises(MeasureError):
        compass_rule(walked((0.0, 0.0), [(10.0, length)]), [(1.0, 1.0)])


def controls_of(places, xy, sigma, *, pinned):
    """Controls of the first traverse."""
    count = len(places)
    return Controls(
        np.zeros(count, int), np.array(places, float), np.array(xy, float), np.full(count, sigma), np.full(count, pinned)
    )


def errors_of(traverses, degrees_, scale=0.01):
    """Errors of legs whose bearings were each taken by itself."""
    count = len(traverses.length)
    return LegErrors(np.full(count, np.radians(degrees_)), np.arange(count), scale)


def test_two_known_ends_are_the_compass_rule():
    """However wrong bearings may be, between two known ends the adjusted line is that of the compass rule."""
    for sigma in (0.01, 10.0):
        ends = controls_of([LINK.length.sum()], [LINK_END], 0.1, pinned=True)
        found = adjusted(LINK, errors_of(LINK, sigma), np.array([0.1]), ends)
        assert found.points == pytest.approx(compass_rule(LINK, [LINK_END]).points, abs=1e-6)
        assert found.points[-1].tolist() == list(LINK_END)


@pytest.mark.parametrize("shared", [False, True])
def test_covariances_are_those_of_many_walks_that_err(shared):
    """A line walked 20,000 times with errors of its bearings (each its own, or one for all) and of its scale, from a wrong start,
    pinned on a wrong end and pulled to a point located on the way, strays as its sigmas say: to 3 %.
    """
    rng = np.random.default_rng(3)
    count, theta, scale, start, end, located = 20_000, 3.0, 0.02, 0.2, 0.3, 0.25
    lengths, azimuths, places = np.array([4.0, 9.0, 7.0]), np.array([10.0, 55.0, 32.0]), np.array([13.0, 20.0])
    right = Traverses(np.zeros((1, 2)), azimuths, lengths, np.array([0, 3]))
    truth = right.ends()
    swing = rng.normal(0.0, theta, (count, 1 if shared else 3))
    stretched = lengths * (1.0 + rng.normal(0.0, scale, (count, 1)))
    many = Traverses(rng.normal(0.0, start, (count, 2)), (azimuths + swing).ravel(), stretched.ravel(), 3 * np.arange(count + 1))
    xy = np.stack([truth[1] + rng.normal(0.0, located, (count, 2)), truth[2] + rng.normal(0.0, end, (count, 2))], axis=1)
    walked = many.walked().reshape(count, 3)[:, 1:]
    of = Controls(
        np.repeat(np.arange(count), 2),
        walked.ravel(),
        xy.reshape(-1, 2),
        np.tile([located, end], count),
        np.tile([False, True], count),
    )
    base = np.repeat(np.arange(count), 3) if shared else np.arange(3 * count)
    errors = LegErrors(np.full(3 * count, np.radians(theta)), base, scale)
    found = adjusted(many, errors, np.full(count, start), of)
    assert places[0] == lengths[:2].sum()
    off = found.points.reshape(count, 3, 2) - truth
    strayed = np.einsum("cvi,cvj->vij", off, off) / count
    told = found.covariance.reshape(count, 3, 3).mean(axis=0)[:, [0, 1, 1, 2]].reshape(3, 2, 2)
    assert told == pytest.approx(strayed, abs=0.06 * strayed.trace(axis1=1, axis2=2).min())
    assert an_axis(found.covariance).reshape(count, 3).mean(axis=0) == pytest.approx(
        np.sqrt(strayed.trace(axis1=1, axis2=2) / 2.0), rel=0.03
    )


def test_a_line_that_nothing_holds_is_as_walked():
    """Without controls the points stay, and the sigma grows with the distance from that of the start."""
    none = Controls(np.zeros(0, int), np.zeros(0), np.zeros((0, 2)), np.zeros(0), np.zeros(0, bool))
    found = adjusted(LOOP, errors_of(LOOP, 3.0), np.array([0.5]), none)
    assert found.points == pytest.approx(LOOP.ends())
    first = np.hypot(np.radians(3.0), 0.01) * LOOP.length[0] / np.sqrt(2.0)
    sigma = an_axis(found.covariance)
    assert sigma[0] == pytest.approx(np.hypot(0.5, first))
    assert (np.diff(sigma[:2]) > 0).all()


def test_a_bearing_errs_across_its_leg_and_a_counter_along_it():
    """Of one leg to the north east a bearing's error lies to the north west, a counter's ahead."""
    none = Controls(np.zeros(0, int), np.zeros(0), np.zeros((0, 2)), np.zeros(0), np.zeros(0, bool))
    leg = Traverses(np.zeros((1, 2)), np.array([45.0]), np.array([20.0]), np.array([0, 1]))
    xx, xy, yy = adjusted(leg, errors_of(leg, 3.0), np.array([0.1]), none).covariance[0]
    assert np.sqrt((xx - 2 * xy + yy) / 2) == pytest.approx(np.hypot(0.1, 20.0 * np.radians(3.0)))
    assert np.sqrt((xx + 2 * xy + yy) / 2) == pytest.approx(np.hypot(0.1, 20.0 * 0.01))
