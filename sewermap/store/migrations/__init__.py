"""Steps from one version of the schema to the next, on both engines.

A step raises the version by one: ``STEPS`` holds them in order, the first leads from version 1 to 2. All steps that a
database lacks run in one transaction; a GeoPackage is copied beside itself first, and its foreign keys are off meanwhile (a
table is altered by making it anew) and checked before the commit.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import sqlalchemy as sa

from sewermap.errors import StoreError
from sewermap.store import geopackage, postgis, session
from sewermap.store.geometry import SRID_OF_DIALECT
from sewermap.store.migrations.adding import added
from sewermap.store.migrations.forgetting import forgotten
from sewermap.store.migrations.widening import widened
from sewermap.store.tables import meta
from sewermap.store.trouble import told


@dataclass(frozen=True)
class Step:
    """One change of the schema: what it does in words, and the doing inside the given transaction."""

    what: str
    change: Callable[[sa.Connection], None]


@dataclass(frozen=True)
class Upgraded:
    """What an upgrade did: versions before and after, the steps in words, and where the copy from before lies (a file only)."""

    before: int
    after: int
    steps: tuple[str, ...]
    copy: str | None


def _each(*changes: Callable[[sa.Connection], None]) -> Callable[[sa.Connection], None]:
    def change(conn: sa.Connection) -> None:
        for one in changes:
            one(conn)

    return change


STEPS: tuple[Step, ...] = (
    Step(
        "laterals get inverts, and where private ends by the place's rule",
        widened("lateral_lines", "laterals", "placed_observations"),
    ),
    Step(
        "lines that no map drew, located points of a run, notes as typed, and the files of pictures",
        _each(widened("lateral_lines", "laterals", "legs", "located_points", "observations"), added("sketches", "pictures")),
    ),
    Step(
        "how well lines that no map drew are known, along and across",
        forgotten("accuracy_along", "laterals", "sketches"),
    ),
)
"""In order; computed tables are to be built again after any of them (``sewermap recompute``)."""


def upgrade(where: str | Path, steps: Sequence[Step] = STEPS) -> Upgraded:
    """Bring a store to the newest schema; nothing happens to one that has it.

    Raises StoreError if the store is newer than this program, cannot be written, or if a step fails: then it is as before.
    """
    store, before = session.open_any_version(where)
    newest = 1 + len(steps)
    if before > newest:
        raise StoreError(f"{store.shown} was written by a newer sewermap (its schema is {before}): install the newer program.")
    lacking = tuple(steps[before - 1 :])
    if not lacking:
        return Upgraded(before, before, (), None)
    if session.is_server(where):
        _run(store, lacking, newest)
        return Upgraded(before, newest, tuple(step.what for step in lacking), None)
    copy = _copy_name(Path(where), before)
    store.backup(copy)
    try:
        _run(store, lacking, newest)
    except BaseException:
        copy.unlink()  # the store is as it was, so the copy says nothing new
        raise
    return Upgraded(before, newest, tuple(step.what for step in lacking), str(copy))


def _run(store: session.Store, steps: Sequence[Step], newest: int) -> None:
    backend = session.backend_of(store.where)
    if not backend.may_write(store.where):
        raise StoreError(f"{store.shown} cannot be upgraded, because the file or its folder is read-only: upgrade a copy.")
    engine = backend.make_engine(store.where, read_only=False, patience_s=store.patience_s)
    setattr(engine.dialect, SRID_OF_DIALECT, getattr(store.engine.dialect, SRID_OF_DIALECT))
    if backend is geopackage:
        sa.event.listen(engine, "connect", _without_foreign_keys)
    with told(store.shown), backend.transaction(engine, writing=True) as conn:
        for step in steps:
            try:
                step.change(conn)
            except Exception as error:
                raise StoreError(
                    f"{store.shown} was not upgraded, and is as it was, because this step failed: {step.what} ({error})."
                ) from error
        conn.execute(sa.update(meta).where(meta.c.name == "schema_version").values(value=str(newest)))
        _check_foreign_keys(conn, store.shown)


def _check_foreign_keys(conn: sa.Connection, shown: str) -> None:
    """PostgreSQL checks by itself; SQLite when asked."""
    if conn.dialect.name != postgis.NAME and conn.exec_driver_sql("PRAGMA foreign_key_check").first():
        raise StoreError(f"{shown} was not upgraded, and is as it was, because rows would point to rows that are not there.")


def _without_foreign_keys(connection: object, _record: object) -> None:
    connection.execute("PRAGMA foreign_keys = OFF")  # type: ignore[attr-defined]  # it is sqlite3's


def _copy_name(path: Path, version: int) -> Path:
    """A free name beside the file, such as ``town.before-upgrade-from-1.gpkg``."""
    stem = f"{path.stem}.before-upgrade-from-{version}"
    names = [path.with_name(f"{stem}{suffix}{path.suffix}") for suffix in ("", *(f"-{number}" for number in range(2, 1000)))]
    return next(name for name in names if not name.exists())
