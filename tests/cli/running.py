"""Runs the program's commands as a user does: in this process, which is quick, or in one of its own."""

import json
import os
import shutil
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from click.testing import CliRunner

import sample_gis
from sewermap.cli import main

PROGRAM = (sys.executable, "-c", "from sewermap.cli import main; main(prog_name='sewermap')")
SOME_REJECTED = 3
UTM = "EPSG:26910"
"""The map's CRS of the sample town."""


@dataclass(frozen=True)
class Done:
    """What a command printed, and its exit status."""

    status: int
    out: str
    err: str

    @property
    def json(self) -> Any:
        """The answer, read as strict JSON: no NaN, no infinity."""
        return json.loads(self.out, parse_constant=lambda word: (_ for _ in ()).throw(ValueError(f"{word} is no JSON")))

    @property
    def is_one_line_error(self) -> bool:
        """Whether it failed as promised: status 1, nothing on standard output, one sentence on standard error."""
        one_line = self.err.startswith("sewermap: ") and self.err.count("\n") == 1 and self.err.endswith("\n")
        return self.status == 1 and self.out == "" and one_line and "something went wrong inside" not in self.err


def sewermap(*arguments: object, **environment: str) -> Done:
    """Run ``sewermap`` with these arguments in this process; a traceback would be an exception here."""
    words = [str(argument) for argument in arguments]
    done = CliRunner(env={"SEWERMAP_DB": None, **environment}).invoke(main, words, prog_name="sewermap")
    if done.exception is not None and not isinstance(done.exception, SystemExit):
        raise done.exception
    return Done(done.exit_code, done.stdout, done.stderr)


def sewermap_apart(*arguments: object, cwd: Path | None = None) -> Done:
    """Run ``sewermap`` in a process of its own, where nothing is a terminal."""
    root = str(Path(__file__).parents[2])
    environment = {name: value for name, value in os.environ.items() if name != "SEWERMAP_DB"} | {"PYTHONPATH": root}
    done = subprocess.run(
        [*PROGRAM, *map(str, arguments)], cwd=cwd, env=environment, capture_output=True, text=True, encoding="utf-8", check=False
    )
    return Done(done.returncode, done.stdout, done.stderr)


def good(done: Done) -> Done:
    """The same, if it went well."""
    assert done.status == 0, done.err
    assert "Traceback" not in done.err
    return done


def copy_town(folder: Path) -> list[Path]:
    """Copy the sample town's files into a folder; gives its plans in the order of loading."""
    shutil.copytree(sample_gis.data_folder(), folder, dirs_exist_ok=True)
    return [folder / name for name in sample_gis.plan_names()]


def load_town(where: object, folder: Path) -> list[Any]:
    """Make a database and load the sample town through the command line; gives what each load told in JSON."""
    good(sewermap("create", "--crs", UTM, "--db", where))
    done = [sewermap("load", plan, "--db", where, "--format", "json") for plan in copy_town(folder)]
    assert {one.status for one in done} == {SOME_REJECTED}
    return [one.json for one in done]
