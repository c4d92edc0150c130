"""What comes out of reading all files of a SOURCES.toml, before anything is written."""

from collections.abc import Mapping
from dataclasses import dataclass

import pandas as pd


@dataclass(frozen=True)
class Gathered:
    """Good rows by section, and an account of all others.

    ``tables``: for each section that was read its good rows, with the columns of its table (but those the store adds) and
    source_file (from the folder of the SOURCES.toml) and source_row; equal rows are all there. ``files``: file, table,
    sha256, read (records). ``rejects`` and ``warnings``: file, table, row, field, value, reason, one line a problem.
    ``rules``: the text of each rule file.
    """

    tables: Mapping[str, pd.DataFrame]
    files: pd.DataFrame
    rejects: pd.DataFrame
    warnings: pd.DataFrame
    rules: Mapping[str, str]
