"""What the tests of the tree's shape share: the files that belong to it, its Markdown, and a demo to run examples on."""

import os
import shutil
import subprocess
from pathlib import Path

import pytest
from click.testing import CliRunner

ROOT = Path(__file__).parents[2]


@pytest.fixture(scope="session")
def root() -> Path:
    """The top of the working tree."""
    return ROOT


@pytest.fixture(scope="session")
def files() -> list[Path]:
    """Every file that is or would be committed, links left out."""
    git = ["git", "-c", "safe.directory=*", "-C", str(ROOT), "ls-files", "-z", "--cached", "--others", "--exclude-standard"]
    out = subprocess.run(git, check=True, capture_output=True, text=True).stdout
    paths = [ROOT / name for name in out.split("\0") if name]
    return [path for path in paths if path.is_file() and not path.is_symlink()]


@pytest.fixture(scope="session")
def python_files(files: list[Path]) -> list[Path]:
    """Every Python file of ours."""
    return [path for path in files if path.suffix == ".py"]


@pytest.fixture(scope="session")
def pages(files: list[Path]) -> list[Path]:
    """Every Markdown page."""
    return [path for path in files if path.suffix == ".md"]


@pytest.fixture(scope="session")
def demo_once(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder in which `sewermap demo` has been run, as the README says."""
    from sewermap.cli import main  # noqa: PLC0415  only these tests need the whole program

    folder = tmp_path_factory.mktemp("fresh")
    before = Path.cwd()
    os.chdir(folder)
    try:
        result = CliRunner().invoke(main, ["demo"], catch_exceptions=False)
    finally:
        os.chdir(before)
    assert result.exit_code == 0, result.output
    return folder


@pytest.fixture
def demo_folder(demo_once: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A copy of that folder, entered: examples may write in it, and none sees what another did."""
    copy = tmp_path / "fresh"
    shutil.copytree(demo_once, copy)
    monkeypatch.chdir(copy)
    monkeypatch.delenv("SEWERMAP_DB", raising=False)
    return copy
