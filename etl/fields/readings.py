"""Cells that hold a length: metres unless they say otherwise; what a counter showed is in the unit of its run."""

import numpy as np
import pandas as pd

from etl.batch import Batch
from etl.catalogue import LENGTHS
from etl.known import looked_up
from etl.problems import Finding, finding
from sewermap.units import lengths_m

_NO_UNIT = "a number alone is no diameter; write 100 mm, or 4 in (`[laterals.values.diameter]` can say it for each number)"


def lengths(batch: Batch, cells: pd.DataFrame) -> tuple[pd.DataFrame, list[Finding]]:
    """The lengths of a batch that no counter showed, in metres: columns in ``_m``; a diameter also as it is written.

    A number alone is in the section's unit, else in metres; a diameter needs a unit.
    """
    columns: dict[str, object] = {}
    findings = []
    for field in batch.fields:
        if field.reader == "counter" or field.reader not in LENGTHS:
            continue
        unit = batch.section.unit if field.reader == "diameter" else batch.section.unit or "m"
        values, reasons = lengths_m(cells[field.name], unit)
        if field.reader == "diameter":
            columns[field.name] = cells[field.name]
            reasons = reasons.mask(cells[field.name].str.fullmatch(r"[\d.,]+").fillna(value=False) & reasons.notna(), _NO_UNIT)
        columns[field.column] = values
        findings.append(finding(reasons.notna(), field.name, reasons))
    return pd.DataFrame(columns, index=cells.index), findings


def counters(batch: Batch, cells: pd.DataFrame) -> tuple[pd.DataFrame, list[Finding]]:
    """What counters showed: the text as written, and metres. The unit is that of the row's run (column ``unit``).

    Where the unit itself is unknown the row is rejected for that, and nothing is said of the reading. A counter that is
    not said to have started elsewhere started at 0, and a lead-in that is not given is none.
    """
    columns: dict[str, object] = {}
    findings = []
    if not any(field.reader == "counter" for field in batch.fields):
        return pd.DataFrame(index=cells.index), []
    unit, stranded = _units(batch)
    for field in batch.fields:
        if field.reader != "counter":
            continue
        values, reasons = lengths_m(cells[field.name], unit)
        values = np.where(stranded, np.nan, values)
        if field.name in {"launch_reading", "lead_in"}:
            values = np.where(cells[field.name].isna(), 0.0, values)
        columns[field.name] = cells[field.name]
        columns[field.column] = values
        findings.append(finding(reasons.notna() & ~stranded, field.name, reasons))
    return pd.DataFrame(columns, index=cells.index), findings


def _units(batch: Batch) -> tuple[pd.Series, pd.Series]:
    """The unit of each row, and the rows whose unit is not to be known because of another fault."""
    if batch.name == "observations":
        unit = looked_up(batch.known.runs, batch.frame["run"], "unit")
        return unit, unit.isna()
    unit = batch.frame["unit"]
    if batch.name in {"located", "pictures"}:
        # Its reading is what the counter of its run showed.
        unit = unit.fillna(looked_up(batch.known.runs, batch.frame["run"], "unit").astype(unit.dtype))
    if batch.name == "pictures":
        # Its run may be found when pictures are joined to observations; a number alone is then in the unit of that run.
        return unit, unit.isna() & batch.cells["reading"].str.fullmatch(r"\d+(\.\d+)?").fillna(value=False)
    return unit, unit.isna() & (batch.written["unit"].notna() | (batch.name == "runs"))
