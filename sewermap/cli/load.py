"""``sewermap load``: layers and logs into the database, and every reading onto the map."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click
from rich.console import Console
from rich.progress import Progress, SpinnerColumn, TextColumn, TimeElapsedColumn

from sewermap.cli.drafting import draft
from sewermap.cli.options import Common, command_with_common
from sewermap.cli.output import as_json, emit_text, is_database, say, table_text
from sewermap.cli.watching import watch

if TYPE_CHECKING:
    import pandas as pd

    from etl.load import LoadReport
    from sewermap.book import Book

SOME_REJECTED = 3
TOLD = 20


@click.command("load")
@click.argument("sources", metavar="SOURCES.toml", type=click.Path(path_type=Path))
@click.option("--check", is_flag=True, help="Only say what would happen; write nothing.")
@click.option("--rejects", type=click.Path(path_type=Path, dir_okay=False), help="Write the rejected rows to this CSV file.")
@click.option("--draft", "is_draft", is_flag=True, help="Load nothing: draft a SOURCES.toml for a strange file or stick.")
@click.option("--lateral", metavar="NAME", help="With --draft: the lateral that all of it is of.")
@click.option("--watch", "is_watch", is_flag=True, help="Load the files of a folder as they come; it holds a SOURCES.toml.")
@click.option("--every", type=click.FloatRange(min=0.1), metavar="SECONDS", help="How often --watch looks.  [default: 2]")
@command_with_common
def command(
    common: Common,
    sources: Path,
    check: bool,
    rejects: Path | None,
    is_draft: bool,
    lateral: str | None,
    is_watch: bool,
    every: float | None,
) -> None:
    """Read what SOURCES.toml names, check it, load it and place what changed.

    A load lands whole or not at all; loading again changes nothing. Rows that cannot be loaded are listed with their reason, and
    the exit status is then 3.
    """
    _go_together(check or rejects is not None, is_draft, lateral, is_watch, every)
    if is_draft:
        draft(common, sources, lateral)
        return
    if common.format in ("csv", "geojson"):
        raise click.UsageError("load answers as table or json; the rejected rows go to a CSV file by --rejects FILE.")
    if rejects is not None and is_database(common, rejects):
        raise click.UsageError(f"--rejects '{rejects}' is the database itself; name another file.")
    if is_watch:
        watch(common, sources, rejects, 2.0 if every is None else every, check=check)
        return
    book = common.book(read_only=False)
    report = _load_with_progress(book, sources, check=check)
    if rejects is not None:
        from sewermap.answers.export import write_csv  # noqa: PLC0415 - heavy

        write_csv(report.rejects, rejects)
    told = as_json(report.as_plain()) if common.format == "json" else _told(common, report, check=check, rejects=rejects)
    emit_text(common, told)
    if len(report.rejects):
        sys.exit(SOME_REJECTED)


def _go_together(loads: bool, is_draft: bool, lateral: str | None, is_watch: bool, every: float | None) -> None:
    """Raises UsageError for options that do not go with one another."""
    if is_draft and (loads or is_watch):
        raise click.UsageError("--draft loads nothing, so it goes with none of --check, --rejects and --watch.")
    if lateral is not None and not is_draft:
        raise click.UsageError("--lateral NAME goes with --draft.")
    if every is not None and not is_watch:
        raise click.UsageError("--every SECONDS goes with --watch.")


def _load_with_progress(book: Book, sources: Path, *, check: bool) -> LoadReport:
    console = Console(stderr=True)
    if not console.is_terminal:
        return book.load(sources, check=check)
    with Progress(
        SpinnerColumn(), TextColumn("{task.description}"), TimeElapsedColumn(), console=console, transient=True
    ) as progress:
        task = progress.add_task("reading …")
        return book.load(sources, check=check, progress=lambda step: progress.update(task, description=f"{step} …"))


def _told(common: Common, report: LoadReport, *, check: bool, rejects: Path | None) -> str:
    from sewermap.plain import plain  # noqa: PLC0415 - heavy

    counts = report.files[["file", "table", "read", "loaded", "unchanged", "rejected", "withdrawn"]]
    parts = [table_text(common, plain(counts), what="files and sections")]
    parts += _listed(
        report.rejects, "rejected", "--rejects FILE writes all of them" if rejects is None else f"all of them: {rejects}"
    )
    parts += _listed(report.warnings, "warnings", "--format json lists all of them")
    if check:
        parts.append("Nothing was written (--check).")
    return "\n".join(parts)


def _listed(rows: pd.DataFrame, what: str, more: str) -> list[str]:
    if not len(rows):
        return []
    lines = [f"{what}:"] + [f"  {line}" for line in sentences(rows.head(TOLD))]
    if len(rows) > TOLD:
        lines.append(f"  … {len(rows) - TOLD} more; {more}")
    return ["\n".join(lines) + "\n"]


def sentences(rows: pd.DataFrame) -> list[str]:
    """Problems as people read them: file, row, field, value, reason."""
    from sewermap.plain import records  # noqa: PLC0415 - heavy

    told = []
    for row in records(rows):
        place = f"{row['file']}, row {row['row']}" if row["row"] is not None else str(row["file"])
        value = f" '{row['value']}'" if row["value"] not in (None, "") else ""
        told.append(f"{place}: {row['field']}{value}: {row['reason']}" if row["field"] else f"{place}:{value} {row['reason']}")
    return told


def tell_warnings(warnings: pd.DataFrame) -> None:
    """Warnings to standard error, the first of them."""
    for line in sentences(warnings.head(TOLD)):
        say(f"warning: {line}")
    if len(warnings) > TOLD:
        say(f"warning: … and {len(warnings) - TOLD} more")
