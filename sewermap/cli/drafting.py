"""``sewermap load --draft``: a SOURCES.toml for files that nobody has described yet, to be corrected by hand."""

from __future__ import annotations

from pathlib import Path

import click
from rich.console import Console
from rich.progress import Progress, SpinnerColumn, TextColumn, TimeElapsedColumn

from sewermap.cli.options import Common
from sewermap.cli.output import emit_text, say


def draft(common: Common, source: Path, lateral: str | None) -> None:
    """Write the draft for a source to ``-o`` and tell what is left to do; without one, print the draft of a table or layer."""
    is_stick = source.is_dir() and source.suffix.casefold() != ".gdb"
    if lateral is not None and not is_stick:
        raise click.UsageError("--lateral NAME goes with a folder of pictures; a table says its laterals in a column.")
    if common.output is None:
        if is_stick:
            raise click.UsageError("--draft of a folder writes several files; say where by -o SOURCES.toml.")
        from sewermap.book import draft_text  # noqa: PLC0415 - heavy

        emit_text(common, draft_text(source))
        return
    for line in _with_progress(source, common.output, lateral):
        say(line)
    say(f"wrote {common.output}; correct it, then: sewermap load {common.output} --db {common.db}")


def _with_progress(source: Path, out: Path, lateral: str | None) -> list[str]:
    from sewermap.book import draft as drafted  # noqa: PLC0415 - heavy

    console = Console(stderr=True)
    if not console.is_terminal:
        return drafted(source, out, lateral=lateral)
    with Progress(
        SpinnerColumn(), TextColumn("{task.description}"), TimeElapsedColumn(), console=console, transient=True
    ) as progress:
        task = progress.add_task("looking …")
        return drafted(source, out, lateral=lateral, progress=lambda step: progress.update(task, description=f"{step} …"))
