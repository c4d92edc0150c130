"""Observations of many runs joined to defects and features: against the truth of invented towns."""

from dataclasses import dataclass, replace
from functools import cache

import numpy as np
import pandas as pd
import pytest
import shapely

from sample_gis.frames import frames
from sample_gis.generator import make_town
from sample_gis.settings import EASY, HARD
from sample_gis.truth import observation_truth
from sewermap.follow.following import Followed, follow
from sewermap.history.kinds import vocabulary
from sewermap.line.circle import within_m
from sewermap.line.known_points import Ground
from sewermap.line.place_figures import figures_of_place
from sewermap.line.place_rules import rules_from_texts
from sewermap.line.places import Places, place
from sewermap.line.reference import point_at
from sewermap.line.scene import Scene, scene_of, with_push
from sewermap.store import tables as schema

LATERALS = 800
TOWNS = {"easy": (EASY, (4711, 815)), "hard": (HARD, (4711, 815))}


@dataclass(frozen=True)
class Case:
    """A town made ready, and its truth."""

    tables: dict[str, pd.DataFrame]
    scene: Scene
    observations: pd.DataFrame
    truth: pd.DataFrame


def scene_from(tables: dict[str, pd.DataFrame]) -> Scene:
    """The scene of a town's tables, with the counter's figures that its own fixes support."""
    ground = Ground(tables["parcels"], tables["buildings"], tables["referents"])
    scene = scene_of(rules_from_texts({}), tables["lateral_lines"], ground, tables["runs"], metres_per_unit=1.0)
    figures = figures_of_place(scene, observations_of(tables, scene))
    return replace(scene, rules=replace(scene.rules, counter=figures))


def observations_of(tables: dict[str, pd.DataFrame], scene: Scene) -> pd.DataFrame:
    """The town's observations as a load hands them over."""
    seen = with_push(tables["observations"], scene)
    return seen.assign(located_map_x=seen["located_x"].to_numpy(), located_map_y=seen["located_y"].to_numpy())


@cache
def case(name: str, seed: int, laterals: int = LATERALS) -> Case:
    """A town of known truth."""
    town = make_town(seed, laterals, TOWNS[name][0])
    tables = frames(town)
    scene = scene_from(tables)
    return Case(tables, scene, observations_of(tables, scene), observation_truth(town))


@cache
def followed(name: str, seed: int, *, joint: bool = True) -> Followed:
    """What is made of it."""
    given = case(name, seed)
    return follow(given.scene, given.observations, given.tables["works"], vocabulary(), joint=joint)


@cache
def placed(name: str, seed: int) -> Places:
    """Each run placed by itself."""
    given = case(name, seed)
    return place(given.observations, given.scene.pushes, given.scene.laterals, given.scene.points, given.scene.rules.counter)


