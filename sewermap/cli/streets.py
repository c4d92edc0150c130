"""``sewermap streets``: the roll-up by street."""

from __future__ import annotations

from datetime import datetime

import click

from sewermap.cli.options import Common, command_with_common
from sewermap.cli.output import emit_rows

DAY = click.DateTime(["%Y-%m-%d"])
SHOWN = (
    "street", "laterals", "never_scoped", "issues", "worst_grade", "roots", "repeats", "due", "repeat_rate", "per_100_m",
    "hotspot",
)  # fmt: skip


@click.command("streets")
@click.option("--as-of", type=DAY, metavar="DAY", help="Count checks due on this day.  [default: today]")
@command_with_common
def command(common: Common, as_of: datetime | None) -> None:
    """Roll up by street: what was looked at, what is open, what came back, and which streets are worse than chance explains."""
    emit_rows(common, common.book().streets(as_of.date() if as_of else None), SHOWN, what="streets")
