"""``sewermap demo``: an invented town, loaded and shown."""

from __future__ import annotations

import shlex
from pathlib import Path

import click

from sewermap.cli.options import Common, command_with_common
from sewermap.cli.output import emit_text, say


@click.command("demo")
@click.argument("folder", metavar="[DIR]", type=click.Path(path_type=Path, file_okay=False), default="sewermap-demo")
@command_with_common
def command(common: Common, folder: Path) -> None:
    """Make an invented town in DIR, load it, build its map, and say what to open and what to try next."""
    from sewermap.demo import make_demo  # noqa: PLC0415 - heavy

    demo = make_demo(folder, tell=say)
    db = f"--db {_typed(demo.database)}"
    plans = ", ".join(str(plan) for plan in demo.plans)
    lines = [
        f"The invented town of {demo.town} is in {folder}:",
        f"  {plans}   what to load, from which files: {demo.rows_read} rows,",
        f"    of which {demo.rows_rejected} are wrong on purpose (sewermap load lists them)",
        f"  {demo.database}   the database: {demo.laterals} laterals, {demo.runs} runs, {demo.observations} observations",
        f"  {demo.page}   the map: open it in a browser",
        "",
        "Try next:",
        f"  sewermap history {_typed(demo.lateral)} {db}",
        f"  sewermap where {_typed(demo.lateral)} {_typed(demo.reading)} --run {_typed(demo.run)} {db}",
        f"  sewermap defects --street {_typed(demo.street)} --grade 3 {db}",
        f"  sewermap due --as-of {demo.day} {db}",
        f"  sewermap claims --as-of {demo.day} {db}",
        f"  sewermap notice {_typed(demo.warranty)} --as-of {demo.day} {db}",
        f"  sewermap evidence {_typed(demo.warranty)} {_typed(folder / 'evidence')} --as-of {demo.day} {db}",
        f"  sewermap calendar {_typed(folder / 'checks.ics')} --as-of {demo.day} {db}",
        f"  sewermap digsheet {_typed(demo.issue)} -o {_typed(folder / 'dig.html')} {db}",
        f"  sewermap export {_typed(folder / 'observations.csv')} {db}",
        f"  sewermap load {_typed(demo.plans[0])} {db}   (again: nothing changes)",
    ]
    emit_text(common, "\n".join(lines))


def _typed(word: object) -> str:
    """A word as it must be typed, in quotes where it has a blank."""
    return shlex.quote(str(word))
