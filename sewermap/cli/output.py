"""Printing answers: as a table for people, as CSV, JSON or GeoJSON for programs."""

from __future__ import annotations

import json
import os
import sys
import textwrap
from typing import TYPE_CHECKING, Any

import click
from rich.console import Console
from rich.table import Table

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    import geopandas as gpd
    import pandas as pd

    from sewermap.cli.options import Common

ROWS_SHOWN = 40
NUMBERS = dict.fromkeys(
    (
        "measure_m",
        "sigma_m",
        "within_m",
        "to_measure_m",
        "from_measure_m",
        "x",
        "y",
        "side_probability",
        "per_100_m",
        "repeat_rate",
        "never_scoped",
    ),
    2,
)


def say(text: str) -> None:
    """Something that is not the answer: to standard error."""
    click.echo(text, err=True)


def emit_rows(common: Common, rows: gpd.GeoDataFrame | pd.DataFrame, shown: Sequence[str], *, what: str) -> None:
    """Print a table of rows. ``shown``: the columns of the table for people; programs get all of them."""
    import geopandas as gpd  # noqa: PLC0415 - heavy

    from sewermap.answers.export import geojson  # noqa: PLC0415
    from sewermap.plain import csv_text, plain, records  # noqa: PLC0415

    if common.format == "geojson":
        if not isinstance(rows, gpd.GeoDataFrame):
            raise click.UsageError(f"{what} have no shapes here; ask for table, csv or json.")
        _write(common, geojson(rows))
    elif common.format == "json":
        _write(common, as_json(records(rows)))
    elif common.format == "csv":
        _write(common, csv_text(rows))
    else:
        told = _with_place(plain(rows)) if "place" in shown else plain(rows)
        table = _table(told[list(shown)], to_terminal=_on_terminal(common), shortened=_on_terminal(common), what=what)
        _write(common, table + "".join(f"{caution}\n" for caution in _cautions(rows)))
        return
    for caution in _cautions(rows):
        say(caution)


def _cautions(rows: pd.DataFrame) -> list[str]:
    """What must be said of the rows, each sentence once: beside the answer where that is for programs, else in it."""
    return sorted(rows["caution"].dropna().unique()) if "caution" in rows else []


def as_json(value: Any) -> str:
    """JSON text with one row a line in lists."""
    if isinstance(value, list):
        rows = ",\n".join(json.dumps(row, ensure_ascii=False, allow_nan=False) for row in value)
        return f"[\n{rows}\n]\n" if value else "[]\n"
    return json.dumps(value, ensure_ascii=False, indent=2, allow_nan=False) + "\n"


def emit_text(common: Common, text: str) -> None:
    """Print an answer that is text already."""
    _write(common, text if text.endswith("\n") else text + "\n")


def table_text(common: Common, rows: pd.DataFrame, *, what: str) -> str:
    """All rows of plain values as a table with a last line that counts them; on a terminal as wide as that."""
    return _table(rows, to_terminal=_on_terminal(common), shortened=False, what=what)


def _on_terminal(common: Common) -> bool:
    return common.output is None and sys.stdout.isatty()


def _table(rows: pd.DataFrame, *, to_terminal: bool, shortened: bool, what: str) -> str:
    shown = rows.head(ROWS_SHOWN) if shortened else rows
    console = Console(width=None if to_terminal else 400, force_terminal=to_terminal, highlight=False, markup=False, emoji=False)
    left_out = _too_wide(shown, console.width) if to_terminal else []
    rows, shown = rows.drop(columns=left_out), shown.drop(columns=left_out)
    table = Table(box=None, pad_edge=False, header_style="bold")
    for name in rows.columns:
        is_number = name in NUMBERS or (len(rows) > 0 and rows[name].map(lambda value: isinstance(value, int | float)).any())
        # On a terminal a heading takes a line a word, so that it is no wider than what stands below it.
        title = heading(name).replace(" ", "\n") if to_terminal else heading(name)
        table.add_column(title, justify="right" if is_number else "left", overflow="fold")
    for row in shown.itertuples(index=False):
        table.add_row(*(_cell(name, value) for name, value in zip(rows.columns, row, strict=True)))
    with console.capture() as capture:
        if len(rows):
            console.print(table)
    lines = "\n".join(line.rstrip() for line in capture.get().splitlines())
    count = f"{len(rows)} {what}"
    if len(shown) < len(rows):
        count = f"{len(shown)} of {count}; all of them: --format csv -o FILE"
    if left_out:
        names = ", ".join(name.removesuffix("_m").replace("_", " ") for name in left_out)
        count += "\n" + textwrap.fill(f"too narrow for {names}: take a wider window, or --format csv", console.width)
    return f"{lines}\n\n{count}\n" if lines else f"{count}\n"


def _too_wide(rows: pd.DataFrame, width: int) -> list[str]:
    """The last columns, as many as must go so that no word of the others is broken to fit the width."""
    ends = 0
    for at, name in enumerate(rows.columns):
        words = max(len(word) for word in heading(name).split())
        ends += max([words, *(len(_cell(name, value)) for value in rows[name])]) + (2 if at else 0)
        if ends > width and at > 1:
            return list(rows.columns[at:])
    return []


def _with_place(rows: pd.DataFrame) -> pd.DataFrame:
    """Rows with ``place``: house and street as one reads them."""
    import pandas as pd  # noqa: PLC0415 - heavy

    address, street = rows["address"].fillna("").astype(str), rows["street"].fillna("").astype(str)
    told = [house if way.casefold() in house.casefold() else f"{house} {way}" for house, way in zip(address, street, strict=True)]
    return rows.assign(place=pd.Series([place.strip() or None for place in told], index=rows.index, dtype=object))


def heading(name: str) -> str:
    """A column's name as people read it: ``measure_m`` is ``measure, m``."""
    if name == "per_100_m":
        return "per 100 m"
    words = name.removesuffix("_m").replace("_", " ")
    return f"{words}, m" if name.endswith("_m") else words


def _cell(name: str, value: Any) -> str:
    if value is None:
        return "–"
    if isinstance(value, bool):
        return "yes" if value else "–"
    if name in NUMBERS and isinstance(value, float):
        return f"{value:.{NUMBERS[name]}f}"
    return f"{value:g}" if isinstance(value, float) else str(value)


def is_database(common: Common, out: Path) -> bool:
    """Whether a file to be written is the very database that is asked."""
    return out.exists() and os.path.exists(common.db) and out.samefile(common.db)  # noqa: PTH110 - an address is no path


def _write(common: Common, text: str) -> None:
    if common.output is None:
        click.echo(text, nl=False)
        return
    from sewermap.errors import SewermapError  # noqa: PLC0415

    if is_database(common, common.output):
        raise SewermapError(f"'{common.output}' is the database itself: name another file for the answer")
    try:
        common.output.write_text(text, encoding="utf-8", newline="\n")
    except OSError as error:
        raise SewermapError(f"'{common.output}' cannot be written: {error.strerror}") from error