def pairs(groups: pd.Series) -> int:
    """How many pairs of rows stand in one group."""
    counts = groups.value_counts()
    return int((counts * (counts - 1) // 2).sum())


def share_of_right_pairs(truth: pd.Series, cluster: pd.Series) -> float:
    """F1 over pairs of defect observations: those joined against those that are of one defect."""
    known = truth.notna().to_numpy()
    truth, cluster = truth[known].reset_index(drop=True), cluster[known].reset_index(drop=True)
    joined = cluster[cluster >= 0]
    both = pairs(truth[cluster >= 0] + "/" + joined.astype("str"))
    return 2.0 * both / (pairs(joined) + pairs(truth))


def shares(name: str, *, joint: bool) -> list[float]:
    """The share of each town of this name."""
    return [
        share_of_right_pairs(case(name, seed).truth["truth_id"], followed(name, seed, joint=joint).observations["cluster"])
        for seed in TOWNS[name][1]
    ]


@pytest.mark.parametrize(("name", "least"), [("easy", 0.995), ("hard", 0.99)])
def test_observations_of_one_defect_are_joined(name: str, least: float) -> None:
    """Share of rightly joined pairs on towns of known truth: 0.995 easy, 0.99 hard."""
    assert min(shares(name, joint=True)) >= least


def test_without_the_joint_solution_fewer_are_joined() -> None:
    """The same matching from places that each run got by itself is worse on the same hard towns."""
    together, apart = shares("hard", joint=True), shares("hard", joint=False)
    assert all(one > other for one, other in zip(together, apart, strict=True)), (together, apart)


def distances_m(name: str, seed: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """On the map, from truth: of the joint places and of each run's own; and the joint radius."""
    given, now, alone = case(name, seed), followed(name, seed).observations, placed(name, seed).observations
    ok = (now["measure_m"].notna() & alone["measure_m"].notna()).to_numpy()
    lateral = alone["lateral"].to_numpy()[ok]
    truth = given.truth[["true_x", "true_y"]].to_numpy(float)[ok]
    xy = point_at(given.scene.laterals.lines, lateral, now["measure_m"].to_numpy()[ok])
    radius = within_m(now["sigma_m"].to_numpy()[ok], given.scene.laterals.table["accuracy_m"].to_numpy(float)[lateral])
    own = alone[["x", "y"]].to_numpy(float)[ok]
    return np.hypot(*(xy - truth).T), np.hypot(*(own - truth).T), radius


@pytest.mark.parametrize("name", ["easy", "hard"])
def test_the_joint_solution_places_nearer_to_the_truth(name: str) -> None:
    """The median distance from the truth, on the map and along the line, is lower than that of runs placed one by one."""
    for seed in TOWNS[name][1]:
        joint, alone, _ = distances_m(name, seed)
        assert np.median(joint) < np.median(alone)
        truth = case(name, seed).truth["true_measure_m"]
        now, before = followed(name, seed).observations["measure_m"], placed(name, seed).observations["measure_m"]
        assert (now - truth).abs().median() < 0.97 * (before - truth).abs().median()


@pytest.mark.parametrize("name", ["easy", "hard"])
def test_sigma_covers_and_the_radius_is_not_bought_by_width(name: str) -> None:
    """At least 93 % lie within the radius that should hold 95 %, which is no more than a twentieth wider than before."""
    for seed in TOWNS[name][1]:
        joint, _, radius = distances_m(name, seed)
        assert np.mean(joint <= radius) >= 0.93
        assert np.median(radius) <= 1.06 * placed(name, seed).observations["within_m"].median()


def test_the_order_of_runs_and_rows_means_nothing() -> None:
    """All tables shuffled, the same observations are joined, to the last bit of their measures."""
    given = case("hard", 99, 60)
    tables = {name: table.sample(frac=1.0, random_state=5).reset_index(drop=True) for name, table in given.tables.items()}
    tables["observations"]["id"] = tables["observations"]["id"].to_numpy()
    scene = scene_from(tables)
    seen = observations_of(tables, scene)
    one = follow(given.scene, given.observations, given.tables["works"], vocabulary()).observations
    two = follow(scene, seen, tables["works"], vocabulary()).observations
    two = two.set_axis(seen["id"].to_numpy()).loc[given.observations["id"].to_numpy()].reset_index(drop=True)
    pd.testing.assert_frame_equal(one, two)


def test_laterals_do_not_depend_on_each_other() -> None:
    """Following some laterals alone gives what following all of them gives, to the last bit."""
    given = case("hard", 99, 60)
    everything = follow(given.scene, given.observations, given.tables["works"], vocabulary()).observations
    lateral = given.scene.runs["lateral"].iloc[given.observations["push"]].to_numpy()
    some = np.isin(lateral, given.scene.laterals.table["lateral"].to_numpy()[::3])
    part = follow(given.scene, given.observations[some].reset_index(drop=True), given.tables["works"], vocabulary()).observations
    columns = ["measure_m", "sigma_m", "cost", "runner_up_cost", "reason"]
    pd.testing.assert_frame_equal(part[columns], everything.loc[some, columns].reset_index(drop=True))
    assert part["cluster"].groupby(everything.loc[some, "cluster"].to_numpy()).nunique().max() == 1


def test_every_sighting_can_be_explained() -> None:
    """Each member of a cluster of several has a cost below that of its runner-up, unless order forbade that; looks have none."""
    given, now = case("hard", 815), followed("hard", 815).observations
    joined = now[now["cluster"].map(now["cluster"].value_counts()).gt(1) & now["runner_up"].ge(0)]
    assert (joined["cost"] < joined["runner_up_cost"]).mean() > 0.99
    assert (joined["cluster"] != joined["runner_up"]).all()
    look = given.observations["kind"].isin(["stopped short", "could not pass", "turned back"]).to_numpy()
    assert (now.loc[look, "cluster"] == -1).all()
    assert now.loc[look, "measure_m"].notna().mean() > 0.9


def test_clusters_hold_one_role_and_one_sighting_a_run() -> None:
    """A defect is never joined to a feature, nor two rows of one run to each other; the table of clusters counts them."""
    given, result = case("hard", 815), followed("hard", 815)
    now = result.observations.assign(
        defect=vocabulary().is_defect[vocabulary().codes(given.observations["kind"])], push=given.observations["push"].to_numpy()
    )
    now = now[now["cluster"] >= 0]
    assert now.groupby("cluster")["defect"].nunique().max() == 1
    assert not now.duplicated(["cluster", "push"]).any()
    counted = now["cluster"].value_counts().reindex(result.clusters["cluster"])
    assert (counted.to_numpy() == result.clusters["sightings"].to_numpy()).all()
    assert result.clusters["measure_m"].is_monotonic_increasing or len(result.clusters) > 1


def rows(table, **columns) -> pd.DataFrame:
    """Rows in the shape of a table of the store; what is not given is empty."""
    count = len(next(iter(columns.values()))) if columns else 0
    made = {}
    for column in table.c:
        kind = {"TEXT": "str", "DATE": "datetime64[s]"}.get(str(column.type), "float64")
        kind = "object" if column.name == "geometry" else kind
        made[column.name] = pd.Series(list(columns.get(column.name, [None] * count)), dtype=kind)
    return pd.DataFrame(made)


def told(seen: list[tuple], done: list[tuple] = (), *, upwards: tuple[str, ...] = ()) -> tuple[pd.DataFrame, Followed]:
    """One lateral of 30 m, and what its runs saw: (run, day, reading, kind, clock, to_reading); works (day, kind, from, to).

    Runs go from the building to the main, those named in ``upwards`` from the main to the building.
    """
    table = pd.DataFrame(seen, columns=["run", "ran_on", "reading_m", "kind", "clock_from", "to_reading_m"])
    every = table.drop_duplicates("run")
    launch = ["tie-in" if run in upwards else "building" for run in every["run"]]
    ends = [30.0] * len(every)
    runs = rows(
        schema.runs, run=every["run"], lateral=["L"] * len(every), ran_on=every["ran_on"], launch=launch, end_reading_m=ends
    )
    line = rows(schema.lateral_lines, lateral=["L"], geometry=[shapely.LineString([(0, 0), (0, 30)])], map_accuracy_m=[0.2])
    nothing = Ground(rows(schema.parcels), rows(schema.buildings), rows(schema.referents))
    scene = scene_of(rules_from_texts({}), line, nothing, runs, metres_per_unit=1.0)
    columns = {name: table[name] for name in ("run", "reading_m", "kind", "clock_from", "to_reading_m")}
    given = with_push(rows(schema.observations, **columns), scene).assign(located_map_x=np.nan, located_map_y=np.nan)
    jobs = pd.DataFrame(list(done), columns=["done_on", "kind", "from_measure_m", "to_measure_m"])
    works = rows(
        schema.works, work=[str(at) for at in range(len(jobs))], lateral=["L"] * len(jobs), **{name: jobs[name] for name in jobs}
    )
    return given, follow(scene, given, works, vocabulary())


THINGS = ((2.0, "bend"), (6.0, "roots"), (9.5, "crack"), (14.0, "offset joint"), (18.0, "bend"), (22.5, "roots"))


def run_over(name: str, day: str, off_m: float = 0.0) -> list[tuple]:
    """A run that saw all the things, its counter off by so much."""
    return [(name, day, at + off_m, kind, np.nan, np.nan) for at, kind in THINGS]


def test_a_run_launched_elsewhere_is_found_out() -> None:
    """A run that saw the same things as two others, all 4 m further on the counter, is moved there, and it is told."""
    _, result = told([*run_over("A", "2023-01-05"), *run_over("B", "2023-06-05"), *run_over("C", "2024-01-05", 4.0)])
    assert result.clusters["sightings"].tolist() == [3] * len(THINGS)
    assert result.runs["shifted_m"].round(1).tolist() == [0.0, 0.0, 4.0]


def test_a_clock_position_is_mirrored_for_a_run_the_other_way() -> None:
    """Three o'clock towards the main is nine o'clock towards the building; two cracks at one place are told apart by it."""
    seen = [("A", "2023-01-05", 12.0, "crack", 3.0, np.nan), ("A", "2023-01-05", 12.0, "crack", 9.0, np.nan)]
    seen += [("B", "2024-01-05", 18.0, "crack", 3.0, np.nan)]
    given, result = told(seen, upwards=("B",))
    cluster = result.observations["cluster"].to_numpy()
    clock, run = given["clock_from"].to_numpy(), given["run"].to_numpy()
    nine, three, other = (cluster[(run == name) & (clock == at)][0] for name, at in (("A", 9.0), ("A", 3.0), ("B", 3.0)))
    assert other == nine
    assert three != nine


def test_a_stretch_seen_from_both_sides_is_one() -> None:
    """A sag from 10 to 13 m of cable one way is the sag from 17 to 20 m the other way; both ends are compared."""
    seen = [("A", "2023-01-05", 10.0, "sag", np.nan, 13.0), ("B", "2024-01-05", 17.1, "sag", np.nan, 20.0)]
    _, result = told(seen, upwards=("B",))
    assert result.clusters["sightings"].tolist() == [2]
    assert result.clusters[["measure_m", "to_measure_m"]].round(0).to_numpy().tolist() == [[17.0, 20.0]]


def test_what_returns_after_a_work_is_the_same_thing() -> None:
    """Roots at the same joint before and after a cutting are one cluster; a crack a metre off is another."""
    seen = [("A", "2023-01-05", 12.0, "roots", 6.0, np.nan), ("B", "2024-01-05", 12.1, "roots", 6.0, np.nan)]
    seen += [("B", "2024-01-05", 13.2, "crack", np.nan, np.nan)]
    _, result = told(seen, [("2023-03-01", "root cutting", 15.0, 20.0)])
    assert sorted(result.clusters["sightings"]) == [1, 2]


def test_a_lateral_without_runs_or_works_is_no_trouble() -> None:
    """No observation gives empty tables of the right columns."""
    given, result = told(run_over("A", "2023-01-05"))
    empty = follow(case("easy", 99, 60).scene, given.iloc[:0], rows(schema.works), vocabulary())
    assert list(empty.observations.columns) == list(result.observations.columns)
    assert list(empty.clusters.columns) == list(result.clusters.columns)
    assert len(empty.observations) == len(empty.clusters) == 0
