"""``sewermap create``: an empty database."""

from __future__ import annotations

from pathlib import Path

import click

from sewermap.cli.options import Common, command_with_common
from sewermap.cli.output import say


@click.command("create")
@click.option("--crs", metavar="EPSG:N", help="The map's projected CRS.")
@click.option("--like", type=click.Path(path_type=Path), help="Take the CRS of this layer's file.")
@click.option("--near", metavar="LON,LAT", help="Take the UTM zone of this place.")
@command_with_common
def command(common: Common, crs: str | None, like: Path | None, near: str | None) -> None:
    """Make an empty database whose map is in a projected CRS.

    Name the CRS of your maps (--crs), a layer that has it (--like), or, without maps, a place (--near).
    """
    if sum(value is not None for value in (crs, like, near)) != 1:
        raise click.UsageError("Say which CRS the map has, by one of --crs EPSG:N, --like FILE and --near LON,LAT.")
    from sewermap.book import create_book, crs_like, crs_near  # noqa: PLC0415 - heavy

    chosen = crs if crs is not None else crs_like(like) if like is not None else crs_near(near or "")
    book = create_book(common.db, chosen)
    say(f"made {common.db} with the map in {book.crs}; next: sewermap load SOURCES.toml --db {common.db}")
