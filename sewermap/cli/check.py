"""``sewermap check``: is the database sound?"""

from __future__ import annotations

import sys

import click

from sewermap.cli.options import Common, command_with_common
from sewermap.cli.output import emit_text, say


@click.command("check")
@click.option("--mend", is_flag=True, help="Build indexes and extents again first.")
@command_with_common
def command(common: Common, mend: bool) -> None:
    """Look for faults that another program, a bad disk or an interrupted copy may have left. Exit status 1 on a fault."""
    faults = common.book(read_only=not mend).check(mends=mend)
    if faults:
        emit_text(common, "\n".join(faults))
        sys.exit(1)
    say(f"{common.db} is sound")
