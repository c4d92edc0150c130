"""Points located from above: which run's counter each fixes, how far it lies off the line, and lines that they contradict."""

import numpy as np
import pandas as pd
import pytest
import shapely
from scipy.stats import norm

from sewermap.follow.together import placed_together
from sewermap.line.line_doubt import doubtful_lines, with_line_doubts
from sewermap.line.located import A_LOOK, Located, located_points, off_line
from sewermap.line.scene import Scene
from tests.line.one_pipe import LINE, NO_WORKS, WORDS, one_pipe, points, seen

ONE_RUN = {"run": ["A"], "unit": ["m"], "ran_on": ["2024-05-01"]}
TWO_RUNS = {"run": ["A", "B"], "unit": ["m", "ft"], "ran_on": ["2024-05-01", "2025-05-01"]}
LOOKING, WHOSE = "(as one looks from the tie-in)", "whose points these are"
STRAIGHT = shapely.LineString([(0, 0), (0, 40)])


def nothing(scene: Scene) -> pd.DataFrame:
    """No observation."""
    return seen(scene, run=[], kind=[], reading_m=[])


def found(scene: Scene, observations: pd.DataFrame | None = None, **columns) -> Located:
    """The located points of a scene."""
    return located_points(points(scene, **columns), nothing(scene) if observations is None else observations, scene)


def test_a_point_is_of_the_run_it_names_or_of_the_only_one() -> None:
    """Without a name it is of the only run; where there are two, none is guessed; another lateral's run is none."""
    at = {"reading_m": [10.0, 10.0, 10.0], "x": [0.0] * 3, "y": [24.0, 24.5, 25.0]}
    alone = found(one_pipe(ONE_RUN), run=[None, "A", "Z"], **at).table
    assert alone["run"].fillna("none").tolist() == ["A", "A", "none"]
    assert alone["problem"].tolist() == ["", "", "the run it names is none of this lateral, so it fixes no counter here"]
    two = found(one_pipe(TWO_RUNS), run=[None, "B", "A"], **at)
    assert two.table["push"].tolist() == [-1, 1, 0]
    assert two.warnings()[["row", "field"]].to_numpy().tolist() == [[0, "run"]]
    assert "say which run" in two.warnings()["reason"].iloc[0]
    assert two.heads()["run"].tolist() == ["B", "A"]


def test_a_point_of_a_lateral_without_runs_is_no_fault() -> None:
    """A line may be made of such points alone: nothing is warned of."""
    told = found(one_pipe({"run": [], "unit": [], "ran_on": []}), reading_m=[10.0], x=[0.0], y=[10.0])
    assert len(told.table) == 1
    assert len(told.warnings()) == len(told.heads()) == 0


def test_a_located_point_fixes_as_an_observed_head_does() -> None:
    """A point of the section without a sigma puts every reading of its run where the same head, seen as a look, puts it."""
    scene = one_pipe(ONE_RUN)
    log = {"run": ["A"] * 3, "kind": ["roots", "crack", "hole"], "reading_m": [5.0, 14.0, 30.0]}
    head = found(scene, reading_m=[20.0], x=[0.1], y=[19.2]).heads()
    by_point = placed_together(scene, seen(scene, **log), NO_WORKS, WORDS, head)[0].observations
    both = {name: [*values, more] for (name, values), more in zip(log.items(), ("A", A_LOOK, 20.0), strict=True)}
    both |= {"located_x": [None, None, None, 0.1], "located_y": [None, None, None, 19.2]}
    by_look = placed_together(scene, seen(scene, **both), NO_WORKS, WORDS)[0].observations
    assert len(by_point) == 3
    pd.testing.assert_frame_equal(by_point, by_look.iloc[:3], check_exact=False, rtol=1e-12)
    bare = placed_together(scene, seen(scene, **log), NO_WORKS, WORDS)[0].observations
    assert (by_point["sigma_m"] < bare["sigma_m"] - 0.05).all()
    assert (by_point["measure_m"] < bare["measure_m"] - 0.3).all()


@pytest.mark.parametrize("sigma", [0.1, 0.5, 2.0])
def test_a_fix_weighs_by_its_own_sigma_and_the_maps(sigma: float) -> None:
    """One fix on one run: the measure at it is the precision-weighted mean of launch and fix (Gaussian conditioning, Rasmussen &
    Williams 2006, eq. 2.23, written out by hand for one observation), whatever sigma it came with.
    """
    scene = one_pipe(ONE_RUN, line=STRAIGHT)
    model = scene.rules.counter
    head = found(scene, reading_m=[20.0], x=[0.0], y=[19.0], sigma_m=[sigma]).heads()
    log = seen(scene, run=["A"], kind=["roots"], reading_m=[20.0])
    place = placed_together(scene, log, NO_WORKS, WORDS, head)[0].observations.iloc[0]
    prior = model.launch_m**2 + 0.2**2 + (model.scale * 20.0) ** 2 + model.slip_m * 20.0
    fix = sigma**2 + 0.2**2
    assert place["measure_m"] == pytest.approx(20.0 - prior / (prior + fix), abs=1e-9)
    assert place["sigma_m"] == pytest.approx(np.sqrt(prior * fix / (prior + fix)), abs=1e-9)


