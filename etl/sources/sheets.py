"""Sheets: CSV in whatever encoding and with whatever separator people's programs save it."""

from collections import Counter
from pathlib import Path

import numpy as np
import pandas as pd

from etl.problems import empty_broken
from etl.sources.decode import text_of
from etl.sources.records import Records, records_of, separator_of
from etl.sources.rows import Rows
from sewermap.errors import SourceError
from sewermap.plain import as_written

SUFFIXES = (".csv", ".txt", ".tsv")
OLD_WORKBOOKS = (".xls", ".xlsb")


def read_sheet(path: Path, encoding: str | None = None, separator: str | None = None) -> Rows:
    """The rows of a CSV file: all cells are text without blanks around it, NaN where nothing stands.

    A row's number is the one that a spreadsheet shows for it: records are counted from 1, header and blank lines
    included, and a record with line breaks within quotation marks is one. A text that a CSV of ours keeps from being run as a
    formula by an apostrophe is read without it (see ``sewermap.plain``). Lines that are blank (or hold separators only)
    are no rows. Rows with too many or too few cells, with NUL or other bytes that are no text, or with a quotation mark
    left open are ``broken``; the rows after them are read. Raises SourceError for a file without a header, and for a
    column name that stands twice.
    """
    text = text_of(path, encoding)
    hint, text = _separator_hint(text)
    separator = separator or hint or separator_of(text)
    records = records_of(text, separator)
    if records is None:
        raise SourceError(f"{path.name} is empty; its first row must name the columns")
    cells = pd.DataFrame({name: _trimmed(column) for name, column in zip(_names(path, records), records.columns, strict=True)})
    return Rows(cells, records.row, _broken(records))


def _separator_hint(text: str) -> tuple[str | None, str]:
    """Some spreadsheets write ``sep=;`` as a first line, and do not count it as a row."""
    first, _, rest = text.partition("\n")
    first = first.strip()
    if len(first) == len("sep=;") and first.casefold().startswith("sep="):
        return first[-1], rest
    return None, text


def _names(path: Path, records: Records) -> list[str]:
    names = [name.strip() or f"column {at}" for at, name in enumerate(records.header, start=1)]
    twice = [name for name, count in Counter(names).items() if count > 1]
    if twice:
        raise SourceError(f"{path.name} has two columns named {' and two named '.join(twice)}; give each its own name")
    return names


def _trimmed(column: "pd.Series[str]") -> "pd.Series[str]":
    trimmed = column.str.strip()
    shielded = trimmed.str.startswith("'").to_numpy(bool)
    if shielded.any():
        trimmed = trimmed.where(~shielded, trimmed.where(shielded, "").map(as_written).str.strip())
    return trimmed.mask(trimmed == "")


def _broken(records: Records) -> pd.DataFrame:
    if not records.broken:
        return empty_broken()
    row, value, reason = zip(*records.broken, strict=True)
    table = {"row": np.array(row, dtype=np.int64), "field": "", "value": value, "reason": reason}
    return pd.DataFrame(table).astype({"field": "str", "value": "str", "reason": "str"})
