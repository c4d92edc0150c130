"""Everything that a site shows, read out of the database in one go: whole tables, the columns that pages need."""

from datetime import date
from typing import Any

import numpy as np
import pandas as pd
import sqlalchemy as sa

from sewermap.answers.as_of import last_day, tables_told_again
from sewermap.answers.claims import claims
from sewermap.answers.due import due
from sewermap.answers.fall import WITHIN, findings
from sewermap.history.kinds import vocabulary
from sewermap.history.life import lives, timeline
from sewermap.history.life_rules import LifeRules, life_rules
from sewermap.history.life_sightings import life_sightings
from sewermap.store import bulk, recorded
from sewermap.store import tables as schema
from sewermap.store.session import Store

BOOKKEEPING = frozenset({"id", "content", "loaded_in", "withdrawn_in", "replaced_by"})
COMPUTED = ("placed_observations", "issues", "issue_sightings", "run_coverages")
RECORDED = ("runs", "works", "referents", "parcels", "streets", "mains", "buildings", "rejects")
OF_STATE = ("grade", "grade_why", "issues", "repeats", "runs", "last_run_on", "scoped_m")


DATED = {
    "placed_observations": "ran_on", "issue_sightings": "ran_on", "run_coverages": "ran_on", "runs": "ran_on", "works": "done_on",
}  # fmt: skip
"""By frame the day of a row."""


def site_frames(store: Store, as_of: date) -> dict[str, pd.DataFrame]:
    """The frames of a site by name, geometries in the map's CRS; all as of a day: what is dated later is left out, and issues and
    grades are told again (see ``as_of``).

    laterals (with their columns of lateral_states), placed_observations (with film_time as written), issues, issue_sightings,
    issue_events (what each run and work said of each issue since it was first seen, in order of time: issue, day, run, work,
    verdict, reason, state, grade), run_coverages, runs, works, referents, falls (findings on slopes, sags, bends and
    clean-outs, without those that keep the rule), due (all states), claims, parcels, streets, mains, buildings, rejects.
    """
    with store.reading() as conn:
        frames = {name: _computed(conn, getattr(schema, name)) for name in COMPUTED}
        frames |= {name: _recorded(conn, getattr(schema, name)) for name in RECORDED}
        frames["laterals"] = _computed(conn, schema.laterals)
        states = _lateral_states(conn)
        latest = last_day(conn)
        if latest is not None and as_of < latest:
            told = tables_told_again(store, conn, as_of)
            states = told["lateral_states"].set_index("lateral")[list(OF_STATE)]
            frames |= _until(frames, as_of) | {"issues": told["issues"][list(frames["issues"])]}
        frames["laterals"] = _with_states(frames["laterals"], states)
        frames["placed_observations"] = _with_film_time(conn, frames["placed_observations"])
        rules = life_rules(vocabulary(recorded.rules(conn).get("kinds")))
        seen, issues = frames["placed_observations"], frames["issues"]
        falls = findings(conn, frames["laterals"], seen, issues, store.metres_per_unit)
        frames["falls"] = falls[falls["verdict"] != WITHIN]
    frames["issue_events"] = events_of_all(frames, rules)
    return {**frames, "due": pd.DataFrame(due(store, as_of, all_states=True)), "claims": pd.DataFrame(claims(store, as_of))}


def events_of_all(frames: dict[str, pd.DataFrame], rules: LifeRules) -> pd.DataFrame:
    """The events of all issues at once, each with the state after it and the grade of the last sighting until then."""
    seen = frames["placed_observations"]
    looks = seen.loc[seen["role"] == "look", ["run", "kind", "measure_m", "to_measure_m"]]
    coverages, works, issues = frames["run_coverages"], frames["works"], frames["issues"]
    reason = frames["runs"].set_index("run")["reason"].reindex(coverages["run"]).to_numpy()
    coverages = coverages.assign(reason=pd.Series(reason, index=coverages.index, dtype="str"))
    sightings = frames["issue_sightings"]
    known = lives(issues, life_sightings(sightings, rules), coverages, looks, works, rules)
    told = timeline(known, issues, coverages, works)
    told["grade"] = _grades(known.events, sightings["grade"].to_numpy(np.float64, na_value=np.nan))
    return told[known.events["state"].to_numpy() >= 0].reset_index(drop=True)


def _grades(events: pd.DataFrame, grade: Any) -> Any:
    """After each event the grade of the last sighting up to it, NaN where nobody gave one."""
    at, sighting = np.arange(len(events)), events["sighting"].to_numpy()
    last = np.maximum.accumulate(np.where(sighting >= 0, at, 0)) if len(events) else at
    # Events before an issue's first sighting are left out by the caller: the last sighting is the issue's own.
    return np.append(grade, np.nan)[sighting[last]] if len(events) else np.zeros(0)


def _computed(conn: sa.Connection, table: sa.Table) -> pd.DataFrame:
    return bulk.read(conn, sa.select(*(column for column in table.c if column.name not in BOOKKEEPING)).order_by(table.c.id))


def _recorded(conn: sa.Connection, table: sa.Table) -> pd.DataFrame:
    return recorded.current(conn, table, [column.name for column in table.c if column.name not in BOOKKEEPING])


def _with_film_time(conn: sa.Connection, seen: pd.DataFrame) -> pd.DataFrame:
    """Observations with the time in the film that their row tells, NaN where it tells none."""
    row, file = schema.observations, schema.source_files
    query = (
        sa.select(file.c.path, row.c.source_row, row.c.film_time)
        .join_from(row, file, row.c.loaded_in == file.c.id)
        .where(recorded.is_current(row), row.c.film_time.is_not(None))
        .order_by(row.c.id)
    )
    told: pd.DataFrame = bulk.read(conn, query).drop_duplicates(["path", "source_row"]).set_index(["path", "source_row"])
    rows = pd.MultiIndex.from_arrays([seen["source_file"], seen["source_row"]])
    return seen.assign(film_time=told["film_time"].reindex(rows).to_numpy())


def _until(frames: dict[str, pd.DataFrame], as_of: date) -> dict[str, pd.DataFrame]:
    """The frames whose rows have a day, without those dated later."""
    end = pd.Timestamp(as_of)
    return {name: frames[name][frames[name][day] <= end].reset_index(drop=True) for name, day in DATED.items()}


def _lateral_states(conn: sa.Connection) -> pd.DataFrame:
    table = schema.lateral_states
    return bulk.read(conn, sa.select(table.c.lateral, *(table.c[name] for name in OF_STATE))).set_index("lateral")


def _with_states(rows: pd.DataFrame, states: pd.DataFrame) -> pd.DataFrame:
    """Laterals with what their issues and runs make of them."""
    return rows.assign(**{name: states[name].reindex(rows["lateral"]).to_numpy() for name in OF_STATE})
