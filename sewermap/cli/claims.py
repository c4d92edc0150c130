"""``sewermap claims``: what may be claimed under the warranties."""

from __future__ import annotations

from datetime import datetime

import click

from sewermap.cli.options import Common, command_with_common
from sewermap.cli.output import emit_rows

DAY = click.DateTime(["%Y-%m-%d"])
SHOWN = ("issue", "place", "kind", "grade", "first_seen", "notice_by", "days_left", "answerable", "warranty", "side", "reason")


@click.command("claims")
@click.option("--as-of", type=DAY, metavar="DAY", help="As known on this day: what is dated later is left out.  [default: today]")
@click.option("--returned", is_flag=True, help="Also what came back after the very work that the warranty is for.")
@command_with_common
def command(common: Common, as_of: datetime | None, returned: bool) -> None:
    """List defects that came up within a warranty: on its stretch, first seen within its term, not seen at the acceptance.

    Facts, no legal advice: contracts and local law decide.
    """
    rows = common.book().claims(as_of=as_of.date() if as_of else None, returned=returned)
    emit_rows(common, rows, SHOWN, what="claims")
