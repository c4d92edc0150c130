"""Clusters of sightings as issues: their grades, places, sides, states and trends, as the rows of the computed tables."""

from collections.abc import Mapping
from dataclasses import dataclass

import pandas as pd

from sewermap.history.grading import GradeTable, grades, lateral_grades
from sewermap.history.life import MENDED, STATES, lives
from sewermap.history.life_rules import LifeRules
from sewermap.history.life_sightings import life_sightings
from sewermap.history.streets import scoped_m
from sewermap.history.trend import trend
from sewermap.line.known_points import Laterals
from sewermap.line.on_the_map import on_the_map, points_of

OF_SIGHTING = (
    "id", "run", "ran_on", "lateral", "observation", "kind", "grade", "percent", "clock_from", "clock_to", "measure_m",
    "sigma_m", "to_measure_m", "side_sigma_m",
)  # fmt: skip
"""What a story takes from each sighting's row of placed_observations."""


@dataclass(frozen=True)
class Story:
    """What lives are told from, for the laterals in question.

    ``sightings``: one row a sighting of a defect that was matched, with id (of the observation), cluster, run, ran_on, lateral,
    observation, kind, grade (the crew's), percent, clock_from, clock_to, measure_m, sigma_m, to_measure_m, side_sigma_m, cost,
    runner_up (a cluster, −1 for none), runner_up_cost and by_hand. ``coverages``: run, lateral, ran_on, from_measure_m,
    to_measure_m, reason. ``looks``: run, kind, measure_m, to_measure_m. ``works``: current rows. ``names``: by cluster, the
    issue's name.
    """

    sightings: pd.DataFrame
    coverages: pd.DataFrame
    looks: pd.DataFrame
    works: pd.DataFrame
    names: pd.Series


def issue_tables(story: Story, laterals: Laterals, rules: LifeRules, table: GradeTable) -> dict[str, pd.DataFrame]:
    """The rows of issues, issue_sightings and lateral_states, without ids, geometries in place."""
    seen = graded_sightings(story.sightings, table)
    issues = _told(story, seen, laterals, rules)
    return {
        "issues": _named(issues, story.names),
        "issue_sightings": _named(seen.rename(columns={"cluster": "issue"}), story.names),
        "lateral_states": _lateral_states(issues, story.coverages, laterals, table),
    }


def _told(story: Story, seen: pd.DataFrame, laterals: Laterals, rules: LifeRules) -> pd.DataFrame:
    """Issues with their lives, trends, places and works, called by the numbers of their clusters."""
    issues = _issues(seen)
    told = lives(
        issues, life_sightings(seen.rename(columns={"cluster": "issue"}), rules), story.coverages, story.looks, story.works, rules
    ).states
    issues = issues.merge(told.drop(columns="lateral"), on="issue")
    return _with_works(_with_places(_with_trends(issues, seen, rules), laterals), story.works)


def graded_sightings(sightings: pd.DataFrame, table: GradeTable) -> pd.DataFrame:
    """Sightings with crew_grade, own_grade, grade_why, and grade: the crew's, who saw the film, else ours."""
    length = (sightings["to_measure_m"] - sightings["measure_m"]).abs()
    own = grades(sightings.assign(length_m=length), table)
    given = sightings["grade"]
    return sightings.assign(crew_grade=given, own_grade=own["grade"], grade_why=own["why"], grade=given.fillna(own["grade"]))


def _places(seen: pd.DataFrame) -> tuple["pd.Series[float]", "pd.Series[float]"]:
    """Of each cluster its measure and, where it runs along the line, the measure of its end away from the tie-in.

    The weighted mean of its sightings. A run up the line meets the other end first, so the ends of each sighting are sorted; and
    who noted one point of what others saw the length of says nothing of where it begins and ends.
    """
    is_long = seen["to_measure_m"].notna()
    counts = is_long | ~is_long.groupby(seen["cluster"]).transform("any")
    weight = (seen["sigma_m"] ** -2).where(counts)
    ends = seen[["measure_m", "to_measure_m"]]
    sums = pd.DataFrame({"w": weight, "from": weight * ends.min(axis=1), "to": weight * ends.max(axis=1, skipna=False)})
    total = sums.groupby(seen["cluster"]).sum(min_count=1)  # nothing placed: no measure
    return total["from"] / total["w"], total["to"] / total["w"]


