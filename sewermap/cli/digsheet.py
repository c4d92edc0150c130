"""``sewermap digsheet``: one printed page for the crew that opens the ground."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from sewermap.cli.options import Common, command_with_common
from sewermap.cli.output import emit_text, is_database, say

if TYPE_CHECKING:
    from datetime import datetime


@click.command("digsheet")
@click.argument("issue")
@click.option("--units", type=click.Choice(["ft", "m"]), help="What lengths are told in.  [default: as the last run counted]")
@click.option("--paper", type=click.Choice(["letter", "a4"]), default="letter", show_default=True, help="What it is printed on.")
@click.option(
    "--pictures",
    type=click.Path(path_type=Path, file_okay=False, exists=True),
    metavar="DIR",
    help="The folder of the runs' pictures.  [default: beside the database, and where its files came from]",
)
@click.option(
    "--as-of", type=click.DateTime(["%Y-%m-%d"]), metavar="DAY", help="The day that is printed on it.  [default: today]"
)
@command_with_common
def command(common: Common, issue: str, units: str | None, paper: str, pictures: Path | None, as_of: datetime | None) -> None:
    """Make the sheet for digging at an ISSUE: -o FILE.html, or -o FILE.pdf, which needs a browser of the Chromium family.

    It is no utility locate: before anybody digs, have utilities located, and follow the local code and licensed practice.
    """
    from sewermap.errors import SewermapError  # noqa: PLC0415 - heavy
    from sewermap.paper.print_pdf import print_pdf  # noqa: PLC0415

    day = None if as_of is None else as_of.date()
    sheet = common.book().digsheet(issue, units=units, paper=paper, pictures=pictures, as_of=day)
    out = common.output
    if out is None or out.suffix.lower() != ".pdf":
        emit_text(common, sheet)
        if out is not None:
            say(f"{out}: one page; open it in a browser and print it at 100 %, or its scale is wrong")
        return
    if is_database(common, out):
        raise SewermapError(f"'{out}' is the database itself: name another file for the sheet")
    print_pdf(sheet, out)
    say(f"{out}: one page; print it at 100 %, or its scale is wrong")
