"""``sewermap template``: a workbook for crews to fill, and the SOURCES.toml that loads it."""

from __future__ import annotations

from pathlib import Path

import click

from sewermap.cli.options import Common, command_with_common
from sewermap.cli.output import say


@click.command("template")
@click.argument("out", metavar="OUT.xlsx", type=click.Path(path_type=Path, dir_okay=False))
@command_with_common
def command(common: Common, out: Path) -> None:
    """Write an empty workbook for runs, observations, works and warranties, with drop-downs; and a SOURCES.toml beside it.

    Neither overwrites what is there. The SOURCES.toml loads the workbook as it is; empty sheets load nothing.
    """
    from sewermap.book import template  # noqa: PLC0415 - heavy

    workbook, plan = template(out)
    say(f"wrote {workbook} and {plan}; fill it, save it, then: sewermap load {plan} --db {common.db}")
