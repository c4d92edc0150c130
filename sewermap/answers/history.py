"""Everything that is known of one lateral, in order of time: runs, what they saw, works, warranties."""

from datetime import date
from typing import Any

import geopandas as gpd
import pandas as pd
import sqlalchemy as sa

from sewermap.answers.cautioned import caution_of
from sewermap.answers.fall import fall
from sewermap.answers.located import located
from sewermap.answers.names import lateral_row
from sewermap.answers.observed import placed
from sewermap.cautions import CROSS_BORE, STOP
from sewermap.history.kinds import vocabulary
from sewermap.history.life import lives, timeline
from sewermap.history.life_rules import LifeRules, life_rules
from sewermap.history.life_sightings import life_sightings
from sewermap.history.warranty import in_force
from sewermap.history.warranty_rules import warranty_rules
from sewermap.plain import records
from sewermap.store import bulk, recorded
from sewermap.store import tables as schema
from sewermap.store.session import Store

OF_LATERAL = (
    "lateral", "street", "address", "property", "installed_on", "material", "diameter", "length_m", "map_accuracy_m",
    "accuracy_assumed", "property_line_m", "property_line_sigma_m", "property_line_from", "property_line_note", "private_ends_m",
    "private_ends_at", "line_note",
)  # fmt: skip
OF_RUN = (
    "run",
    "ran_on",
    "unit",
    "launch",
    "direction",
    "reason",
    "crew",
    "remark",
    "film",
    "from_measure_m",
    "to_measure_m",
    "notes",
)
OF_OBSERVATION = (
    "run", "ran_on", "observation", "issue", "reading", "unit", "to_reading", "kind", "role", "measure_m", "sigma_m", "within_m",
    "x", "y", "side", "side_probability", "grade", "percent", "clock_from", "clock_to", "reason", "remark", "picture",
    "source_file", "source_row",
)  # fmt: skip
OF_STATE = ("grade", "grade_why", "scoped_m")
OF_ISSUE = (
    "kind", "state", "grade", "crew_grade", "own_grade", "grade_why", "percent", "measure_m", "sigma_m", "within_m", "side",
    "side_probability", "first_seen", "last_seen", "times_seen", "is_repeat", "after_work", "after_work_kind",
    "days_after_work", "growth_low", "growth_high",
)  # fmt: skip
OF_SIGHTING = (
    "run", "ran_on", "measure_m", "sigma_m", "grade", "crew_grade", "own_grade", "percent", "kind", "observation", "cost",
    "runner_up", "runner_up_cost", "by_hand",
)  # fmt: skip
OF_WORK = ("work", "done_on", "kind", "from_measure_m", "to_measure_m", "by", "remark")
OF_WARRANTY = (
    "warranty", "begins_on", "term", "ends_on", "check_from", "check_by", "check_lead", "cure", "answerable", "work",
    "from_measure_m", "to_measure_m", "kinds", "start_event", "notice_by", "note",
)  # fmt: skip


def history(store: Store, lateral: str) -> dict[str, Any]:
    """One lateral's story: keys lateral …, runs, observations, issues, works, warranties, each a list in order of time; located
    (points located from above, in order of measure), and fall.

    Each issue has its ``sightings`` (with what the match cost and what the next best issue would have cost) and its ``events``:
    what each run and work since the first sighting said of it. Raises UnknownNameError.
    """
    line = lateral_row(store, lateral)
    name = line["lateral"]
    with store.reading() as conn:
        runs = _runs(conn, name)
        works = _of(conn, schema.works, name, ["done_on", "work"])
        warranties = _warranties(conn, name, works)
        state = bulk.read(conn, sa.select(schema.lateral_states).where(schema.lateral_states.c.lateral == name))
        issues = bulk.read(conn, sa.select(schema.issues).where(schema.issues.c.lateral == name))
        sightings = bulk.read(conn, sa.select(schema.issue_sightings).where(schema.issue_sightings.c.lateral == name))
        rules = life_rules(vocabulary(recorded.rules(conn).get("kinds")))
        points = located(store, conn, line)
    issues = issues.sort_values(["measure_m", "issue"], ignore_index=True)
    sightings = sightings.sort_values(["ran_on", "run", "measure_m", "observation"], ignore_index=True)
    seen = _seen(store, name)
    events = issue_events(issues, sightings, runs, seen[seen["role"] == "look"], works, rules)
    return {
        **records(line.to_frame().T.infer_objects()[list(OF_LATERAL)])[0],
        **(records(state[list(OF_STATE)])[0] if len(state) else dict.fromkeys(OF_STATE)),
        "caution": STOP if CROSS_BORE in set(issues["kind"]) else None,
        "runs": records(runs[list(OF_RUN)]),
        "observations": records(seen[list(OF_OBSERVATION)]),
        "issues": [_issue(row, sightings, events) for row in records(issues[["issue", *OF_ISSUE]])],
        "works": records(works[list(OF_WORK)]),
        "warranties": records(warranties[list(OF_WARRANTY)]),
        "located": points,
        "fall": fall(store, name),
    }


def issue_events(
    issues: pd.DataFrame, sightings: pd.DataFrame, runs: pd.DataFrame, looks: pd.DataFrame, works: pd.DataFrame, rules: LifeRules
) -> pd.DataFrame:
    """What each run and work said of each issue since it was first seen: issue, day, run or work, verdict, reason, state."""
    compared = life_sightings(sightings, rules)
    told = timeline(lives(issues, compared, runs, looks, works, rules), issues, runs, works)
    return told[told["state"].notna()]


def observations_of(store: Store, lateral: str) -> gpd.GeoDataFrame:
    """What all runs saw on one lateral, in order of time, as a layer, with ``caution``. Raises UnknownNameError."""
    seen = _seen(store, lateral_row(store, lateral)["lateral"])
    return seen.assign(caution=caution_of(seen["kind"]))


def _seen(store: Store, lateral: str) -> gpd.GeoDataFrame:
    rows = placed(store, schema.placed_observations.c.lateral == lateral)
    return rows.sort_values(["ran_on", "run", "measure_m", "observation"], ignore_index=True)


def _runs(conn: sa.Connection, lateral: str) -> pd.DataFrame:
    runs = _of(conn, schema.runs, lateral, ["ran_on", "run"])
    covered = bulk.read(conn, sa.select(schema.run_coverages).where(schema.run_coverages.c.lateral == lateral))
    return runs.merge(covered[["run", "from_measure_m", "to_measure_m", "notes"]], on="run", how="left")


def _warranties(conn: sa.Connection, lateral: str, works: pd.DataFrame) -> pd.DataFrame:
    """The recorded warranties and those that works open by the place's rules, whenever they begin, with all their days."""
    rules = warranty_rules(recorded.rules(conn).get("warranties"))
    said = _of(conn, schema.warranties, lateral, ["begins_on", "warranty"])
    return in_force(said, works, rules, date.max).sort_values(["begins_on", "warranty"], ignore_index=True)


def _of(conn: sa.Connection, table: sa.Table, lateral: str, order: list[str]) -> pd.DataFrame:
    rows = bulk.read(conn, sa.select(table).where(table.c.lateral == lateral, recorded.is_current(table)))
    return rows.sort_values(order, ignore_index=True)


def _issue(row: dict[str, Any], sightings: pd.DataFrame, events: pd.DataFrame) -> dict[str, Any]:
    name = row["issue"]
    seen, happened = sightings[sightings["issue"] == name], events[events["issue"] == name]
    return {
        **row,
        "sightings": records(seen[list(OF_SIGHTING)]),
        "events": records(happened[["day", "run", "work", "verdict", "reason", "state"]]),
    }
