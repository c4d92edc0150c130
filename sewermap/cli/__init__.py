"""The command line: one command, one file; thin. Each parses, calls the book and prints.

Standard output holds only the answer; all else goes to standard error. Exit status: 0 done, 1 an error told in one line,
2 wrong usage, 3 (``load`` alone) done but some rows were rejected.
"""

from __future__ import annotations

import os
import sys
from importlib import import_module
from typing import Any

import click

from sewermap import __version__
from sewermap.cli.options import common_options
from sewermap.errors import SewermapError

COMMANDS = (
    "demo", "create", "template", "load", "recompute", "where", "sketch", "history", "defects", "repeats", "streets", "due",
    "claims", "notice", "evidence", "calendar", "digsheet", "join", "split", "site", "serve", "export", "check", "upgrade",
)  # fmt: skip


class Commands(click.Group):
    """Commands are imported when they are called, so that ``--help`` is quick; every error is told in one line."""

    def list_commands(self, _ctx: click.Context) -> list[str]:
        """Name the commands in the order in which a newcomer meets them."""
        return list(COMMANDS)

    def get_command(self, _ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Fetch a command out of its own file."""
        if cmd_name not in COMMANDS:
            return None
        command: click.Command = import_module(f"sewermap.cli.{cmd_name}").command
        return command

    def main(self, *args: Any, **kwargs: Any) -> Any:
        """Run, and tell what went wrong without a traceback."""
        try:
            return super().main(*args, **kwargs)
        except SewermapError as error:
            _stop(str(error))
        except BrokenPipeError:
            # Whoever reads our output has seen enough; keep Python from complaining when it flushes at exit.
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
            sys.exit(1)
        except Exception as error:
            if os.environ.get("SEWERMAP_DEBUG"):
                raise
            _stop(f"something went wrong inside sewermap ({type(error).__name__}: {error}); SEWERMAP_DEBUG=1 shows where")


def _stop(sentence: str) -> None:
    click.echo("sewermap: " + " ".join(sentence.split()), err=True)
    sys.exit(1)


@click.group(cls=Commands, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(__version__, prog_name="sewermap")
@common_options
def main(**given: Any) -> None:
    """Building sewers on the map, with the history of every look into them.

    Places and parcels here are no utility locate and no legal survey: before anybody digs, have utilities located, and follow the
    local code and licensed practice.
    """
    click.get_current_context().obj = given
