"""``sewermap join``: a person's word that two issues are one."""

from __future__ import annotations

import getpass

import click

from sewermap.cli.options import Common, command_with_common
from sewermap.cli.output import say


@click.command("join")
@click.argument("issue")
@click.argument("other", metavar="ISSUE")
@click.option("--who", default=getpass.getuser, show_default="whoever is logged in", help="Whose word it is.")
@click.option("--why", default="no reason given", show_default=True, help="What it rests on.")
@command_with_common
def command(common: Common, issue: str, other: str, who: str, why: str) -> None:
    """Say that two issues of a lateral are one and the same; recorded with who and why, and kept through every recompute."""
    name = common.book(read_only=False).join(issue, other, who=who, why=why)
    say(f"{issue} and {other} are one issue now, called {name}")
