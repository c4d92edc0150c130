"""``sewermap load --watch``: a folder whose files are loaded as they come, told a line each."""

from __future__ import annotations

import json
import sys
from typing import TYPE_CHECKING

import click

from sewermap.cli.output import say

if TYPE_CHECKING:
    from pathlib import Path

    from etl.watch import Watched
    from sewermap.cli.options import Common


def watch(common: Common, folder: Path, rejects: Path | None, every_s: float, *, check: bool) -> None:
    """Load what comes into a folder until Ctrl+C. ``rejects``: where the rejected rows of the last load are written."""
    if check or common.output is not None:
        raise click.UsageError("--watch loads, and tells of it on standard output; leave --check and -o out.")

    def tell(done: Watched) -> None:
        if done.report is not None and rejects is not None:
            from sewermap.answers.export import write_csv  # noqa: PLC0415 - heavy

            write_csv(done.report.rejects, rejects)
        click.echo(json.dumps(done.as_plain(), ensure_ascii=False) if common.format == "json" else done.told)
        sys.stdout.flush()

    book = common.book(read_only=False)
    say(f"watching {folder}; Ctrl+C stops it")
    try:
        book.watch(folder, tell, every_s=every_s)
    except KeyboardInterrupt:
        say("stopped")
