"""``sewermap sketch``: lines for a lateral that no map drew."""

from __future__ import annotations

import click

from sewermap.cli.options import Common, command_with_common
from sewermap.cli.output import emit_rows, say

SHOWN = ("method", "taken", "length_m", "sigma_m", "starts_at", "closed_on", "misclosure_m", "reason")


@click.command("sketch")
@click.argument("lateral")
@command_with_common
def command(common: Common, lateral: str) -> None:
    """Show the candidates for the line of a LATERAL that no map drew, with their sigma, and which one is taken.

    By its legs, through located points, or straight; of those that are not refused the one with the least sigma is taken. A line
    that is drawn later replaces it.
    """
    book = common.book()
    emit_rows(common, book.sketch(lateral), SHOWN, what="candidates")
    if book.has_drawn_line(lateral):
        say("A map draws the line of this lateral: none of these is taken.")
    else:
        say("No line without a map is ground to dig by: have it located first; local code and licensed practice rule.")
