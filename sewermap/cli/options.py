"""Options that every command shares; they may stand before or after the command's name."""

from __future__ import annotations

from dataclasses import dataclass
from functools import wraps
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from collections.abc import Callable

    from sewermap.book import Book

FORMATS = ("table", "csv", "json", "geojson")
DEFAULT_DB = "sewermap.gpkg"


@dataclass(frozen=True)
class Common:
    """The shared options, as given before or after the command's name (after wins)."""

    db: str
    format: str
    output: Path | None

    def book(self, *, read_only: bool = True) -> Book:
        """Open the database; for reading unless said otherwise."""
        import sewermap  # noqa: PLC0415 - the heavy libraries load only when a database is opened

        return sewermap.open(self.db, read_only=read_only)


def common_options(function: Callable[..., Any]) -> Callable[..., Any]:
    """Give a command --db, --format and -o."""
    for option in (
        click.option("-o", "--output", type=click.Path(path_type=Path, dir_okay=False), help="Write the answer to a file."),
        click.option("--format", "format", type=click.Choice(FORMATS), help="How to print the answer.  [default: table]"),
        click.option(
            "--db",
            envvar="SEWERMAP_DB",
            metavar="PATH_OR_URL",
            help=f"The database: a GeoPackage file or a postgresql:// address (or SEWERMAP_DB).  [default: {DEFAULT_DB}]",
        ),
    ):
        function = option(function)
    return function


def command_with_common(function: Callable[..., Any]) -> Callable[..., Any]:
    """Give a command the shared options, handed over as its first argument."""

    @wraps(function)
    def run(db: str | None, format: str | None, output: Path | None, **rest: Any) -> Any:  # noqa: A002 (the option's name)
        ctx = click.get_current_context()
        before = ctx.find_root().obj or {}
        common = Common(
            db=_chosen(ctx, "db", db, before.get("db")) or DEFAULT_DB,
            format=format or before.get("format") or "table",
            output=output or before.get("output"),
        )
        return function(common, **rest)

    return common_options(run)


def _chosen(ctx: click.Context, name: str, after: str | None, before: str | None) -> str | None:
    """What was typed beats the environment, wherever it was typed."""
    typed = ctx.get_parameter_source(name) is click.core.ParameterSource.COMMANDLINE
    return after if typed else before or after
