"""The columns of a batch that can be read cell by cell: texts, days, numbers and words of closed lists."""

import numpy as np
import pandas as pd

from etl.batch import Batch
from etl.catalogue import LENGTHS
from etl.fields.dates import Days, days
from etl.fields.numbers import numbers
from etl.fields.words import by_unique, reader_of
from etl.problems import Finding, finding

_NUMBERS = {"clock", "percent", "grade", "number", "whole"}
_LIKE_A_RULE = r"^\s*P\s*\d|\bafter\b"
_OR_A_RULE = "; by when notice must be given may also stand as a rule: P30D after end, P10D after seen"


def plain_columns(batch: Batch, cells: pd.DataFrame) -> tuple[pd.DataFrame, list[Finding]]:
    """All columns but lengths; a cell that cannot be read is empty, and a finding rejects its row.

    ``cells`` has all fields of the section as text. Days are datetime64[s], numbers float64, the rest text.
    """
    columns: dict[str, object] = {}
    findings = []
    for field in batch.fields:
        texts = cells[field.name]
        if field.reader in LENGTHS:
            continue
        if field.reader == "text":
            columns[field.name] = texts
            continue
        values, reasons = _read(batch, field.reader, texts)
        columns[field.name] = values
        findings.append(finding(reasons.notna(), field.name, reasons))
    return pd.DataFrame(columns, index=cells.index), findings


def _read(batch: Batch, reader: str, texts: "pd.Series[str]") -> tuple[object, "pd.Series[str]"]:
    if reader == "day":
        return _days_by_file(batch, texts)
    if reader == "notice":
        return _notices(batch, texts)
    if reader in _NUMBERS:
        return numbers(texts, reader)
    return by_unique(texts, reader_of(reader, batch.vocabulary))


def _notices(batch: Batch, texts: "pd.Series[str]") -> tuple["pd.Series[str]", "pd.Series[str]"]:
    """By when notice must be given, as the history keeps it: a day as YYYY-MM-DD, or a rule such as ``P30D after end``."""
    is_rule = texts.str.contains(_LIKE_A_RULE, regex=True, case=False, na=False)
    rules, no_rule = by_unique(texts.where(is_rule), reader_of("notice", batch.vocabulary))
    values, no_day = _days_by_file(batch, texts.mask(is_rule))
    days = pd.Series(values, index=texts.index).dt.strftime("%Y-%m-%d").astype("str")
    return rules.fillna(days), no_rule.fillna(no_day + _OR_A_RULE)


def _days_by_file(batch: Batch, texts: "pd.Series[str]") -> tuple[Days, "pd.Series[str]"]:
    """Each file was written by one program, so what one of its days proves of the order holds for its column alone."""
    values = np.full(len(texts), np.datetime64("NaT"), dtype="datetime64[s]")
    reasons = np.full(len(texts), np.nan, dtype=object)
    for at in batch.frame.groupby("source_file", sort=False).indices.values():
        values[at], of_file = days(texts.iloc[at], batch.section.dates)
        reasons[at] = of_file.to_numpy(dtype=object)
    return values, pd.Series(reasons, index=texts.index, dtype="str")
