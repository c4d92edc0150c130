"""``sewermap export``: tables and answers into other programs' files."""

from __future__ import annotations

from pathlib import Path

import click

from sewermap.cli.options import Common, command_with_common
from sewermap.cli.output import say


@click.command("export")
@click.argument("out", type=click.Path(path_type=Path, dir_okay=False))
@click.option("--table", metavar="NAME", help="A table or answer by name; without it, all layers (.gpkg) or placed_observations.")
@command_with_common
def command(common: Common, out: Path, table: str | None) -> None:
    """Write a table or answer to OUT: .gpkg, .geojson, .fgb, .parquet, .csv or .xml (exchange form) by its suffix.

    Replaces OUT.
    """
    if out.suffix.lower() == ".xml":
        _exchange(common, out, table)
        return
    names = common.book().export(out, table)
    say(f"wrote {', '.join(names)} to {out}")


def _exchange(common: Common, out: Path, table: str | None) -> None:
    """The exchange form; what it leaves out is told on standard error."""
    left = common.book().export_exchange(out, table)
    say(f"wrote runs, observations to {out}")
    if left:
        kinds = ", ".join(f"{kind} {count}" for kind, count in left.items())
        click.echo(f"sewermap: {sum(left.values())} observations are not in {out.name} (no code, or no run): {kinds}", err=True)
