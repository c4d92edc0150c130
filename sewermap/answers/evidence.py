"""Evidence as rows: who saw an issue when, what was written down, where that lies, and which file and row say so."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np
import pandas as pd
import pyproj
import sqlalchemy as sa

from sewermap.answers.as_of import issues_on
from sewermap.answers.cautioned import caution_of
from sewermap.answers.names import issue_row
from sewermap.answers.warranties_on import today
from sewermap.answers.warranty_facts import warranty_facts
from sewermap.cautions import CROSS_BORE
from sewermap.errors import UnknownNameError
from sewermap.history.life import MENDED, STATES
from sewermap.plain import records
from sewermap.store import bulk, recorded
from sewermap.store import tables as schema
from sewermap.store.reference_system import crs_name
from sewermap.store.session import Store

WARRANTY, ISSUE = WHATS = ("warranty", "issue")

PLACED = (
    "observation", "run", "ran_on", "lateral", "reading", "to_reading", "unit", "kind", "clock_from", "clock_to", "percent",
    "measure_m", "to_measure_m", "sigma_m", "within_m", "x", "y", "side", "side_probability", "remark", "picture", "source_file",
    "source_row",
)  # fmt: skip
SIGHTINGS = (
    "issue", "run", "ran_on", "crew", "lateral", "reading", "to_reading", "unit", "kind_as_written", "kind", "clock_from",
    "clock_to", "percent", "grade", "crew_grade", "own_grade", "measure_m", "to_measure_m", "sigma_m", "within_m", "x", "y",
    "crs", "lon", "lat", "side", "side_probability", "remark", "picture", "film", "film_time", "source_file", "source_row",
    "source_sha256",
)  # fmt: skip
"""Columns of the sightings. reading, unit, kind_as_written, remark and picture are as the file has them; crew is the run's;
grade is the crew's, else ours; source_sha256 is that of the whole file as it was loaded."""

RUNS = (
    "run", "lateral", "ran_on", "reason", "crew", "unit", "launch", "direction", "launch_reading", "end_reading", "lead_in",
    "from_measure_m", "to_measure_m", "notes", "remark", "film", "source_file", "source_row", "source_sha256",
)  # fmt: skip
WORKS = (
    "work", "lateral", "done_on", "kind", "from_measure_m", "to_measure_m", "by", "remark", "source_file", "source_row",
    "source_sha256",
)  # fmt: skip


@dataclass(frozen=True)
class Evidence:
    """What was known of one thing on a day. ``what``: warranty or issue. ``facts``: as ``warranty_facts`` has them; of an issue
    as_of, crs, lateral (its name alone) and ``claims``, which holds the one issue. ``sightings``, ``runs`` and ``works``: all of
    these issues, and all of the lateral, with file and row. ``cross_bores``: issues of the lateral, claimed or not, that may be
    gas pipes.
    """

    what: str
    name: str
    facts: dict[str, Any]
    sightings: pd.DataFrame
    runs: pd.DataFrame
    works: pd.DataFrame
    cross_bores: tuple[str, ...]

    def plain(self) -> dict[str, Any]:
        """All of it as plain values; runs and works as the tables of the folder have them."""
        tables = {"sightings": self.sightings, "runs": self.runs, "works": self.works}
        return {
            "what": self.what,
            "name": self.name,
            "cross_bores": list(self.cross_bores),
            **self.facts,
            **{name: records(rows) for name, rows in tables.items()},
        }


def evidence(store: Store, name: str, as_of: date | None = None, *, what: str | None = None) -> Evidence:
    """The evidence for a warranty (of all that may be claimed under it) or an issue, as known on a day (default today).

    Raises UnknownNameError for a name that is neither, or that is both where ``what`` does not say which is meant.
    """
    day = as_of or today()
    facts, meant, known = _facts(store, name, day, what)
    lateral = str((facts["warranty"] if meant == WARRANTY else facts["claims"][0])["lateral"])
    facts = facts | {"claims": _with_lonlat(store, facts["claims"])}
    with store.reading() as conn:
        sightings = _sightings(store, conn, [claim["issue"] for claim in facts["claims"]], day)
        runs = _runs(conn, lateral, day)
        works = _sourced(conn, schema.works, lateral, schema.works.c.done_on, day)
        issues = issues_on(store, conn, day, [lateral], ("issue", "kind", "state"))
    bores = issues.loc[(issues["kind"] == CROSS_BORE) & (issues["state"] != STATES[MENDED]), "issue"].sort_values()
    bores = pd.concat(
        [bores, pd.Series([claim["issue"] for claim in facts["claims"] if claim["kind"] == CROSS_BORE], dtype="str")]
    )
    works = works.sort_values(["done_on", "work"], ignore_index=True)
    return Evidence(meant, known, facts, sightings, runs, works[list(WORKS)], tuple(bores.drop_duplicates()))


