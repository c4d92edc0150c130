"""Upgrading a store: numbered steps, all or none."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import shapely
import sqlalchemy as sa

from sewermap.errors import StoreError
from sewermap.store import bulk, postgis
from sewermap.store.check import check
from sewermap.store.migrations import STEPS, Step, upgrade
from sewermap.store.session import Store, is_server, open_any_version, open_store
from sewermap.store.tables import LAYERS, SCHEMA_VERSION, laterals, meta, placed_observations, runs


def add_column(conn: sa.Connection) -> None:
    """Change a definition."""
    conn.exec_driver_sql("ALTER TABLE works ADD COLUMN colour TEXT")


def fill(conn: sa.Connection) -> None:
    """Change rows."""
    conn.exec_driver_sql("UPDATE placed_observations SET remark = 'upgraded'")


def fail(conn: sa.Connection) -> None:
    """Change rows, then fail."""
    conn.exec_driver_sql("DELETE FROM placed_observations")
    raise ValueError("no room")


def orphan(conn: sa.Connection) -> None:
    """Break a foreign key."""
    conn.execute(sa.insert(runs), {"id": 1, "run": "R", "lateral": "L", "content": "c", "loaded_in": 77})


TWO = (*STEPS, Step("works get a colour", add_column), Step("remarks are written", fill))
ONE = TWO[:-1]


def columns_of_works(store: Store) -> set[str]:
    """Names of the columns of works."""
    with store.reading() as conn:
        return {column["name"] for column in sa.inspect(conn).get_columns("works")}


@pytest.fixture
def lateral_rows() -> pd.DataFrame:
    """Two laterals far from each other."""
    lines = np.array([shapely.LineString([(0, 0), (0.5, 0.5)]), shapely.LineString([(90, 90), (99, 99)])])
    return pd.DataFrame({"id": [1, 2], "lateral": ["L-1", "L-2"], "geometry": lines})


def test_steps_lead_to_the_schemas_version() -> None:
    """There is one step for each version after the first."""
    assert len(STEPS) == SCHEMA_VERSION - 1


def test_nothing_to_do(store: Store) -> None:
    """A store of the present version is left alone, and no copy is made."""
    done = upgrade(store.where)
    assert (done.before, done.after, done.steps, done.copy) == (SCHEMA_VERSION, SCHEMA_VERSION, (), None)


def test_two_steps(store: Store, points) -> None:
    """Both steps run in order and the version follows; a file leaves a copy of before that still opens."""
    with store.writing() as conn:
        bulk.insert(conn, placed_observations, points(3))
    done = upgrade(store.where, TWO)
    assert (done.before, done.after) == (SCHEMA_VERSION, SCHEMA_VERSION + 2)
    assert done.steps == ("works get a colour", "remarks are written")
    after, version = open_any_version(store.where)
    assert version == SCHEMA_VERSION + 2
    assert "colour" in columns_of_works(after)
    with after.reading() as conn:
        assert bulk.read(conn, placed_observations)["remark"].tolist() == ["upgraded"] * 3
    with pytest.raises(StoreError, match="newer sewermap"):
        open_store(store.where)
    if is_server(store.where):
        assert done.copy is None
    else:
        assert done.copy is not None
        assert "colour" not in columns_of_works(open_store(done.copy))


def test_only_what_lacks_is_run(store: Store) -> None:
    """A store that had the first step gets only the second."""
    upgrade(store.where, ONE)
    assert upgrade(store.where, TWO).steps == ("remarks are written",)


@pytest.mark.parametrize("failing", [Step("rows move", fail), Step("rows point nowhere", orphan)])
def test_a_failing_step_leaves_all_as_it_was(store: Store, points, failing: Step) -> None:
    """After a failure neither it nor the steps before it have happened, and no copy is left."""
    with store.writing() as conn:
        bulk.insert(conn, placed_observations, points(3))
    with pytest.raises(StoreError, match="was not upgraded, and is as it was"):
        upgrade(store.where, (*ONE, failing))
    unchanged = open_store(store.where)
    assert "colour" not in columns_of_works(unchanged)
    with unchanged.reading() as conn:
        assert len(bulk.read(conn, placed_observations)) == 3
    if not is_server(store.where):
        assert len(list(Path(store.where).parent.iterdir())) == 1


def test_a_newer_store_is_refused(store: Store) -> None:
    """Upgrading goes one way."""
    upgrade(store.where, TWO)
    with pytest.raises(StoreError, match="newer sewermap"):
        upgrade(store.where, STEPS)


LACKING = {
    "lateral_lines": ("tie_in_invert_m", "building_invert_m"),
    "laterals": (
        "tie_in_invert_m", "building_invert_m", "property_line_fix_m", "property_line_note", "private_ends_m",
        "private_ends_sigma_m", "private_ends_at", "accuracy_along", "line_note",
    ),
    "legs": ("launch",),
    "located_points": ("run",),
    "observations": ("note",),
}  # fmt: skip
"""Columns that the first schema had not."""


def drop(conn: sa.Connection, name: str) -> None:
    """Take a table away with all that the engine keeps of it, as a store has it that never knew the table."""
    if conn.dialect.name == postgis.NAME:
        conn.exec_driver_sql(f"DROP TABLE {name}")
        return
    if name in {table.name for table in LAYERS}:
        conn.exec_driver_sql(f"DROP TABLE rtree_{name}_geometry")
    for listing in ("gpkg_extensions", "gpkg_geometry_columns", "gpkg_contents"):
        conn.exec_driver_sql(f"DELETE FROM {listing} WHERE table_name = ?", (name,))
    conn.exec_driver_sql(f"DROP TABLE {name}")


def test_a_store_of_the_first_schema_becomes_like_a_new_one(store: Store, lateral_rows) -> None:
    """Upgraded, it keeps its rows, has the new columns empty, and is as sound as one made today."""
    with store.writing() as conn:
        bulk.insert(conn, laterals, lateral_rows)
        for name, columns in LACKING.items():
            for column in columns:
                conn.exec_driver_sql(f"ALTER TABLE {name} DROP COLUMN {column}")
        for name in ("sketches", "pictures"):
            drop(conn, name)
        conn.execute(sa.update(meta).where(meta.c.name == "schema_version").values(value="1"))
    with pytest.raises(StoreError, match="older sewermap"):
        open_store(store.where)
    assert upgrade(store.where).before == 1
    after = open_store(store.where)
    assert check(after) == []
    with after.reading() as conn:
        rows = bulk.read(conn, laterals)
        assert rows["lateral"].tolist() == ["L-1", "L-2"]
        assert rows["private_ends_m"].isna().all()
        assert len(bulk.read(conn, sa.select(laterals).where(bulk.in_box(conn, laterals, (0.0, 0.0, 1.0, 1.0))))) == 1


def test_what_an_older_schema_computed_in_its_own_way_is_emptied(store: Store, lateral_rows) -> None:
    """The third schema told one sigma at each vertex of a line that no map drew: it is gone, to be computed again."""
    with store.writing() as conn:
        bulk.insert(conn, laterals, lateral_rows.assign(accuracy_along="0.1 0.25"))
        conn.execute(sa.update(meta).where(meta.c.name == "schema_version").values(value="3"))
    upgrade(store.where)
    with open_store(store.where).reading() as conn:
        assert bulk.read(conn, laterals)["accuracy_along"].isna().all()
