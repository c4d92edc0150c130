"""The pages tell all that the program has: a command, field, column or kind without a word in docs/ fails."""

import re
from pathlib import Path

import click
import pytest

from etl.catalogue import FIELDS
from sewermap.cli import main
from sewermap.history.kinds import roles
from sewermap.store.tables import RECORDED, metadata

BOOKKEEPING = {"id", "content", "loaded_in", "source_row", "withdrawn_in", "replaced_by", "geometry"}


def commands() -> dict[str, click.Command]:
    """Every command of the program by name."""
    context = click.Context(main)
    found = {name: main.get_command(context, name) for name in main.list_commands(context)}
    return {name: command for name, command in found.items() if command is not None and not command.hidden}


def sections(page: Path, level: int) -> dict[str, str]:
    """The text below each heading of a level, by the first name in backticks in the heading."""
    parts = re.split(rf"^{'#' * level} ", page.read_text(encoding="utf-8"), flags=re.MULTILINE)[1:]
    return {re.sub(r"^[^`]*`(?:sewermap )?([\w-]+).*", r"\1", part.split("\n", 1)[0]): part for part in parts}


def options(command: click.Command) -> set[str]:
    """The long (or only) names of a command's options, --help left out."""
    given = [option for option in command.params if isinstance(option, click.Option) and not option.hidden]
    return {
        name
        for option in given
        for name in [*option.opts, *option.secondary_opts]
        if name.startswith("--") or len(option.opts) == 1
    }


def test_every_command_has_a_section_and_no_other_does(root: Path) -> None:
    """docs/commands.md has one section a command."""
    told = set(sections(root / "docs" / "commands.md", 2))
    assert told - {"Options of every command", "Exit status", "Output"} == set(commands())


@pytest.mark.parametrize("name", sorted(commands()))
def test_every_option_is_told_and_no_other_is(root: Path, name: str) -> None:
    """The section of a command names its options, and none that it lacks; the options of every command are told once."""
    told = sections(root / "docs" / "commands.md", 2)
    shared = set(re.findall(r"--[a-z][a-z-]*", told["Options of every command"]))
    named = set(re.findall(r"--[a-z][a-z-]*", told[name]))
    has = options(commands()[name])
    assert has - shared - named == set(), "not told"
    assert named - has == set(), "told, but the command lacks it"


@pytest.mark.parametrize("name", sorted(commands()))
def test_every_argument_is_told(root: Path, name: str) -> None:
    """The heading of a command names its arguments."""
    heading = sections(root / "docs" / "commands.md", 2)[name].split("\n", 1)[0]
    arguments = [item for item in commands()[name].params if isinstance(item, click.Argument)]
    named = {item.metavar or str(item.name).upper() for item in arguments}
    assert {metavar for metavar in named if metavar.strip("[].") not in heading} == set()


@pytest.mark.parametrize("section", FIELDS)
def test_every_field_of_input_is_told(root: Path, section: str) -> None:
    """docs/input.md names each field of each section, the needed ones in bold, and no other field in bold."""
    told = sections(root / "docs" / "input.md", 3)[section]
    assert {field.name for field in FIELDS[section] if f"`{field.name}`" not in told} == set()
    assert set(re.findall(r"\*\*`([a-z_]+)`\*\*", told)) == {field.name for field in FIELDS[section] if field.needed}


def test_every_section_of_input_is_a_recorded_table() -> None:
    """What a SOURCES.toml may hold and what the database records are the same sections."""
    assert list(FIELDS) == list(RECORDED)


def test_what_every_recorded_row_carries_is_told(root: Path) -> None:
    """docs/tables.md tells once what all recorded tables carry."""
    told = (root / "docs" / "tables.md").read_text(encoding="utf-8").split("\n### ", 1)[0]
    assert {name for name in BOOKKEEPING if f"`{name}`" not in told} == set()


@pytest.mark.parametrize("table", sorted(metadata.tables))
def test_every_column_is_told(root: Path, table: str) -> None:
    """docs/tables.md names each column of each table, beside those that all recorded tables carry."""
    told = sections(root / "docs" / "tables.md", 3)[table]
    columns = {column.name for column in metadata.tables[table].columns}
    shared = BOOKKEEPING if "withdrawn_in" in columns else {"id", "geometry"}
    assert {name for name in columns - shared if f"`{name}`" not in told} == set()


def test_every_kind_is_told_with_its_role(root: Path) -> None:
    """docs/kinds.md lists each kind in the section of its role, and no word that is no kind."""
    told = {
        role: set(re.findall(r"^- `([^`]+)`", text, re.MULTILINE))
        for role, text in sections(root / "docs" / "kinds.md", 2).items()
    }
    for role in ("defect", "feature", "look"):
        assert told[role] == {kind for kind, its_role in roles().items() if its_role == role}
