"""Everything that is known of one lateral, in order of time: runs, what they saw, works, warranties."""

from typing import Any

import geopandas as gpd
import pandas as pd
import sqlalchemy as sa

from sewermap.answers.names import lateral_row
from sewermap.answers.observed import placed
from sewermap.plain import records
from sewermap.store import bulk, recorded
from sewermap.store import tables as schema
from sewermap.store.session import Store

OF_LATERAL = (
    "lateral", "street", "address", "property", "installed_on", "material", "diameter", "length_m", "map_accuracy_m",
    "accuracy_assumed", "property_line_m",
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
    "run", "ran_on", "observation", "reading", "unit", "to_reading", "kind", "role", "measure_m", "sigma_m", "within_m",
    "x", "y", "side", "side_probability", "grade", "percent", "clock_from", "clock_to", "reason", "remark", "picture",
    "source_file", "source_row",
)  # fmt: skip
OF_WORK = ("work", "done_on", "kind", "from_measure_m", "to_measure_m", "by", "remark")
OF_WARRANTY = (
    "warranty",
    "begins_on",
    "term",
    "check_lead",
    "cure",
    "answerable",
    "work",
    "from_measure_m",
    "to_measure_m",
    "kinds",
)


def history(store: Store, lateral: str) -> dict[str, Any]:
    """One lateral's story: keys lateral …, runs, observations, issues, works, warranties, each a list in order of time.

    Until sightings are matched, each observed defect is an issue of one sighting. Raises UnknownNameError.
    """
    line = lateral_row(store, lateral)
    name = line["lateral"]
    with store.reading() as conn:
        runs = _runs(conn, name)
        works = _of(conn, schema.works, name, ["done_on", "work"])
        warranties = _of(conn, schema.warranties, name, ["begins_on", "warranty"])
    seen = _seen(store, name)
    return {
        **records(line.to_frame().T.infer_objects()[list(OF_LATERAL)])[0],
        "runs": records(runs[list(OF_RUN)]),
        "observations": records(seen[list(OF_OBSERVATION)]),
        "issues": [_issue(row) for row in records(seen[seen["role"] == "defect"])],
        "works": records(works[list(OF_WORK)]),
        "warranties": records(warranties[list(OF_WARRANTY)]),
    }


def observations_of(store: Store, lateral: str) -> gpd.GeoDataFrame:
    """What all runs saw on one lateral, in order of time, as a layer. Raises UnknownNameError."""
    return _seen(store, lateral_row(store, lateral)["lateral"])


def _seen(store: Store, lateral: str) -> gpd.GeoDataFrame:
    rows = placed(store, schema.placed_observations.c.lateral == lateral)
    return rows.sort_values(["ran_on", "run", "measure_m", "observation"], ignore_index=True)


def _runs(conn: sa.Connection, lateral: str) -> pd.DataFrame:
    runs = _of(conn, schema.runs, lateral, ["ran_on", "run"])
    covered = bulk.read(conn, sa.select(schema.run_coverages).where(schema.run_coverages.c.lateral == lateral))
    return runs.merge(covered[["run", "from_measure_m", "to_measure_m", "notes"]], on="run", how="left")


def _of(conn: sa.Connection, table: sa.Table, lateral: str, order: list[str]) -> pd.DataFrame:
    rows = bulk.read(conn, sa.select(table).where(table.c.lateral == lateral, recorded.is_current(table)))
    return rows.sort_values(order, ignore_index=True)


def _issue(row: dict[str, Any]) -> dict[str, Any]:
    sighting = {name: row[name] for name in ("run", "ran_on", "measure_m", "sigma_m", "grade")}
    return {"issue": row["issue"], "kind": row["kind"], "state": "new", "sightings": [sighting]}
