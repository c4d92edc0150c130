"""``sewermap notice``: a draft of a letter to whoever answers under a warranty."""

from __future__ import annotations

from datetime import datetime

import click

from sewermap.cli.options import Common, command_with_common
from sewermap.cli.output import as_json, emit_text, is_database, say

DAY = click.DateTime(["%Y-%m-%d"])


@click.command("notice")
@click.argument("warranty")
@click.option("--as-of", type=DAY, metavar="DAY", help="As known on this day: what is dated later is left out.  [default: today]")
@command_with_common
def command(common: Common, warranty: str, as_of: datetime | None) -> None:
    """Draft a notice of what may be claimed under a WARRANTY; -o FILE.txt, .html or .pdf by its suffix.

    It is a draft made from recorded facts, and no legal advice: whoever answers for it reads it before it is sent.
    """
    from sewermap.paper.notice import notice_text, write_notice  # noqa: PLC0415 - heavy

    if common.format in ("csv", "geojson"):
        raise click.UsageError(
            f"a notice is a letter, no {common.format}: ask for table or json, or 'sewermap claims' for the rows."
        )
    case = common.book().evidence_of(warranty, as_of.date() if as_of else None, what="warranty")
    if common.format == "json":
        emit_text(common, as_json(case.plain()))
    elif common.output is None or is_database(common, common.output):
        emit_text(common, notice_text(case))
    else:
        write_notice(case, common.output)
        say(f"a draft, no legal advice, in {common.output}")
