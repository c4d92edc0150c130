"""Who may import what, read from the source (import-linter holds the layers; see pyproject.toml)."""

import ast
import re
import sys
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest

OURS = {"sewermap", "etl", "sample_gis"}
LIBRARIES = {"numpy", "shapely", "pandas", "dateutil", "numba"}
LANGUAGE = {
    "__future__",
    "abc",
    "collections",
    "contextlib",
    "dataclasses",
    "enum",
    "functools",
    "itertools",
    "operator",
    "types",
    "typing",
}
FIGURES_AND_WORDS = {
    "bisect",
    "calendar",
    "datetime",
    "decimal",
    "difflib",
    "fractions",
    "heapq",
    "math",
    "re",
    "statistics",
    "string",
}
OWN_DATA = {"importlib", "tomllib"}  # the packaged .toml files
COMPUTES = LIBRARIES | LANGUAGE | FIGURES_AND_WORDS | OWN_DATA
PACKAGE_OF = {"PIL": "pillow", "odf": "odfpy", "dateutil": "python-dateutil"}


def imports_of(path: Path) -> Iterator[str]:
    """The full name of each module that a file imports, wherever in the file the import stands."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: relative import"
            yield node.module or ""


@pytest.mark.parametrize("part", ["line", "history"])
def test_where_and_when_import_only_what_computes(root: Path, part: str) -> None:
    """Both import what is on the list of what computes, themselves, and the floor they stand on: units and errors."""
    inside = ("sewermap.line", "sewermap.history", "sewermap.units", "sewermap.errors")
    strangers = [
        f"{path.name}: {name}"
        for path in sorted((root / "sewermap" / part).rglob("*.py"))
        for name in imports_of(path)
        if name.split(".")[0] not in COMPUTES and not name.startswith(inside)
    ]
    assert strangers == []


@pytest.mark.parametrize("part", ["line", "history"])
def test_where_and_when_open_no_file(root: Path, part: str) -> None:
    """Both call neither open() nor print(); only their own packaged .toml is read, by importlib.resources."""
    calls = [
        f"{path.name}:{node.lineno}"
        for path in sorted((root / "sewermap" / part).rglob("*.py"))
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in {"open", "print", "input", "exec"}
    ]
    assert calls == []


def test_every_library_imported_is_declared(root: Path) -> None:
    """What the packages import stands among the dependencies of pyproject.toml, and nothing stands there unused."""
    project = tomllib.loads((root / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    declared = {re.split(r"[\[<>=~! ]", line)[0] for line in project["dependencies"]}
    extras = (line for name in ("parquet", "serve", "ogc", "media") for line in project["optional-dependencies"][name])
    optional = {re.split(r"[\[<>=~! ]", line)[0] for line in extras}
    imported = {
        PACKAGE_OF.get(name.split(".")[0], name.split(".")[0])
        for package in OURS
        for path in (root / package).rglob("*.py")
        for name in imports_of(path)
        if name.split(".")[0] not in sys.stdlib_module_names | OURS
    }
    assert imported - declared - optional == set()
    assert declared - imported == set()
