"""``sewermap repeats``: what came back."""

from __future__ import annotations

import click

from sewermap.cli.options import Common, command_with_common
from sewermap.cli.output import emit_rows

SHOWN = ("issue", "place", "kind", "state", "days_after_work", "after_work_kind", "grade", "last_seen", "times_seen")


@click.command("repeats")
@command_with_common
def command(common: Common) -> None:
    """List repeat issues: back after a work that should have mended them, and after how many days; the soonest first.

    Also those that a later work has mended since: they came back once.
    """
    emit_rows(common, common.book().repeats(), SHOWN, what="repeat issues")
