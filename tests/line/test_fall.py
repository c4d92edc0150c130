import numpy as np
import pandas as pd
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from sewermap.line.fall import even_grades, slopes
from sewermap.line.fall_levels import known_levels
from sewermap.line.fall_rules import fall_rules
from sewermap.line.reference import lines_from_geometries
from sewermap.line.sags import sags

FOOT_M = 0.3048
INCH_M = 0.0254
NO_DEPTHS = pd.DataFrame({"lateral": pd.Series([], dtype="str"), "measure_m": [], "depth_m": []})


def levels(*points, lateral="L1", sigma=0.0, how="inverts"):
    """Known levels of one lateral from (measure, level) pairs."""
    table = pd.DataFrame(points, columns=["measure_m", "level_m"], dtype=float)
    return table.assign(lateral=lateral, sigma_m=sigma, how=how)


def judged(known, diameter=4 * INCH_M, text=None):
    """Slopes of known levels for one size of pipe."""
    return slopes(known, pd.Series({"L1": diameter}), fall_rules(text))


def laterals(*geometries, **given):
    """Laterals L1, L2 … with what is known of their ends."""
    ends = dict.fromkeys(("tie_in_invert_m", "building_invert_m", "tie_in_depth_m", "building_depth_m"), np.nan)
    table = pd.DataFrame({"lateral": [f"L{at + 1}" for at in range(len(geometries))]} | ends | given)
    return table, lines_from_geometries(list(geometries))


@pytest.mark.parametrize(("size", "run"), [(2, 48), (3, 96), (4, 96), (6, 96), (8, 192)])
def test_a_pipe_laid_to_the_table_is_steep_enough(size, run):
    """Exactly the least slope of IPC 704.1 (1:48, 1:96, 1:192) passes; a thousandth flatter does not."""
    exact = judged(levels((0, 10), (30, 10 + 30 / run)), size * INCH_M).iloc[0]
    flatter = judged(levels((0, 10), (30, 10 + 0.999 * 30 / run)), size * INCH_M).iloc[0]
    assert (exact["verdict"], flatter["verdict"]) == ("steep enough", "flatter than")
    assert exact["against"] == "table IPC 704.1"
    assert exact["slope"] == pytest.approx(1 / run)


def test_a_slope_counts_in_plan():
    """100 ft of pipe at 1/4 in per ft covers 99.97831 ft of plan (closed form): along a 3-D line its slope is 1:48 still."""
    plan_ft, fall_ft = 99.97831, 99.97831 / 48
    assert np.hypot(plan_ft, fall_ft) == pytest.approx(100, abs=1e-5)
    line = shapely.LineString([(0, 0, 5), (plan_ft * FOOT_M, 0, 5 + fall_ft * FOOT_M)])
    table, lines = laterals(line)
    known = known_levels(table, lines, NO_DEPTHS, fall_rules())
    found = judged(known.assign(sigma_m=0.0), 2 * INCH_M).iloc[0]
    assert found["to_measure_m"] == pytest.approx(100 * FOOT_M, abs=1e-5)
    assert found["plan_m"] == pytest.approx(plan_ft * FOOT_M)
    assert found["slope"] == pytest.approx(1 / 48, rel=1e-12)
    assert found["verdict"] == "steep enough"
    assert "heights of the drawn line" in found["note"]


def test_the_limit_within_two_sigma_is_in_doubt():
    """Levels of 0.05 m each over 20 m: sigma of the slope 0.05 * sqrt 2 / 20; within 2 of it from 1:96 nothing is sure."""
    sigma = 0.05 * 2**0.5 / 20
    for off, verdict in ((-2.01, "flatter than"), (-1.99, "doubtful"), (1.99, "doubtful"), (2.01, "steep enough")):
        found = judged(levels((0, 3), (20, 3 + 20 * (1 / 96 + off * sigma)), sigma=0.05)).iloc[0]
        assert found["sigma"] == pytest.approx(sigma)
        assert found["verdict"] == verdict
        assert ("flatter than 1:96 as measured" in found["note"]) == (verdict == "doubtful")


