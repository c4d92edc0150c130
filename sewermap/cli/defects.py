"""``sewermap defects``: the planner's question."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

import click

from sewermap.cli.options import Common, command_with_common
from sewermap.cli.output import emit_rows, say

DAY = click.DateTime(["%Y-%m-%d"])
SHOWN = ("issue", "place", "kind", "grade", "state", "last_seen", "measure_m", "within_m", "side", "times_seen")
WORST = 5


@click.command("defects")
@click.option("--street", help="On this street.")
@click.option("--kind", help="Of this kind, like roots or 'offset joint'.")
@click.option("--grade", type=click.IntRange(1, WORST), help="Of this grade or worse (5 is worst).")
@click.option("--since", type=DAY, metavar="DAY", help="Last seen on this day or later.")
@click.option("--until", type=DAY, metavar="DAY", help="Last seen on this day or earlier.")
@click.option("--side", help="private, public, undetermined or unknown.")
@click.option("--state", help="new, same, worse, … or all; all but mended where nothing is said.")
@click.option("--area", type=click.Path(path_type=Path), help="Inside the shapes of this layer's file.")
@command_with_common
def command(
    common: Common,
    street: str | None,
    kind: str | None,
    grade: int | None,
    since: datetime | None,
    until: datetime | None,
    side: str | None,
    state: str | None,
    area: Path | None,
) -> None:
    """List defects by street, kind, grade, day, side, state or area."""
    from sewermap.answers.defects import Filters, defects, ungraded  # noqa: PLC0415 - heavy
    from sewermap.book import read_area  # noqa: PLC0415

    filters = Filters(
        street=street,
        kind=kind,
        grade=grade,
        since=since.date() if since else None,
        until=until.date() if until else None,
        side=side,
        state=state,
        area=read_area(area) if area else None,
    )
    book = common.book()
    rows = defects(book.store, filters)
    emit_rows(common, rows, SHOWN, what="defects")
    left_out = ungraded(book.store, filters)
    if left_out:
        say(f"{left_out} more that nobody graded are left out by --grade")
