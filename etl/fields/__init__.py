"""Their columns and words to ours. A cell that cannot be read is a finding, never an exception."""

from dataclasses import replace

import numpy as np
import pandas as pd

from etl.batch import Batch
from etl.catalogue import NO_LINE_NEEDED, SHAPES
from etl.fields.columns import plain_columns
from etl.fields.names import launches, resolved
from etl.fields.notes import noted
from etl.fields.readings import counters, lengths
from etl.fields.shapes import shaped
from etl.problems import Finding

__all__ = ["read_fields"]


def read_fields(batch: Batch) -> tuple[Batch, list[Finding]]:
    """The batch with its ``frame`` filled from its ``cells``: typed columns, names resolved, geometries in form.

    The order matters: a reading's unit is known by its run, and a launch by its lateral.
    """
    batch, findings = noted(batch)
    plain, more = plain_columns(batch, batch.cells)
    findings += more
    metres, more = lengths(batch, batch.cells)
    findings += more
    frame = pd.concat([batch.frame, plain, metres], axis=1)
    if batch.name == "observations":
        frame["kind_as_written"] = batch.written["kind"].fillna(batch.cells["kind"])
    frame, more = resolved(batch, frame)
    findings += more
    if batch.name == "runs":
        frame, more = launches(batch, frame)
        findings += more
    batch = replace(batch, frame=frame)
    readings, more = counters(batch, batch.cells)
    findings += more
    frame = pd.concat([frame, readings], axis=1)
    if batch.name in SHAPES:
        geometry, more = shaped(batch)
        findings += more
        column = np.empty(len(frame), dtype=object)
        column[:] = geometry
        frame["geometry"] = column
    if batch.name == NO_LINE_NEEDED:
        frame["method"] = pd.Series("drawn", index=frame.index, dtype="str").mask(frame["lineless"])
    return replace(batch, frame=frame), findings
