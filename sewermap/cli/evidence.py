"""``sewermap evidence``: what is known of a warranty's claims or of an issue, as a folder to hand over."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

import click

from sewermap.cli.options import Common, command_with_common
from sewermap.cli.output import say

DAY = click.DateTime(["%Y-%m-%d"])


@click.command("evidence")
@click.argument("name")
@click.argument("outdir", type=click.Path(path_type=Path, file_okay=False))
@click.option(
    "--pictures",
    type=click.Path(path_type=Path, exists=True, file_okay=False),
    help="Where the pictures are.  [default: the database's folder, and there beside the source file]",
)
@click.option("--as-of", type=DAY, metavar="DAY", help="As known on this day: what is dated later is left out.  [default: today]")
@click.option("--what", type=click.Choice(["warranty", "issue"]), help="Which is meant, where both bear the name.")
@command_with_common
def command(common: Common, name: str, outdir: Path, pictures: Path | None, as_of: datetime | None, what: str | None) -> None:
    """Write the evidence for a warranty's claims, or for an issue, to a folder: sightings, runs, works, pictures, checksums.

    NAME is a warranty's or an issue's. Nothing in OUTDIR is overwritten but an earlier evidence folder of the same thing.
    """
    day = as_of.date() if as_of else None
    files, missing = common.book().evidence(name, outdir, day, pictures=pictures, what=what)
    say(f"{len(files)} files in {outdir}; read {outdir / 'evidence.txt'} first")
    for line in missing:
        say(f"picture missing: {line}")
