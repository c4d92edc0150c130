"""What people see: the program on a terminal of 80 columns."""

import fcntl
import os
import pty
import re
import struct
import subprocess
import termios
from pathlib import Path

import pytest

from tests.cli.running import PROGRAM, good, sewermap

COLUMNS, LINES = 80, 24
SHOWN = 40
ESCAPES = re.compile(r"\x1b\[[0-9;?]*[A-Za-z]")


def on_a_terminal(*arguments: object) -> tuple[int, str]:
    """Run ``sewermap`` under a pseudo-terminal; gives its status and all that it showed."""
    ours, theirs = pty.openpty()
    fcntl.ioctl(theirs, termios.TIOCSWINSZ, struct.pack("HHHH", LINES, COLUMNS, 0, 0))
    environment = {
        name: value for name, value in os.environ.items() if name not in ("COLUMNS", "LINES", "SEWERMAP_DB", "NO_COLOR")
    }
    environment |= {"TERM": "xterm-256color", "PYTHONPATH": str(Path(__file__).parents[2])}
    process = subprocess.Popen(
        [*PROGRAM, *map(str, arguments)], stdin=theirs, stdout=theirs, stderr=theirs, env=environment, close_fds=True
    )
    os.close(theirs)
    shown = b""
    while True:
        try:
            piece = os.read(ours, 65536)
        except OSError:  # the other side is closed
            break
        if not piece:
            break
        shown += piece
    os.close(ours)
    return process.wait(), shown.decode("utf-8").replace("\r\n", "\n")


@pytest.fixture(scope="module")
def defects(town):
    """What ``defects`` shows, without its colours."""
    status, shown = on_a_terminal("defects", "--db", town.db)
    assert status == 0
    return ESCAPES.sub("", shown)


def test_a_long_table_is_shortened_and_says_so(town, defects):
    """A terminal gets the first rows, the number of all, and how to get them."""
    count = len(good(sewermap("defects", "--format", "json", "--db", town.db)).json)
    assert count > SHOWN
    assert f"{SHOWN} of {count} defects; all of them: --format csv -o FILE" in defects


def test_the_table_fits_the_terminal(defects):
    """No line is wider than the terminal's 80 columns."""
    assert max(map(len, defects.split("\n"))) <= COLUMNS


def test_a_short_table_says_how_many_rows_there_are(town):
    """A table that fits ends with its number of rows."""
    _, shown = on_a_terminal("defects", "--kind", "sag", "--db", town.db)
    count = len(good(sewermap("defects", "--kind", "sag", "--format", "json", "--db", town.db)).json)
    assert 0 < count <= SHOWN
    assert f"\n{count} defects\n" in ESCAPES.sub("", shown)


def test_programs_formats_are_whole_on_a_terminal_too(town):
    """csv, json and geojson hold every row wherever they go; on a terminal the caution is seen below."""
    _, shown = on_a_terminal("defects", "--format", "csv", "--db", town.db)
    piped = good(sewermap("defects", "--format", "csv", "--db", town.db))
    assert shown == piped.out + piped.err


def test_a_load_shows_that_it_works_and_ends_with_its_table(town, tmp_path):
    """On a terminal a load tells its steps as it goes, leaves none of them behind, and counts files and rejects in words."""
    good(sewermap("create", "--crs", "EPSG:26910", "--db", tmp_path / "new.gpkg"))
    status, shown = on_a_terminal("load", town.folder / "SOURCES.toml", "--db", tmp_path / "new.gpkg")
    assert status == 3
    assert "recording …" in shown or "placing …" in shown or "reading and checking …" in shown
    text = ESCAPES.sub("", shown)
    assert "files and sections" in text
    assert "rejected:" in text
    assert max(map(len, text.split("files and sections")[0].rsplit("\r", 1)[-1].split("\n"))) <= COLUMNS