def test_two_runs_share_located_points_of_their_own_sigma() -> None:
    """Solved together too, the better located of two heads says more: its run ends nearer to it."""
    scene = one_pipe(TWO_RUNS, line=STRAIGHT)
    log = {"run": ["A", "B"], "kind": ["roots", "crack"], "reading_m": [20.0, 20.0]}
    both = {"run": ["A", "B"], "reading_m": [20.0, 20.0], "x": [0.0, 0.0], "y": [19.0, 19.0], "sigma_m": [0.05, 1.0]}
    placed = placed_together(scene, seen(scene, **log), NO_WORKS, WORDS, found(scene, **both).heads())[0].observations
    off = placed["measure_m"] - 19.0
    assert 0.0 < off.iloc[0] < off.iloc[1] - 0.1
    assert placed["sigma_m"].iloc[0] < placed["sigma_m"].iloc[1]


def test_the_same_location_from_two_sources_counts_once() -> None:
    """The log and the sheet of located points tell one location, rounded differently: the places are those of one alone."""
    scene = one_pipe(TWO_RUNS)
    log = {"run": ["A", "A"], "kind": ["roots", "hole"], "reading_m": [20.0, 31.0]}
    log = seen(scene, **log, located_x=[0.1, None], located_y=[19.2, None])
    once = found(scene, nothing(scene), run=["A"], reading_m=[20.0], x=[0.12], y=[19.24])
    again = found(scene, log, run=["A"] * 2, reading_m=[20.0, 20.01], x=[0.12, 0.12], y=[19.24, 19.24])
    assert again.table["told_before"].tolist() == [False, True, True]
    bare = log.assign(located_map_x=np.nan, located_map_y=np.nan)
    expected = placed_together(scene, bare, NO_WORKS, WORDS, once.heads())[0]
    places = placed_together(scene, again.told_once(log), NO_WORKS, WORDS, again.heads())[0]
    pd.testing.assert_frame_equal(places.observations, expected.observations)
    assert places.coverages["fixes"].tolist() == [1, 0]


def test_a_point_whose_run_is_not_clear_yields_to_the_log_that_says_it() -> None:
    """Of two that say the same, the one that can fix a counter stays."""
    scene = one_pipe(TWO_RUNS)
    log = seen(scene, run=["A"], kind=["roots"], reading_m=[20.0], located_x=[0.1], located_y=[19.2])
    both = found(scene, log, reading_m=[20.0], x=[0.1], y=[19.2])
    assert both.table["told_before"].tolist() == [True, False]
    assert both.told_once(log)["located_map_x"].tolist() == [0.1]
    assert len(both.warnings()) == 0


def test_off_the_line_is_positive_to_the_left() -> None:
    """On the line (0 0, 10 0) the place 6 along and offset −2 is (6, −2): positive is left (PostGIS manual, chapter Linear
    Referencing: positive offsets are to the left).
    """
    scene = one_pipe(ONE_RUN, line=shapely.LineString([(0, 0), (10, 0)]))
    foot, off, normal = off_line(scene.laterals, pd.DataFrame({"lateral": [0], "map_x": [6.0], "map_y": [-2.0]}))
    assert (foot[0], off[0], normal[0].tolist()) == (pytest.approx(6.0), pytest.approx(-2.0), pytest.approx([0.0, 1.0]))


def test_distances_off_a_bent_line_are_shapelys() -> None:
    """Foot and distance are those of shapely's project and distance; the side is that of the area that point and line enclose."""
    scene, rng = one_pipe(ONE_RUN), np.random.default_rng(3)
    xy = rng.uniform((-8, 2), (14, 36), (300, 2))
    where = shapely.points(xy)
    foot, off, _ = off_line(scene.laterals, pd.DataFrame({"lateral": 0, "map_x": xy[:, 0], "map_y": xy[:, 1]}))
    np.testing.assert_allclose(np.abs(off), shapely.distance(where, LINE), atol=1e-9)
    np.testing.assert_allclose(foot, shapely.line_locate_point(LINE, where), atol=1e-9)
    left = shapely.Polygon([*LINE.coords, (-50, 37), (-50, 0)])
    np.testing.assert_array_equal(off > 0, shapely.contains(left, where))


def test_a_point_far_from_the_line_fixes_nothing_and_says_by_how_much() -> None:
    """Over 3 sigma of point and map: a warning with distance and side; the readings stay where they were."""
    scene = one_pipe(ONE_RUN)
    far = found(scene, reading_m=[20.0, 22.0], x=[0.8, 0.5], y=[18.0, 17.0])
    assert far.warnings()["reason"].tolist() == [
        f"located 0.8 m to the right of the line {LOOKING}, further off than both may be wrong by: it fixes no counter"
    ]
    assert far.heads()["reading_m"].tolist() == [22.0]


