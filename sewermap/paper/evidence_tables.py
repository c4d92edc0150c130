"""The tables of an evidence folder as CSV that a spreadsheet may open: see ``sewermap.plain``."""

import pandas as pd

from sewermap.plain import csv_text

HINT = (
    "In the .csv files a text that a spreadsheet might run as a formula has an apostrophe (') in front. Take one apostrophe off "
    "any text that begins with one: that is what was written."
)


def csv_bytes(rows: pd.DataFrame) -> bytes:
    """Rows as CSV in UTF-8, days as YYYY-MM-DD, empty where missing. Lines end in CRLF (RFC 4180)."""
    return csv_text(rows, "\r\n").encode()