def _facts(store: Store, name: str, day: date, what: str | None) -> tuple[dict[str, Any], str, str]:
    """The facts, what they are of, and its name as it is recorded."""
    found: dict[str, dict[str, Any]] = {}
    whys: dict[str, str] = {}
    for kind, facts_of in ((WARRANTY, warranty_facts), (ISSUE, _issue_facts)):
        if what in (None, kind):
            try:
                found[kind] = facts_of(store, name, day)
            except UnknownNameError as error:
                whys[kind] = str(error)
    if len(found) > 1:
        raise UnknownNameError(
            f"'{name}' is the name of a warranty and of an issue: say which by --what warranty or --what issue"
        )
    if not found:
        raise UnknownNameError("; ".join(whys.values()))
    kind, facts = found.popitem()
    return facts, kind, str(facts["warranty"]["warranty"] if kind == WARRANTY else facts["claims"][0]["issue"])


def _issue_facts(store: Store, name: str, day: date) -> dict[str, Any]:
    """An issue in the shape of the facts of a warranty."""
    with store.reading() as conn:
        row = issue_row(conn, name)
        issues = issues_on(store, conn, day, [row["lateral"]])
    mine = issues[issues["issue"] == row["issue"]]
    if mine.empty:
        raise UnknownNameError(f"issue '{row['issue']}' was first seen after {day}, the day that was asked for")
    claims = records(mine.assign(caution=caution_of(mine["kind"])))
    return {"as_of": day.isoformat(), "crs": crs_name(store.crs), "lateral": {"lateral": row["lateral"]}, "claims": claims}


def _sightings(store: Store, conn: sa.Connection, issues: Collection[str], day: date) -> pd.DataFrame:
    """Each sighting of the issues, in order of issue and time. A sighting bears the id of the observation that it is made of."""
    seen, placed, said, runs = schema.issue_sightings, schema.placed_observations, schema.observations, schema.runs
    source = schema.source_files
    query = (
        sa.select(
            seen.c.issue, seen.c.grade, seen.c.crew_grade, seen.c.own_grade, *(placed.c[column] for column in PLACED),
            said.c.kind_as_written, said.c.film_time, runs.c.crew, runs.c.film, source.c.sha256.label("source_sha256"),
        )
        .join_from(seen, placed, seen.c.id == placed.c.id)
        .join(said, seen.c.id == said.c.id)
        .join(source, said.c.loaded_in == source.c.id)
        .join(runs, sa.and_(runs.c.run == placed.c.run, recorded.is_current(runs)))
        .where(bulk.any_of(conn, seen.c.issue, issues), seen.c.ran_on <= day)
    )  # fmt: skip
    rows = bulk.read(conn, query).sort_values(["issue", "ran_on", "run", "measure_m", "observation"], ignore_index=True)
    return _on_the_globe(store, rows)[list(SIGHTINGS)]


def _on_the_globe(store: Store, rows: pd.DataFrame) -> pd.DataFrame:
    """Rows (x, y) with crs, lon and lat (WGS 84)."""
    to_lonlat = pyproj.Transformer.from_crs(store.crs, pyproj.CRS.from_epsg(4326), always_xy=True)
    lon, lat = to_lonlat.transform(rows["x"].to_numpy(float), rows["y"].to_numpy(float))
    found = np.isfinite(lon)
    return rows.assign(crs=crs_name(store.crs), lon=np.where(found, lon, np.nan), lat=np.where(found, lat, np.nan)).round(
        {"lon": 9, "lat": 9}
    )


def _with_lonlat(store: Store, claims: list[dict[str, Any]]) -> list[dict[str, Any]]:
    if not claims:
        return []
    places = _on_the_globe(store, pd.DataFrame([{"x": claim["x"], "y": claim["y"]} for claim in claims], dtype="float64"))
    return [claim | place for claim, place in zip(claims, records(places), strict=True)]


def _runs(conn: sa.Connection, lateral: str, day: date) -> pd.DataFrame:
    """All runs of the lateral until the day, those too that passed an issue and did not see it."""
    runs = _sourced(conn, schema.runs, lateral, schema.runs.c.ran_on, day)
    passed = schema.run_coverages
    columns = [passed.c[name] for name in ("run", "from_measure_m", "to_measure_m", "notes")]
    covered = bulk.read(conn, sa.select(*columns).where(passed.c.lateral == lateral))
    return runs.merge(covered, on="run", how="left").sort_values(["ran_on", "run"], ignore_index=True)[list(RUNS)]


def _sourced(conn: sa.Connection, table: sa.Table, lateral: str, on: "sa.Column[Any]", day: date) -> pd.DataFrame:
    """Current rows of a lateral until the day, with the file that says them."""
    source = schema.source_files
    query = (
        sa.select(table, source.c.path.label("source_file"), source.c.sha256.label("source_sha256"))
        .join_from(table, source, table.c.loaded_in == source.c.id)
        .where(table.c.lateral == lateral, on <= day, recorded.is_current(table))
    )
    return bulk.read(conn, query)
