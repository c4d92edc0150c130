"""Days that are possible but odd: before the line lay there, or not yet come."""

import numpy as np

from etl.batch import Batch
from etl.known import looked_up
from etl.problems import Finding, warning

_DONE = {"runs": "ran_on", "works": "done_on"}


def before_installed(batch: Batch) -> list[Finding]:
    """Warned of: a run or work dated before its lateral was installed."""
    if batch.name not in _DONE:
        return []
    installed = looked_up(batch.known.laterals, batch.frame["lateral"], "installed_on")
    day = _DONE[batch.name]
    early = batch.frame[day] < installed
    return [warning(early, day, "lies before the day on which its lateral was installed")]


def not_yet(batch: Batch) -> list[Finding]:
    """Warned of: a run, a work or an installation in the future; a warranty may begin there."""
    day = {**_DONE, "laterals": "installed_on"}.get(batch.name)
    if day is None:
        return []
    future = batch.frame[day].to_numpy() > np.datetime64(batch.today)
    return [warning(future, day, "lies in the future")]