def _issues(seen: pd.DataFrame) -> pd.DataFrame:
    """One row a cluster: what its latest sighting says of it, at the place where all of them together put it."""
    by_time = seen.sort_values(["cluster", "ran_on", "run", "measure_m", "observation"], kind="stable")
    from_m, to_m = _places(by_time)
    last = by_time.drop_duplicates("cluster", keep="last").set_index("cluster").sort_index()
    percent = by_time.dropna(subset="percent").drop_duplicates("cluster", keep="last").set_index("cluster")["percent"]
    return pd.DataFrame(
        {
            "issue": last.index,
            "id": by_time.groupby("cluster")["id"].min(),
            "lateral": last["lateral"],
            "kind": last["kind"],
            "grade": last["grade"],
            "crew_grade": last["crew_grade"],
            "own_grade": last["own_grade"],
            "grade_why": last["grade_why"],
            "percent": percent.reindex(last.index),
            "measure_m": from_m,
            "to_measure_m": to_m,
            "sigma_m": by_time.groupby("cluster")["sigma_m"].min(),
            "side_sigma_m": by_time.groupby("cluster")["side_sigma_m"].min(),
        }
    ).reset_index(drop=True)


def _with_trends(issues: pd.DataFrame, seen: pd.DataFrame, rules: LifeRules) -> pd.DataFrame:
    """growth_low and growth_high where three sightings or more since the last work tell them."""
    sized = life_sightings(seen.rename(columns={"cluster": "issue"}), rules).assign(ran_on=seen["ran_on"].to_numpy())
    sized["guess"] = pd.Series(rules.guess, index=list(rules.names)).reindex(sized["kind"]).to_numpy()
    since = issues.set_index("issue")["work_on"]
    grown = trend(sized, since).set_index("issue")[["low", "high"]]
    grown.columns = pd.Index(["growth_low", "growth_high"])
    return issues.join(grown, on="issue")


def _with_places(issues: pd.DataFrame, laterals: Laterals) -> pd.DataFrame:
    """The place of each issue, its radius and side, and whose it is."""
    row = laterals.index_of(issues["lateral"])
    of = laterals.table.reindex(row)  # nothing of a lateral without a line (−1)
    measure, sigma, side_sigma = (issues[name].to_numpy(float) for name in ("measure_m", "sigma_m", "side_sigma_m"))
    placed = on_the_map(laterals, row, measure, sigma, side_sigma_m=side_sigma, kind=issues["kind"])
    owner = {name: of[name].to_numpy() for name in ("property", "street", "address", "accuracy_assumed")}
    return issues.assign(
        **{name: placed[name].to_numpy() for name in ("within_m", "x", "y", "side_probability")},
        side=placed["side"].set_axis(issues.index),
        geometry=points_of(placed),
        **owner,
    )


def _with_works(issues: pd.DataFrame, works: pd.DataFrame) -> pd.DataFrame:
    """The work after which it came back, in columns of the table; empty where nothing came back."""
    kinds = works.drop_duplicates("work").set_index("work")["kind"]
    return issues.assign(
        is_repeat=issues["repeat"],
        mending_work=issues["work"],
        after_work=issues["returned_after"],
        after_work_kind=issues["returned_after"].map(kinds).astype("str"),
        days_after_work=issues["returned_days"],
    )


def _lateral_states(issues: pd.DataFrame, coverages: pd.DataFrame, laterals: Laterals, table: GradeTable) -> pd.DataFrame:
    """One row a lateral: its grade by its open issues, and what was ever seen of it."""
    rows = laterals.table.set_index("lateral", drop=False)
    still_open = issues[issues["state"] != STATES[MENDED]]
    grade = lateral_grades(issues[["lateral", "kind", "grade", "state"]], table).set_index("lateral")
    looked = coverages[coverages["from_measure_m"].notna()].groupby("lateral")
    return rows.assign(
        grade=grade["grade"].reindex(rows.index),
        grade_why=grade["why"].reindex(rows.index),
        issues=still_open.groupby("lateral").size().reindex(rows.index).fillna(0),
        repeats=issues[issues["is_repeat"]].groupby("lateral").size().reindex(rows.index).fillna(0),
        runs=coverages.groupby("lateral").size().reindex(rows.index).fillna(0),
        last_run_on=looked["ran_on"].max().reindex(rows.index),
        scoped_m=scoped_m(coverages).reindex(rows.index).fillna(0.0),
    ).reset_index(drop=True)


def _named(rows: pd.DataFrame, names: Mapping[int, str] | pd.Series) -> pd.DataFrame:
    """Rows with issues called by their names instead of the numbers of their clusters."""
    named = pd.Series(names, dtype="str")
    told = rows.assign(issue=named.reindex(rows["issue"]).to_numpy())
    if "runner_up" in rows:
        told["runner_up"] = pd.Series(named.reindex(rows["runner_up"]).to_numpy(), index=rows.index, dtype="str")
    return told
