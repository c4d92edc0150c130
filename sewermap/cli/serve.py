"""``sewermap serve``: the maps and lists live, for reading only."""

from __future__ import annotations

from importlib.util import find_spec

import click

from sewermap.cli.options import Common, command_with_common
from sewermap.cli.output import say
from sewermap.errors import SewermapError


@click.command("serve")
@click.option("--port", type=click.IntRange(0, 65535), metavar="N", default=8090, show_default=True, help="0 takes a free one.")
@click.option("--host", default="127.0.0.1", show_default=True, help="The address of this machine to listen at.")
@click.option("--name", "names", multiple=True, metavar="NAME", help="A name that browsers call this server by; may be repeated.")
@click.option("--title", default="Laterals", show_default=True, help="The title of all pages.")
@click.option("--units", type=click.Choice(["ft", "m"]), default="ft", show_default=True, help="What lengths are told in first.")
@click.option("--language", type=click.Choice(["en", "fr"]), default="en", show_default=True, help="What the pages say.")
@command_with_common
def command(common: Common, port: int, host: str, names: tuple[str, ...], title: str, units: str, language: str) -> None:
    """Show the maps and lists live in a browser, for reading only; a GIS program reads the layers at /ogc.

    It asks nobody for a login. It needs Starlette and uvicorn: pip install 'sewermap[serve]' (with /ogc: 'sewermap[serve,ogc]').
    """
    missing = [package for package in ("starlette", "uvicorn") if find_spec(package) is None]
    if missing:
        raise SewermapError(f"serving needs {' and '.join(missing)}: pip install 'sewermap[serve]'")
    from sewermap.serve.running import run  # noqa: PLC0415 - not every installation has its libraries

    run(common.book(), host=host, port=port, names=names, tell=say, title=title, units=units, language=language)
