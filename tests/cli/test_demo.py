"""The demo from start to end: it names files that exist and commands that work as they stand."""

import json
import re
import shlex
import sqlite3
import time
from pathlib import Path

import pytest

from tests.cli.running import Done, sewermap, sewermap_apart

MINUTE_S = 60
WRITES = {"export": 2, "evidence": 3, "calendar": 2, "digsheet": 4}
"""The word of each command that says where it writes to."""


@pytest.fixture(scope="module")
def demo(tmp_path_factory) -> tuple[Path, Done]:
    """The demo made in a folder with a blank in its name, from a process of its own: where it was started, what it told."""
    folder = tmp_path_factory.mktemp("a demo")
    started = time.monotonic()
    done = sewermap_apart("demo", "my town", cwd=folder)
    assert time.monotonic() - started < MINUTE_S
    return folder, done


def test_it_ends_well_and_says_what_it_made(demo):
    """Status 0, progress on standard error, and the named files are there and not empty."""
    folder, done = demo
    assert done.status == 0, done.err
    told = done.out.split("Try next:")[0]
    names = re.findall(r"my town/[\w./-]+\.(?:toml|gpkg|html)", told)
    assert {Path(name).suffix for name in names} == {".toml", ".gpkg", ".html"}
    for name in names:
        assert (folder / name).stat().st_size > 100, name
    assert all("…" in line for line in done.err.splitlines())


def test_its_counts_are_true(demo):
    """The numbers of laterals, runs and observations that it tells are those in the database."""
    folder, done = demo
    laterals, runs, observations = map(int, re.search(r"(\d+) laterals, (\d+) runs, (\d+) observations", done.out).groups())
    with sqlite3.connect(folder / "my town" / "town.gpkg") as conn:
        for table, count in (("laterals", laterals), ("runs", runs), ("placed_observations", observations)):
            assert conn.execute(f"SELECT count(*) FROM {table}").fetchone() == (count,)
    conn.close()


def test_every_command_it_names_works(demo, monkeypatch):
    """Each line under *Try next*, typed as it stands, gives an answer; loading again changes nothing."""
    folder, done = demo
    monkeypatch.chdir(folder)
    commands = [line.split("   (")[0].strip() for line in done.out.split("Try next:")[1].strip().splitlines()]
    assert all(command.startswith("sewermap ") for command in commands)
    assert [shlex.split(command)[1] for command in commands] == [
        *("history", "where", "defects", "due", "claims", "notice", "evidence", "calendar", "digsheet", "export", "load"),
    ]
    for command in commands:
        words = shlex.split(command)
        answer = sewermap(*words[1:])
        assert answer.status == (3 if words[1] == "load" else 0), (command, answer)
        assert len(answer.out or answer.err) > 20
        if words[1] in WRITES:
            assert (Path(words[WRITES[words[1]]]) / ("evidence.txt" if words[1] == "evidence" else "")).stat().st_size > 1000
        if words[1] == "load":
            again = json.loads(sewermap(*words[1:], "--format", "json").out)
            assert sum(file["loaded"] + file["withdrawn"] for file in again["files"]) == 0


def test_day_that_it_names_has_checks_and_claims(demo, monkeypatch):
    """On the day of its examples checks are due; the warranty it names has a claim that can be told in time, with a picture."""
    folder, done = demo
    monkeypatch.chdir(folder)
    due, claims, notice = (
        next(line.strip() for line in done.out.splitlines() if f"sewermap {name} " in line)
        for name in ("due", "claims", "notice")
    )
    assert sewermap(*shlex.split(due)[1:], "--format", "json").json
    rows = sewermap(*shlex.split(claims)[1:], "--format", "json").json
    named = [row for row in rows if row["warranty"] == shlex.split(notice)[2]]
    assert any(row["days_left"] >= 0 for row in named)


def test_suspected_cross_bore_says_stop(demo, monkeypatch):
    """The town has one suspected cross-bore, and what names it says what not to do."""
    folder, _ = demo
    monkeypatch.chdir(folder)
    answer = sewermap("defects", "--kind", "cross-bore", "--db", "my town/town.gpkg")
    assert answer.status == 0
    assert "STOP" in answer.out + answer.err


def test_it_does_not_write_over_a_demo(demo):
    """A second demo in the same folder is refused in one line, and the first one stays."""
    folder, _ = demo
    before = (folder / "my town" / "town.gpkg").stat().st_mtime_ns
    assert sewermap("demo", folder / "my town").is_one_line_error
    assert (folder / "my town" / "town.gpkg").stat().st_mtime_ns == before


def test_it_cannot_write_below_a_file(tmp_path):
    """A folder that cannot be made is told in one sentence at the end, without a traceback."""
    (tmp_path / "file").touch()
    done = sewermap("demo", tmp_path / "file" / "demo")
    assert done.status == 1
    assert done.out == ""
    assert done.err.splitlines()[-1].startswith("sewermap: the town cannot be written")
