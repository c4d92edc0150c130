"""``sewermap site``: the maps and lists as a folder that needs no network."""

from __future__ import annotations

from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click
from rich.console import Console
from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

from sewermap.cli.options import Common, command_with_common
from sewermap.cli.output import say

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

DAY = click.DateTime(["%Y-%m-%d"])


@click.command("site")
@click.argument("outdir", type=click.Path(path_type=Path, file_okay=False))
@click.option("--title", default="Laterals", show_default=True, help="The title of all pages.")
@click.option("--as-of", type=DAY, metavar="DAY", help="The day that checks and changes are told of.  [default: today]")
@click.option("--units", type=click.Choice(["ft", "m"]), default="ft", show_default=True, help="What lengths are told in first.")
@click.option("--language", type=click.Choice(["en", "fr"]), default="en", show_default=True, help="What the pages say.")
@click.option("--public", is_flag=True, help="One page, by street alone: nothing that points at a single house.")
@click.option(
    "--public-least",
    type=click.IntRange(min=1),
    metavar="N",
    default=5,
    show_default=True,
    help="Streets with fewer laterals are told together, or not at all.",
)
@click.option(
    "--background",
    metavar="ADDRESS",
    help="Tiles of an online map, like https://tiles.example.org/{z}/{x}/{y}.png, which the town map then offers.",
)
@click.option(
    "--pictures",
    type=click.Path(path_type=Path, file_okay=False, exists=True),
    metavar="DIR",
    help="The folder of the runs' pictures.  [default: beside the database, and where its files came from]",
)
@command_with_common
def command(
    common: Common,
    outdir: Path,
    title: str,
    as_of: datetime | None,
    units: str,
    language: str,
    public: bool,
    public_least: int,
    background: str | None,
    pictures: Path | None,
) -> None:
    """Build the maps and lists as a folder that opens from a disk, without a network."""
    about: dict[str, Any] = {
        "title": title,
        "units": units,
        "language": language,
        "public": public,
        "public_least": public_least,
        "background": background,
    }
    with _progress() as tell:
        files = common.book().site(outdir, as_of=as_of.date() if as_of else None, pictures=pictures, progress=tell, **about)
    say(f"{len(files)} files in {outdir}; open {files[0]} in a browser")


@contextmanager
def _progress() -> Iterator[Callable[[str, int, int], None] | None]:
    """A bar on a terminal, nothing elsewhere."""
    console = Console(stderr=True)
    if not console.is_terminal:
        yield None
        return
    columns = (TextColumn("{task.description}"), BarColumn(), TimeElapsedColumn())
    with Progress(*columns, console=console, transient=True) as progress:
        task = progress.add_task("…", total=None)

        def tell(what: str, done: int, steps: int) -> None:
            progress.update(task, description=f"{what} …", completed=done, total=steps or None)

        yield tell
