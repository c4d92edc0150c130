"""``check``: 0 when sound, 1 and a list of faults when not; ``--mend`` builds again what rows can tell."""

import shutil
import sqlite3
from pathlib import Path

import pytest

from tests.cli.running import good, sewermap

FAULTS = {
    "an extent that is too small": "UPDATE gpkg_contents SET max_x = min_x WHERE table_name = 'laterals'",
    "an index that misses a row": "DELETE FROM rtree_laterals_geometry WHERE id = 1",
    "a table that is not listed": "CREATE TABLE strangers (id INTEGER PRIMARY KEY)",
    "a run without its lateral": "UPDATE runs SET lateral = 'gone' WHERE id = 1",
    "an observation without its run": "UPDATE observations SET run = 'gone' WHERE id = 1",
}
MENDABLE = ("an extent that is too small", "an index that misses a row")


@pytest.fixture
def db(town, tmp_path):
    """A copy of the town that may be spoiled."""
    return Path(shutil.copy(town.db, tmp_path / "town.gpkg"))


def spoil(db, statement):
    """Change the file as another program might."""
    with sqlite3.connect(db) as conn:
        conn.execute("PRAGMA foreign_keys = OFF")
        conn.execute(statement)
    conn.close()


def test_a_sound_database_says_so(town):
    """A sound database: status 0, nothing on standard output, one sentence on standard error."""
    done = good(sewermap("check", "--db", town.db))
    assert done.out == ""
    assert done.err.count("\n") == 1


@pytest.mark.parametrize(("name", "statement"), FAULTS.items(), ids=FAULTS)
def test_faults_are_told(db, name, statement):
    """Each fault: status 1 and a sentence on standard output; --mend mends what the rows tell, and leaves the rest told."""
    spoil(db, statement)
    done = sewermap("check", "--db", db)
    assert done.status == 1
    assert done.out.strip()
    assert done.err == ""
    mended = sewermap("check", "--mend", "--db", db)
    if name in MENDABLE:
        assert mended.status == 0, mended
        good(sewermap("check", "--db", db))


def test_check_writes_nothing(db):
    """Looking for faults leaves every byte as it was."""
    before = db.read_bytes()
    sewermap("check", "--db", db)
    assert db.read_bytes() == before
