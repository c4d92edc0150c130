"""Rules about words and files that no linter knows."""

import ast
import re
from pathlib import Path

import pytest

MOST_LINES = 400
# Written with one letter in brackets, so that this file does not break its own rule.
FORBIDDEN = {
    "a title of a film": r"trans[c]ript|youtub[e]|the recordin[g]\b",
    "a host of a package registry": r"py[p]i\.org|python[h]osted\.org|npm[j]s\.org|de[b]\.debian\.org|proxy\.golan[g]",
    "a path of one machine": r"(?<![\w.)}*])/(?:wor[k]|roo[t])/|\.librar[y]/",
}
UNFINISHED = r"NotImplementedErro[r]|TOD[O]|FIXM[E]|\bXX[X]\b|pragma: no cove[r]|type: ignor[e](?!\[)"
CANNOT_FAIL = r"assert Tru[e]\b|pytest\.ski[p]|mark\.ski[p]|importorski[p]|mark\.xfai[l]"


def found(paths: list[Path], pattern: str, root: Path) -> list[str]:
    """Each place where the pattern stands, as file and text; binaries are read byte by byte."""
    rule = re.compile(pattern, re.IGNORECASE)
    return [
        f"{path.relative_to(root)}: {hit.group()}" for path in paths for hit in rule.finditer(path.read_bytes().decode("latin-1"))
    ]


@pytest.mark.parametrize("rule", FORBIDDEN)
def test_no_forbidden_words(files: list[Path], root: Path, rule: str) -> None:
    """No file that is committed names where we work, where packages come from, or a film."""
    assert found(files, FORBIDDEN[rule], root) == []


def test_no_scratch_folder_outside_tests(files: list[Path], root: Path) -> None:
    """No program or page names a scratch folder of one machine."""
    ours = [
        path
        for path in files
        if path.suffix in {".py", ".md", ".toml", ".html", ".csv"} and path.parts[len(root.parts)] != "tests"
    ]
    assert found(ours, r"(?<![\w.])/tm[p]/", root) == []


def test_nothing_is_unfinished_or_silenced(python_files: list[Path], root: Path) -> None:
    """No stub, no note to self, no silenced check without its code."""
    assert found(python_files, UNFINISHED, root) == []


def test_every_test_can_fail(python_files: list[Path], root: Path) -> None:
    """No test is skipped, expected to fail, or true whatever happens."""
    assert found([path for path in python_files if "tests" in path.parts], CANNOT_FAIL, root) == []


def test_files_have_one_job(python_files: list[Path], root: Path) -> None:
    """No Python file is longer than 400 lines."""
    lengths = {str(path.relative_to(root)): path.read_bytes().count(b"\n") for path in python_files}
    assert {name: lines for name, lines in lengths.items() if lines > MOST_LINES} == {}


def test_every_test_says_what_must_be_true(python_files: list[Path], root: Path) -> None:
    """Each test function has a docstring."""
    silent = [
        f"{path.relative_to(root)}:{node.lineno} {node.name}"
        for path in python_files
        if path.name.startswith("test_")
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)
        and node.name.startswith("test_")
        and not ast.get_docstring(node)
    ]
    assert silent == []


def test_links_between_pages_lead_somewhere(pages: list[Path], root: Path) -> None:
    """Every relative link of a Markdown page names a file that is there."""
    broken = [
        f"{page.relative_to(root)}: {target}"
        for page in pages
        for target in re.findall(r"\]\(([^)#]+)(?:#[^)]*)?\)", page.read_text(encoding="utf-8"))
        if not target.startswith(("http://", "https://", "mailto:")) and not (page.parent / target).exists()
    ]
    assert broken == []
