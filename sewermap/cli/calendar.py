"""``sewermap calendar``: warranty checks for other programs' calendars."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

import click

from sewermap.cli.options import Common, command_with_common
from sewermap.cli.output import say

DAY = click.DateTime(["%Y-%m-%d"])


@click.command("calendar")
@click.argument("out", type=click.Path(path_type=Path, dir_okay=False))
@click.option("--as-of", type=DAY, metavar="DAY", help="As known on this day: what is dated later is left out.  [default: today]")
@command_with_common
def command(common: Common, out: Path, as_of: datetime | None) -> None:
    """Write the warranty checks that are ahead or open to OUT, a calendar file (.ics); importing it again updates."""
    ahead, closed = common.book().calendar(out, as_of.date() if as_of else None)
    checks = "1 check" if ahead == 1 else f"{ahead} checks"
    say(f"{checks} ahead or open in {out}" + (f"; {closed} more marked as cancelled" if closed else ""))
