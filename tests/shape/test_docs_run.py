"""The examples of the pages are run, each on a fresh copy of what `sewermap demo` makes."""

import doctest
import re
import shlex
import tomllib
from pathlib import Path

import click
import pytest
from click.testing import CliRunner

from sewermap.cli import main

ROOT = Path(__file__).parents[2]
PAGES = sorted([*ROOT.glob("*.md"), *ROOT.glob("docs/*.md")])


def blocks(page: Path, language: str) -> list[str]:
    """The fenced blocks of one language in a page."""
    return re.findall(rf"^```{language}\n(.*?)^```", page.read_text(encoding="utf-8"), re.MULTILINE | re.DOTALL)


def ours(block: str) -> list[list[str]]:
    """The calls of sewermap in a block of shell, as words after the program's name; comments and other programs left out."""
    parts = [part.strip() for line in block.splitlines() for part in line.split("&&")]
    words = [shlex.split(part, comments=True) for part in parts]
    return [call[1:] for call in words if call and call[0].rsplit("/", 1)[-1] == "sewermap"]


def with_blocks(language: str) -> list[Path]:
    """The pages that have blocks of a language."""
    return [page for page in PAGES if blocks(page, language)]


@pytest.mark.parametrize("page", with_blocks("python"), ids=lambda page: page.name)
def test_python_blocks_run(demo_folder: Path, page: Path) -> None:
    """Each Python session of a page gives what the page says."""
    assert demo_folder.is_dir()
    flags = doctest.ELLIPSIS | doctest.NORMALIZE_WHITESPACE
    runner, names = doctest.DocTestRunner(optionflags=flags), {}
    for block in blocks(page, "python"):
        assert ">>> " in block
        test = doctest.DocTestParser().get_doctest(block, names, page.name, str(page), 0)
        runner.run(test, clear_globs=False)
        names = test.globs
    assert runner.summarize(verbose=False).failed == 0


@pytest.mark.parametrize("page", with_blocks("sh"), ids=lambda page: page.name)
def test_shell_blocks_name_commands_that_are_there(page: Path) -> None:
    """Each call of sewermap in a page can be parsed: the command, its options and the number of its arguments are right."""
    for block in blocks(page, "sh"):
        for call in ours(block):
            context = main.make_context("sewermap", list(call))
            name, command, rest = main.resolve_command(context, [*context._protected_args, *context.args])
            assert command is not None
            command.make_context(name, rest, parent=context)


@pytest.mark.parametrize("page", with_blocks("sh run"), ids=lambda page: page.name)
def test_shell_tours_run(demo_folder: Path, page: Path) -> None:
    """Each call of sewermap in a tour of a page works, in the order of the page, where the demo was made."""
    assert demo_folder.is_dir()
    for block in blocks(page, "sh run"):
        for call in ours(block):
            result = CliRunner().invoke(main, call)
            assert result.exit_code == 0, f"sewermap {shlex.join(call)}: {result.output}"


@pytest.mark.parametrize("page", with_blocks("toml"), ids=lambda page: page.name)
def test_toml_blocks_are_toml(page: Path) -> None:
    """Each block of TOML in a page can be read."""
    assert all(isinstance(tomllib.loads(block), dict) for block in blocks(page, "toml"))


def test_readme_begins_with_the_job_and_two_commands(root: Path) -> None:
    """README.md has one paragraph about the job, then the two commands for a fresh machine, the same that CI runs."""
    text = (root / "README.md").read_text(encoding="utf-8")
    title, job, *_ = text.split("\n\n")
    assert title.startswith("# ")
    assert not job.startswith(("#", "`"))
    first = [line for block in blocks(root / "README.md", "sh")[:2] for line in block.splitlines()]
    assert first == ["python3 -m venv .venv && .venv/bin/pip install . && .venv/bin/sewermap demo", "tests/run"]
    assert "exec tests/run" in (root / ".ci" / "run").read_text(encoding="utf-8")
    assert isinstance(main, click.Group)
