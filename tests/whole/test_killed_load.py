"""A load that is killed lands not at all, and loading again gives what one undisturbed load gives.

The killed program is a real one, in a process of its own, ended by SIGKILL: it cannot tidy up.
"""

import os
import random
import shutil
import signal
import sqlite3
import subprocess
import time
from collections.abc import Callable
from pathlib import Path

import pytest

import sample_gis
import sewermap as door
from sewermap.store.tables import metadata
from tests.cli.running import PROGRAM, UTM, good, sewermap
from tests.whole.test_engines_agree import fresh_database

LATERALS, RUNS, OBSERVATIONS = 1_500, 3_300, 11_000
MOMENTS = 10
SHADOWS = ("_node", "_rowid", "_parent")
"""Endings of the tables in which SQLite keeps an R-tree's pages: how full they are is a physical detail."""


@pytest.fixture(scope="module")
def big(tmp_path_factory):
    """A folder with a town big enough that writing takes a while, an empty database, and one loaded without disturbance.

    Also how long that load took in a process of its own, from start to end and from its first write to its end.
    """
    folder = tmp_path_factory.mktemp("big")
    sample_gis.write_big(folder, LATERALS, RUNS, OBSERVATIONS)
    good(sewermap("create", "--crs", UTM, "--db", folder / "empty.gpkg"))
    shutil.copy(folder / "empty.gpkg", folder / "undisturbed.gpkg")
    started = time.monotonic()
    process = start(folder, folder / "undisturbed.gpkg")
    first_write = wait_for_first_write(process, folder / "undisturbed.gpkg")
    assert process.wait() == 0
    ended = time.monotonic()
    return folder, ended - started, ended - first_write


def start(folder: Path, where: object) -> subprocess.Popen[bytes]:
    """A load in a process of its own."""
    words = [*PROGRAM, "load", str(folder / "SOURCES.toml"), "--db", str(where)]
    environment = os.environ | {"PYTHONPATH": str(Path(__file__).parents[2])}
    return subprocess.Popen(words, env=environment, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)


def journal_of(where: Path) -> Path:
    """The file beside a database in which SQLite keeps what it needs to undo a transaction."""
    return where.with_name(where.name + "-journal")


def wait_for_first_write(process: subprocess.Popen[bytes], where: Path) -> float:
    """Wait until the load begins to write into the file (or ends); tells when."""
    while process.poll() is None and not journal_of(where).exists():
        time.sleep(0.002)
    return time.monotonic()


def content(where: Path) -> dict[str, list[tuple[object, ...]]]:
    """All rows of all tables of a GeoPackage, ids and R-trees included, in a fixed order; without the times of writing."""
    with sqlite3.connect(f"file:{where}?mode=ro", uri=True) as conn:
        names = [name for (name,) in conn.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
        tables = {}
        for name in names:
            if name.startswith("rtree_") and name.endswith(SHADOWS):
                continue
            rows = conn.execute(f'SELECT * FROM "{name}"').fetchall()
            tables[name] = sorted((without_time(row) if name == "gpkg_contents" else row for row in rows), key=repr)
    conn.close()
    return tables


def without_time(row: tuple[object, ...]) -> tuple[object, ...]:
    """A row of gpkg_contents without last_change."""
    return (*row[:4], *row[5:])


def kill_after(process: subprocess.Popen[bytes], wait: Callable[[], object]) -> bool:
    """Kill the load when the waiting is over; tells whether it was still at work."""
    wait()
    process.send_signal(signal.SIGKILL)
    return process.wait() == -signal.SIGKILL


def test_a_killed_load_is_as_if_it_had_not_been(big, tmp_path, record_property):
    """Ten kills, half anywhere in the load, half while it writes: the file holds nothing of it, or all; loading again gives
    exactly what an undisturbed load gives; the check finds no fault.
    """
    folder, whole_s, writing_s = big
    seed = random.SystemRandom().randrange(2**32)
    record_property("seed", seed)
    print(f"seed {seed}: load {whole_s:.2f} s, of which writing {writing_s:.2f} s")
    chance = random.Random(seed)
    empty, full = content(folder / "empty.gpkg"), content(folder / "undisturbed.gpkg")
    assert len(full["placed_observations"]) == OBSERVATIONS
    killed, torn = 0, 0
    for moment in range(MOMENTS):
        where = tmp_path / f"{moment}.gpkg"
        shutil.copy(folder / "empty.gpkg", where)
        process = start(folder, where)
        part = (moment // 2 + chance.random()) / (MOMENTS / 2)

        def wait(moment: int = moment, part: float = part, process=process, where: Path = where) -> None:
            if moment % 2:
                wait_for_first_write(process, where)
            time.sleep(part * 0.95 * (writing_s if moment % 2 else whole_s))

        killed += kill_after(process, wait)
        torn += journal_of(where).exists()
        assert_sound_and_whole_or_not(where, empty, full)
        done = sewermap("load", folder / "SOURCES.toml", "--db", where)
        assert done.status == 0, done.err
        assert content(where) == full
        where.unlink()
    print(f"{killed} were killed at work, {torn} left a journal to roll back")
    assert killed >= MOMENTS // 2
    assert torn >= 1


def assert_sound_and_whole_or_not(where: Path, empty: object, full: object) -> None:
    """What the kill left is opened without more ado, is sound, and holds all of the load or nothing of it."""
    good(sewermap("check", "--db", where))
    assert content(where) in (empty, full)


def test_a_killed_load_into_postgis_is_as_if_it_had_not_been(big, postgis_server):
    """The same on a server: three kills, nothing of the load is there, the lock is free, and loading again gives every row."""
    folder, whole_s, _ = big
    where = fresh_database(postgis_server)
    good(sewermap("create", "--crs", UTM, "--db", where))
    seed = random.SystemRandom().randrange(2**32)
    print(f"seed {seed}")
    chance = random.Random(seed)
    for part in (0.5, 0.7, 0.85):
        process = start(folder, where)
        kill_after(process, lambda part=part: time.sleep(whole_s * (part + 0.1 * chance.random())))
    good(sewermap("load", folder / "SOURCES.toml", "--db", where))
    good(sewermap("check", "--db", where))
    server, file = door.open(where, read_only=True), door.open(folder / "undisturbed.gpkg", read_only=True)
    for name in sorted(set(metadata.tables) - {"sewermap_meta"}):
        ours, theirs = server.layer(name), file.layer(name)
        assert len(ours) == len(theirs), name
        assert ours.drop(columns="geometry", errors="ignore").equals(theirs.drop(columns="geometry", errors="ignore")), name
