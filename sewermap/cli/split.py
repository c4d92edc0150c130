"""``sewermap split``: a person's word that an observation is no sighting of an issue."""

from __future__ import annotations

import getpass

import click

from sewermap.cli.options import Common, command_with_common
from sewermap.cli.output import say


@click.command("split")
@click.argument("issue")
@click.argument("observation")
@click.option("--who", default=getpass.getuser, show_default="whoever is logged in", help="Whose word it is.")
@click.option("--why", default="no reason given", show_default=True, help="What it rests on.")
@command_with_common
def command(common: Common, issue: str, observation: str, who: str, why: str) -> None:
    """Say that an OBSERVATION is no sighting of an ISSUE; recorded with who and why, and kept through every recompute.

    OBSERVATION is its name, as `sewermap history LATERAL --why` tells it.
    """
    name = common.book(read_only=False).split(issue, observation, who=who, why=why)
    say(f"{observation} stands for an issue of its own now, called {name}")
