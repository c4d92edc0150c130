"""What a user installs holds all that the program reads."""

import subprocess
import sys
import zipfile
from pathlib import Path


def test_wheel_holds_every_file_of_the_packages(root: Path, files: list[Path], tmp_path: Path) -> None:
    """Each committed file of the three packages, data of any suffix included, is in the wheel, and nothing else is."""
    build = [sys.executable, "-m", "hatchling", "build", "--target", "wheel", "--directory", str(tmp_path)]
    subprocess.run(build, cwd=root, check=True, capture_output=True)
    (wheel,) = tmp_path.glob("*.whl")
    held = {name for name in zipfile.ZipFile(wheel).namelist() if ".dist-info/" not in name}
    names = {path.relative_to(root).as_posix() for path in files}
    assert held == {name for name in names if name.split("/")[0] in {"sewermap", "etl", "sample_gis"}}
