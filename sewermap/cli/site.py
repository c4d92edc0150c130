"""``sewermap site``: the offline web map."""

from __future__ import annotations

from pathlib import Path

import click

from sewermap.cli.options import Common, command_with_common
from sewermap.cli.output import say


@click.command("site")
@click.argument("outdir", type=click.Path(path_type=Path, file_okay=False))
@click.option("--title", default="Laterals", show_default=True, help="The page's title.")
@click.option("--units", type=click.Choice(["ft", "m"]), default="ft", show_default=True, help="What lengths are told in first.")
@command_with_common
def command(common: Common, outdir: Path, title: str, units: str) -> None:
    """Build the web map as a folder that opens from a disk, without a network."""
    files = common.book().site(outdir, title=title, units=units)
    say(f"{len(files)} files in {outdir}; open {files[0]} in a browser")
