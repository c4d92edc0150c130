"""``sewermap due``: which warranties ask for a check."""

from __future__ import annotations

from datetime import datetime

import click

from sewermap.cli.options import Common, command_with_common
from sewermap.cli.output import emit_rows

DAY = click.DateTime(["%Y-%m-%d"])
SHOWN = (
    "place", "check_by", "days_left", "state", "left_to_look", "warranty", "lateral", "check_from", "last_run_on", "open_issues",
)  # fmt: skip


@click.command("due")
@click.option("--as-of", type=DAY, metavar="DAY", help="As known on this day: what is dated later is left out.  [default: today]")
@click.option("--within", type=click.IntRange(min=0), metavar="DAYS", default=60, show_default=True, help="Opening so soon, too.")
@click.option("--all", "all_states", is_flag=True, help="Every warranty begun by then, also checked and lapsed.")
@click.option("--route", is_flag=True, help="Order by a tour from house to house, as the crow flies, not by street.")
@command_with_common
def command(common: Common, as_of: datetime | None, within: int, all_states: bool, route: bool) -> None:
    """List warranties whose check is due, or will be within some days, in the order in which a van drives past the houses."""
    day = as_of.date() if as_of else None
    rows = common.book().due(as_of=day, within=within, all_states=all_states, route=route)
    emit_rows(common, rows, ("stop", *SHOWN) if route else SHOWN, what="checks of warranties")
