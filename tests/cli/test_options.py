"""The shared options: where they may stand, what they mean, and what wins."""

import json
import shutil
from pathlib import Path

import pytest

from sewermap.cautions import STOP
from sewermap.cli import COMMANDS
from tests.cli.running import good, sewermap, sewermap_apart


def test_options_may_stand_before_or_after_the_command(town, tmp_path):
    """--db, --format and -o mean the same on both sides of the command's name."""
    after = good(sewermap("defects", "--db", town.db, "--format", "json", "--kind", "sag"))
    before = good(sewermap("--db", town.db, "--format", "json", "defects", "--kind", "sag"))
    assert after.out == before.out
    for name, words in {
        "after": ["defects", "--kind", "sag", "--db", town.db, "--format", "json", "-o", tmp_path / "after"],
        "before": ["--db", town.db, "-o", tmp_path / "before", "--format", "json", "defects", "--kind", "sag"],
        "long": ["--format", "json", "defects", "--output", tmp_path / "long", "--kind", "sag", "--db", town.db],
    }.items():
        assert good(sewermap(*words)).out == ""
        assert (tmp_path / name).read_text(encoding="utf-8") == after.out


def test_after_wins_over_before(town, tmp_path):
    """Said twice, what stands after the command's name holds."""
    done = sewermap("--db", tmp_path / "none.gpkg", "--format", "csv", "defects", "--db", town.db, "--format", "json")
    assert len(good(done).json) > 50


def test_the_environment_names_the_database(town, tmp_path):
    """SEWERMAP_DB stands in for --db, and what is typed, on either side, wins over it."""
    kinds = ["defects", "--kind", "sag", "--format", "csv"]
    said = good(sewermap(*kinds, "--db", town.db)).out
    assert good(sewermap(*kinds, SEWERMAP_DB=str(town.db))).out == said
    for words in ([*kinds, "--db", town.db], ["--db", town.db, *kinds]):
        assert good(sewermap(*words, SEWERMAP_DB=str(tmp_path / "none.gpkg"))).out == said
    assert sewermap(*kinds, SEWERMAP_DB=str(tmp_path / "none.gpkg")).is_one_line_error


def test_without_a_word_the_database_is_here(town, tmp_path, monkeypatch):
    """Without --db and SEWERMAP_DB the database is sewermap.gpkg in this folder."""
    monkeypatch.chdir(tmp_path)
    done = sewermap("defects")
    assert done.is_one_line_error
    assert "sewermap.gpkg" in done.err
    shutil.copy(town.db, "sewermap.gpkg")
    assert "defects" in good(sewermap("defects")).out


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_takes_them_and_explains_itself(command):
    """Every command has --db, --format, -o and a help that says what it does."""
    text = good(sewermap(command, "--help")).out
    for option in ("--db", "--format", "-o, --output"):
        assert option in text
    assert len(text.split("\n\n")[1].strip()) > 30


def test_the_help_lists_every_command():
    """``sewermap --help`` names all commands, each with a sentence, and the caution for those who dig."""
    text = good(sewermap("--help")).out
    for command in COMMANDS:
        line = next(line for line in text.splitlines() if line.strip().startswith(command + " "))
        assert len(line.split()) > 3
    assert "no utility locate" in " ".join(text.split())
    assert good(sewermap("--version")).out.startswith("sewermap, version ")


def test_an_answer_in_a_file_is_utf_8_with_plain_line_ends(town, tmp_path):
    """-o writes the same bytes on every system."""
    good(sewermap("history", "L-0051", "--db", town.db, "-o", tmp_path / "told.txt"))
    data = (tmp_path / "told.txt").read_bytes()
    assert b"\r" not in data
    assert "–" in data.decode("utf-8")


def test_answers_are_piped_whole(town):
    """In a pipe nothing is shortened and nothing but the answer is on standard output (a process of its own)."""
    done = good(sewermap_apart("defects", "--db", town.db))
    rows = json.loads(good(sewermap_apart("defects", "--format", "json", "--db", town.db)).out)
    lines = done.out.rstrip("\n").split("\n")
    assert lines[-2:] == [f"{len(rows)} defects", STOP]
    assert len(lines) == len(rows) + 4
    assert "\x1b" not in done.out


def test_a_relative_database_and_folder(town, tmp_path):
    """Paths are relative to where the program is started (a process of its own)."""
    shutil.copy(town.db, tmp_path / "here.gpkg")
    good(sewermap_apart("export", "out.csv", "--db", "here.gpkg", cwd=tmp_path))
    assert Path(tmp_path / "out.csv").stat().st_size > 1000