def test_a_pipe_may_run_backwards():
    """A level that falls towards the building runs backwards, whatever the size, and is in doubt where it may not."""
    found = judged(levels((0, 3), (10, 2.9), (20, 2.88), (30, 3.3), sigma=0.02))
    assert found["verdict"].tolist() == ["runs backwards", "flatter than", "steep enough"]
    assert "it may run backwards" in found["note"][1]
    unsized = judged(levels((0, 3), (10, 2), (20, 3)), np.nan)
    assert unsized["verdict"].tolist() == ["runs backwards", "no limit known"]
    assert "the diameter is not known" in unsized["note"][1]
    assert judged(levels((0, 3), (10, 3))).loc[0, "verdict"] == "flatter than"


def test_a_size_that_the_table_leaves_out():
    """A 7 in pipe: IPC 704.1 says nothing between 6 and 8 in, and so does the finding."""
    found = judged(levels((0, 3), (10, 3.01)), 7 * INCH_M).iloc[0]
    assert found["verdict"] == "no limit known"
    assert "table IPC 704.1 says nothing for this size" in found["note"]
    assert np.isnan(found["least"])


@pytest.mark.parametrize(
    ("run", "size", "verdict"),
    [(47, 4, "steep enough"), (60, 4, "only with approval"), (96, 4, "only with approval"), (97, 4, "flatter than"),
     (60, 3, "flatter than")],
)  # fmt: skip
def test_a_flatter_slope_with_approval(run, size, verdict):
    """UPC 708: 1:48; 1:96 from 4 in on only with the authority's approval."""
    found = judged(levels((0, 3), (run, 4)), size * INCH_M, 'slopes = "UPC 708"').iloc[0]
    assert found["verdict"] == verdict
    assert ("1:96 only with the authority's approval" in found["note"]) == (size == 4 and run > 48)


def test_a_drop_is_no_slope():
    """A vertical piece has no slope: down towards the main it passes, up it runs backwards."""
    known = levels((0, 3), (1, 4), (2, 3)).assign(plan_m=0.0)
    found = judged(known)
    assert found["slope"].isna().all()
    assert found["verdict"].tolist() == ["steep enough", "runs backwards"]
    assert found["note"].str.contains("a vertical drop").all()


def test_inverts_go_before_heights_and_heights_before_depths():
    """Each lateral's level is known in one way: inverts at both ends, else heights of its line, else depths (level ground)."""
    flat, high = shapely.LineString([(0, 0), (20, 0)]), shapely.LineString([(0, 0, 1), (10, 0, 1.5), (20, 0, 1.6)])
    zero = shapely.LineString([(0, 0, 0), (20, 0, 0)])
    table, lines = laterals(
        high, high, flat, zero, flat,
        tie_in_invert_m=[-2.0, -2.0, np.nan, np.nan, 7.0], building_invert_m=[-1.5, *[np.nan] * 4],
        tie_in_depth_m=[3.0, 3.0, 3.0, 3.0, np.nan], building_depth_m=2.5,
    )  # fmt: skip
    heads = pd.DataFrame({"lateral": ["L3", "L1"], "measure_m": [8.0, 8.0], "depth_m": [2.7, 2.7]})
    known = known_levels(table, lines, heads, fall_rules())
    told = {name: rows["level_m"].tolist() for name, rows in known.groupby("lateral")}
    assert told == {"L1": [-2.0, -1.5], "L2": [1.0, 1.5, 1.6], "L3": [-3.0, -2.7, -2.5], "L4": [-3.0, -2.5], "L5": [-2.5]}
    ways = known.groupby("lateral")["how"].first().str.split(";").str[-1].str.strip()
    assert ways.tolist() == [
        "inverts", "heights of the drawn line, taken as the pipe's invert", *["ground assumed level"] * 3
    ]  # fmt: skip
    sigmas = known.groupby("lateral")["sigma_m"].first()
    assert sigmas.tolist() == [0.05, 0.05, 0.15, 0.15, 0.15]
    assert "L5" not in set(slopes(known, pd.Series({"L1": 0.1}), fall_rules())["lateral"])


