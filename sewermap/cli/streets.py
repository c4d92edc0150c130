"""``sewermap streets``: the roll-up by street."""

from __future__ import annotations

import click

from sewermap.cli.options import Common, command_with_common
from sewermap.cli.output import emit_rows

SHOWN = ("street", "laterals", "never_scoped", "issues", "worst_grade", "roots", "repeats", "repeat_rate", "per_100_m", "hotspot")


@click.command("streets")
@command_with_common
def command(common: Common) -> None:
    """Roll up by street: what was looked at, what is open, what came back, and which streets are worse than chance explains."""
    emit_rows(common, common.book().streets(), SHOWN, what="streets")
