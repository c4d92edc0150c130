"""``load --watch``: files are loaded as they come, half-written ones wait, errors are told and end nothing."""

import os
import signal
import subprocess
import threading
import time
from collections.abc import Callable
from pathlib import Path

import pytest

import sewermap
from etl.load import LoadReport
from etl.watch import Watched, watch
from sewermap.errors import BusyError, SourceError
from tests.cli.running import PROGRAM
from tests.etl.strange import CRS

SECONDS = 60
PLAN = '[streets]\nfrom = "*.geojson"\n[streets.fields]\nstreet = "name"\n'
STREET = (
    '{"type": "FeatureCollection", "features": [{"type": "Feature", "properties": {"name": "NAME"}, '
    '"geometry": {"type": "LineString", "coordinates": [[-123.0, 36.1], [-123.0, 36.2]]}}]}'
)


class EndedError(Exception):
    """The watch is over."""


def watched(folder: Path, steps: list[Callable[[], object]], load: Callable[[Path], LoadReport]) -> list[Watched]:
    """What is told by a watch between whose looks these steps are taken; it ends with the last."""
    told: list[Watched] = []
    left = list(steps)

    def sleep(_seconds: float) -> None:
        if not left:
            raise EndedError
        left.pop(0)()

    with pytest.raises(EndedError):
        watch(folder, load, told.append, sleep=sleep)
    return told


def nothing() -> None:
    """A look without a change."""


def test_files_are_loaded_as_they_come(tmp_path: Path) -> None:
    """A file is loaded once, when it stands still, a changed one again; one that cannot be read is told once and ends nothing."""
    book = sewermap.create(tmp_path / "town.gpkg", CRS)
    (tmp_path / "SOURCES.toml").write_text(PLAN)
    one, two = tmp_path / "a.geojson", tmp_path / "b.geojson"
    whole = STREET.replace("NAME", "Alder Street")
    told = watched(
        tmp_path,
        [
            nothing, nothing, nothing,  # no file yet: told once
            lambda: one.write_text(whole[:40]), lambda: one.write_text(whole),  # still growing
            nothing, nothing, nothing,
            lambda: two.write_text("{"), nothing, nothing, nothing,
            lambda: two.write_text(STREET.replace("NAME", "Birch Street")), nothing, nothing, nothing,
        ],
        book.load,
    )  # fmt: skip
    assert [(done.changed, done.report is not None) for done in told] == [
        (("SOURCES.toml",), False), (("a.geojson",), True), (("b.geojson",), False), (("b.geojson",), True)
    ]  # fmt: skip
    assert "no file matches" in told[0].told
    assert "1 loaded, 0 unchanged, 0 rejected, 0 withdrawn rows; 0 warnings" in told[1].told
    assert "b.geojson" in told[2].error
    assert "1 loaded, 1 unchanged" in told[3].told
    assert all("\n" not in done.told for done in told)
    assert sorted(book.layer("streets")["street"]) == ["Alder Street", "Birch Street"]


def test_a_busy_database_is_tried_again(tmp_path: Path) -> None:
    """It is told once and the load comes when the other program is done."""
    book = sewermap.create(tmp_path / "town.gpkg", CRS)
    (tmp_path / "SOURCES.toml").write_text(PLAN)
    (tmp_path / "a.geojson").write_text(STREET)
    busy = iter([True, True, False])

    def load(plan: Path) -> LoadReport:
        if next(busy):
            raise BusyError("another program writes")
        return book.load(plan)

    told = watched(tmp_path, [nothing] * 6, load)
    assert [done.error for done in told] == ["another program writes; it is tried again", ""]


def test_a_folder_without_a_plan_is_refused(tmp_path: Path) -> None:
    """At once, in a sentence."""
    with pytest.raises(SourceError, match=r"SOURCES\.toml"):
        watched(tmp_path, [], lambda _: pytest.fail("nothing is to be loaded"))


def test_the_command_watches_until_ctrl_c(tmp_path: Path) -> None:
    """In a process of its own: a file that comes is loaded and told in a line with its rejects; Ctrl-C ends it with status 0."""
    sewermap.create(tmp_path / "town.gpkg", CRS)
    (tmp_path / "SOURCES.toml").write_text(PLAN)
    words = [*PROGRAM, "load", "--watch", str(tmp_path), "--every", "0.1", "--db", str(tmp_path / "town.gpkg")]
    environment = os.environ | {"PYTHONPATH": str(Path(__file__).parents[2])}
    with subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env=environment) as process:
        guard = threading.Timer(SECONDS, process.kill)
        guard.start()
        assert process.stdout is not None
        assert "no file matches" in process.stdout.readline()
        (tmp_path / "a.geojson").write_text(STREET.replace('"NAME"', "null"))
        assert "a.geojson: 0 loaded, 0 unchanged, 1 rejected" in process.stdout.readline()
        time.sleep(0.3)
        process.send_signal(signal.SIGINT)
        _, err = process.communicate()
        guard.cancel()
    assert process.returncode == 0, err
    assert err.endswith("stopped\n")