def doubted(xs, sigma_m: float = 0.1, accuracy_m: float = 0.2) -> list[str]:
    """The notes on a straight line of 40 m with points so far to the right of it, spread along it."""
    scene = one_pipe(ONE_RUN, line=STRAIGHT, accuracy_m=accuracy_m)
    at = np.linspace(4.0, 36.0, len(xs))
    located = found(scene, reading_m=40.0 - at, x=list(xs), y=at, sigma_m=[sigma_m] * len(xs))
    return with_line_doubts(scene, located).laterals.table["line_note"].fillna("").tolist()


def test_three_points_that_each_contradict_a_line_make_it_doubtful() -> None:
    """Three do, two do not, however many others fit."""
    assert doubted([1.5, 1.6, 1.4, 0.0]) == [
        f"doubtful: 3 of 4 located points lie 1.4 to 1.6 m off it, all to the right {LOOKING}; check the line, and {WHOSE}"
    ]
    assert "2 to the left and 1 to the right" in doubted([1.5, -1.6, -1.4])[0]
    assert doubted([1.5, 1.6, 0.0, 0.1]) == doubted([1.5, 1.6]) == [""]


def test_points_that_together_lie_on_one_side_make_it_doubtful() -> None:
    """None is over 3 sigma (0.67 m), but all lie on one side; on both sides they say nothing, for the line goes between them."""
    assert "all to the right" in doubted([0.62, 0.5, 0.62, 0.4, 0.62, 0.6])[0]
    assert "all to the left" in doubted([-0.62, -0.5, -0.62, -0.4, -0.62, -0.6])[0]
    assert doubted([0.62, -0.5, 0.62, -0.4, 0.62, 0.6]) == [""]
    assert doubted([0.3, 0.3, 0.3, 0.3]) == [""]


def test_a_doubtful_line_is_warned_of_by_name() -> None:
    """The scene's warnings name the lateral, and say what to check."""
    scene = one_pipe(ONE_RUN, line=STRAIGHT)
    told = with_line_doubts(scene, found(scene, reading_m=[30.0, 20.0, 10.0], x=[2.0, 2.0, 2.0], y=[10.0, 20.0, 30.0])).warnings
    assert told["lateral"].tolist()[-1] == "L"
    assert told["reason"].tolist()[-1].startswith("its line is doubtful: 3 of 3 located points lie 2.0 to 2.0 m off it")


def test_the_joint_test_is_generalised_least_squares_and_seldom_errs() -> None:
    """Against numpy.linalg for the common distance and scipy.stats.norm for its 3 sigma: of 4,000 bent lines that are as good as
    they are said to be, with 5 points each, the very ones are named that it names, and fewer than 0.4 %.
    """
    rng, n, accuracy, sigma, shared = np.random.default_rng(11), 4000, 0.3, 0.15, 0.5
    turn = np.array([0.0, 0.0, 0.8, 0.8, 1.2])
    normals = np.column_stack([-np.cos(turn), np.sin(turn)])
    covariance = np.eye(5) * (sigma**2 + (1 - shared) * accuracy**2) + shared * accuracy**2 * normals @ normals.T
    off = rng.multivariate_normal(np.zeros(5), covariance, n)
    table = pd.DataFrame(
        {"lateral": np.repeat(np.arange(n), 5), "off_line_m": off.ravel(), "sigma_m": sigma, "told_before": False}
    ).assign(measure_m=0.0)
    table = table.assign(normal_x=np.tile(normals[:, 0], n), normal_y=np.tile(normals[:, 1], n), measure_m=0.0)
    scene = one_pipe(ONE_RUN)
    accuracies = pd.DataFrame({"accuracy_m": np.full(n, accuracy)})
    laterals = type(scene.laterals)(accuracies, scene.laterals.lines, scene.laterals.boundary, shared)
    named = doubtful_lines(Located(table), laterals, shared)["lateral"].to_numpy()
    inverse, ones = np.linalg.inv(covariance), np.ones(5)
    common = off @ inverse @ ones / np.sqrt(ones @ inverse @ ones)
    one_side = (off > 0).all(axis=1) | (off < 0).all(axis=1)
    one_side &= (np.abs(off) > np.hypot(sigma, accuracy)).sum(axis=1) >= 3
    jointly = one_side & (np.abs(common) > norm.isf(norm.sf(3.0)))
    each = (np.abs(off) > 3 * np.hypot(sigma, accuracy)).sum(axis=1) >= 3
    assert named.tolist() == np.flatnonzero(jointly | each).tolist()
    assert 0 < len(named) < 0.004 * n
