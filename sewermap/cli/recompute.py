"""``sewermap recompute``: the computed tables anew."""

from __future__ import annotations

import click

from sewermap.cli.load import tell_warnings
from sewermap.cli.options import Common, command_with_common
from sewermap.cli.output import say


@click.command("recompute")
@click.option("--all", "everything", is_flag=True, help="Also where nothing seems to have changed (as this version always does).")
@command_with_common
def command(common: Common, everything: bool) -> None:
    """Build the computed tables again from what was recorded; the rows come out the same."""
    book = common.book(read_only=False)
    tell_warnings(book.recompute())
    say(f"placed {len(book.layer('placed_observations'))} observations anew{' (all)' if everything else ''}")
