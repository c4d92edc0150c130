"""A row lacks a cell that it is nothing without."""

import pandas as pd

from etl.batch import Batch
from etl.catalogue import names_lateral
from etl.problems import Finding, finding

_IN_A_NOTE = {"reading", "kind"}


def needed_cells(batch: Batch) -> list[Finding]:
    """Rejected: a needed field is empty, after words were replaced and defaults filled in.

    Where a lateral is named by its address, either of the two will do.
    """
    return [
        finding(_lacking(batch, field.name, field.column), field.name, f"{_said(batch, field.name)} is needed, and it is empty")
        for field in batch.fields
        if field.needed
    ]


def _lacking(batch: Batch, name: str, column: str) -> "pd.Series[bool]":
    """Empty in the file too: a cell that could not be read is rejected for that, and once is enough."""
    lacking = batch.frame[column].isna() & batch.cells[name].isna()
    if name == "lateral" and names_lateral(batch.name):
        lacking &= batch.cells["address"].isna()
    if batch.name == "observations" and name in _IN_A_NOTE:
        lacking &= batch.cells["note"].isna()  # what is wrong with the note is told of the note
    return lacking


def _said(batch: Batch, name: str) -> str:
    return "lateral (or an address)" if name == "lateral" and names_lateral(batch.name) else name