def test_heights_on_an_even_grade_are_one_slope():
    """Of a finely drawn 3-D line only the vertices where the grade changes by more than its error are told."""
    along = np.linspace(0, 40, 81)
    height = np.where(along <= 20, along / 48, 20 / 48 + (along - 20) / 400)
    table, lines = laterals(shapely.LineString(np.column_stack([along, np.zeros(81), height])))
    known = known_levels(table, lines, NO_DEPTHS, fall_rules())
    assert known["plan_m"].tolist() == pytest.approx([0, 20, 40])
    found = judged(known)
    assert found["slope"].tolist() == pytest.approx([1 / 48, 1 / 400])
    assert found["verdict"].tolist() == ["steep enough", "flatter than"]


def test_a_place_known_twice_counts_once():
    """Two statements of one place are their mean by variance; ways of knowing are never mixed."""
    known = pd.concat([levels((0, 3), (10, 3.2), (10, 3.4), sigma=0.1), levels((5, -2.0), (10, -1.0), how="depths", sigma=0.1)])
    found = judged(known)
    assert found["fall_m"].tolist() == pytest.approx([1.0, 0.3])
    assert found["sigma"].tolist() == pytest.approx([0.1 * 2**0.5 / 5, 0.1 * 1.5**0.5 / 10])


POINTS = st.lists(st.tuples(st.integers(0, 300), st.integers(-50, 50)), min_size=2, max_size=8, unique_by=lambda point: point[0])


@settings(max_examples=40)
@given(POINTS, st.randoms(use_true_random=False), st.floats(-100, 100))
def test_order_and_zero_mean_nothing(points, chance, zero):
    """Rows in any order, and levels above any zero, give the same slopes and verdicts."""
    shuffled = chance.sample(points, len(points))
    one = judged(levels(*[(at / 10, level / 10) for at, level in points], sigma=0.05))
    other = judged(levels(*[(at / 10, level / 10 + zero) for at, level in shuffled], sigma=0.05))
    np.testing.assert_allclose(one["slope"], other["slope"], atol=1e-9)
    assert (one["from_measure_m"] == other["from_measure_m"]).all()
    sure = (one["verdict"] == other["verdict"]) | (one["verdict"] == "doubtful") | (other["verdict"] == "doubtful")
    assert sure.all()


@settings(max_examples=40)
@given(POINTS)
def test_a_mirrored_line_falls_the_other_way(points):
    """Measured from its other end, each slope of a line has the other sign: what falls well there runs backwards here."""
    one = judged(levels(*[(at / 10, level / 10) for at, level in points]))
    other = judged(levels(*[(30 - at / 10, level / 10) for at, level in points])).iloc[::-1]
    np.testing.assert_allclose(one["slope"].to_numpy(), -other["slope"].to_numpy(), rtol=1e-9, atol=1e-12)
    backwards = other["verdict"].to_numpy() == "runs backwards"
    assert (backwards == (one["slope"].to_numpy() > 0)).all()


@settings(max_examples=40)
@given(POINTS)
def test_a_slope_has_no_unit(points):
    """Lengths and levels in feet instead of metres give the same slope and sigma."""
    metres = levels(*points, sigma=0.05)
    feet = metres.assign(**{name: metres[name] / FOOT_M for name in ("measure_m", "level_m", "sigma_m")})
    one, other = judged(metres), judged(feet)
    np.testing.assert_allclose(one[["slope", "sigma"]], other[["slope", "sigma"]], rtol=1e-9, atol=1e-15)


