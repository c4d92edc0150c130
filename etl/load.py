"""One load from beginning to end, whole or not at all: gather the rows of a SOURCES.toml, record them, place what moved."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pandas as pd
import sqlalchemy as sa

from etl.known import PICTURE, Known
from etl.load_rows import load_rows
from etl.pipeline import Gathered, gather
from etl.plan import Plan, read_plan
from etl.recompute import recompute
from sewermap.errors import SourceError
from sewermap.plain import records
from sewermap.store import recorded
from sewermap.store import tables as schema
from sewermap.store.reference_system import crs_name
from sewermap.store.session import Store

COUNTS = ("file", "table", "read", "loaded", "unchanged", "rejected", "withdrawn")
PROBLEM = ("file", "row", "field", "value", "reason")


@dataclass(frozen=True)
class LoadReport:
    """What a load did: ``files`` with their counts of rows, ``rejects`` and ``warnings`` with file, row, field, value, reason."""

    files: pd.DataFrame
    rejects: pd.DataFrame
    warnings: pd.DataFrame

    def as_plain(self) -> dict[str, list[dict[str, Any]]]:
        """The report as lists of dictionaries, as ``load --format json`` prints it."""
        return {
            "files": records(self.files[list(COUNTS)]),
            "rejects": records(self.rejects[list(PROBLEM)]),
            "warnings": records(self.warnings[list(PROBLEM)]),
        }


def load(store: Store, sources: Path, *, check: bool = False, progress: Callable[[str], None] | None = None) -> LoadReport:
    """Load what a SOURCES.toml names into a store, in one transaction; with ``check`` nothing is written.

    ``progress`` hears the name of each step. Raises SourceError for a plan or file that cannot be read as asked, StoreError
    (BusyError) where the database cannot be written.
    """
    plan = read_plan(sources)
    _same_crs(store, plan)
    if not check:
        return _load_into(store, plan, progress or _silent)
    with store.copy_for_check() as copy:
        return _load_into(copy, plan, progress or _silent)


def _load_into(store: Store, plan: Plan, progress: Callable[[str], None]) -> LoadReport:
    with store.writing() as conn:
        progress("reading and checking")
        gathered = gather(plan, _known(conn), store.crs, store.metres_per_unit, progress=progress)
        progress("recording")
        new_rules = recorded.record_rules(conn, gathered.rules)
        done = load_rows(conn, gathered.tables, gathered.files, gathered.rejects)
        warnings = gathered.warnings
        if new_rules or done.changed:
            progress("placing")
            placing = recompute(store, conn, None if new_rules else done.laterals)
            warnings = pd.concat([warnings, placing], ignore_index=True)
        progress("saving")
    return _report(done.files, gathered, warnings)


def _report(files: pd.DataFrame, gathered: Gathered, warnings: pd.DataFrame) -> LoadReport:
    order = ["file", "table", "row", "field", "reason"]
    told = [frame.sort_values(order, kind="stable", ignore_index=True) for frame in (gathered.rejects, warnings)]
    return LoadReport(files, *told)


def _known(conn: sa.Connection) -> Known:
    """What the database already holds that new rows may refer to."""
    return Known(
        laterals=recorded.current(conn, schema.lateral_lines, ["lateral", "address", "street", "installed_on"]),
        runs=recorded.current(conn, schema.runs, ["run", "lateral", "unit", "ran_on", "launch_reading_m", "end_reading_m"]),
        referents=recorded.current(conn, schema.referents, ["lateral", "name"]),
        mains=recorded.current(conn, schema.mains, ["geometry"])["geometry"].to_numpy(object),
        pictures=recorded.current(conn, schema.pictures, PICTURE),
        rules=recorded.rules(conn),
    )


def _same_crs(store: Store, plan: Plan) -> None:
    if plan.crs is not None and plan.crs != store.crs:
        raise SourceError(
            f'{plan.path.name} says crs = "{crs_name(plan.crs)}", but the database\'s map is in {crs_name(store.crs)}; '
            "layers are reprojected into the map's CRS, so make both the same"
        )


def _silent(_step: str) -> None:
    """Nobody listens."""