@settings(max_examples=40)
@given(POINTS)
def test_slopes_add_up_to_the_even_grade(points):
    """The falls of all stretches add up to the fall of the whole, as even_grades tells it (a telescoping sum)."""
    known = levels(*points)
    found, grade = judged(known), even_grades(known).loc["L1"]
    whole = grade["slope"] * (grade["to_measure_m"] - grade["from_measure_m"])
    assert found["fall_m"].sum() == pytest.approx(whole, abs=1e-9)


def test_many_laterals_at_once_are_as_one_by_one():
    """A batch gives each lateral what it gets alone."""
    known = pd.concat([levels((0, 1), (10, 1 + at / 100), (25, 1.5), lateral=f"N{at}", sigma=0.05) for at in range(40)])
    sizes = pd.Series({f"N{at}": (at % 9) * INCH_M if at % 9 else np.nan for at in range(40)})
    rules = fall_rules()
    batch = slopes(known.sample(frac=1, random_state=4), sizes, rules)
    alone = pd.concat([slopes(known[known["lateral"] == name], sizes, rules) for name in sorted(sizes.index)])
    pd.testing.assert_frame_equal(batch, alone.reset_index(drop=True))
    assert len(slopes(known.head(0), sizes, rules)) == len(even_grades(known.head(0))) == 0


def pool(first, last, percent, diameter=0.1, slope=0.02, ends=(0.0, 20.0)):
    """What standing water on L1 says."""
    seen = pd.DataFrame({"lateral": ["L1"], "measure_m": [first], "to_measure_m": [last], "percent": [percent]})
    grade = pd.DataFrame({"from_measure_m": [ends[0]], "to_measure_m": [ends[1]], "slope": [slope]}, index=["L1"])
    return sags(seen, pd.Series({"L1": diameter}), grade).iloc[0]


@given(st.floats(0, 100), st.floats(0.5, 10), st.floats(0, 0.05))
def test_a_dip_is_what_a_drawn_profile_shows(percent, length, slope):
    """The dip is the height of the even grade over the pipe's bottom in a profile drawn with shapely."""
    depth = percent / 100 * 0.1
    # Main to the left: the pool's lower lip lies on the grade, its surface is level, the water is deepest in the middle.
    grade = shapely.LineString([(0, 0), (20, 20 * slope)])
    surface = grade.intersection(shapely.LineString([(5, -9), (5, 9)])).y
    bottom = shapely.Point(5 + length / 2, surface - depth)
    plumb = shapely.LineString([(bottom.x, -9), (bottom.x, 9)])
    found = pool(5, 5 + length, percent, slope=slope)
    assert found["depth_m"] == pytest.approx(depth)
    assert found["length_m"] == pytest.approx(length)
    assert found["dip_m"] == pytest.approx(grade.intersection(plumb).y - bottom.y, abs=1e-9)


def test_what_a_sag_does_not_say_stays_unknown():
    """Without an end no length, without a diameter no depth, without a share neither; without levels around it no dip."""
    assert np.isnan(pool(5, np.nan, 30)[["length_m", "dip_m", "to_measure_m"]].astype(float)).all()
    assert pool(5, np.nan, 30)["depth_m"] == pytest.approx(0.03)
    assert "length unknown: seen at one reading" in pool(5, np.nan, 30)["note"]
    assert np.isnan(pool(5, 8, 30, diameter=np.nan)["depth_m"])
    assert pool(5, 8, 30, diameter=np.nan)["note"] == "water up to 30 % of the bore; depth unknown, as the diameter is"
    assert np.isnan(pool(5, 8, np.nan)["depth_m"])
    assert np.isnan([pool(5, 8, 30, slope=np.nan)["dip_m"], pool(5, 8, 30, slope=-0.01)["dip_m"]]).all()
    assert np.isnan(pool(5, 8, 30, ends=(9.5, 20))["dip_m"])
    assert pool(8, 5, 30)[["from_measure_m", "to_measure_m", "dip_m"]].tolist() == pytest.approx([5, 8, 0.06])
