"""Where a push of the camera started and ended, and readings outside of that."""

from etl.batch import Batch
from etl.known import looked_up
from etl.problems import Finding, finding, warning

SLACK_M = 0.1
"""A reading so little past the end of its push is within what people round."""

_EXACT_M = 1e-9


def end_after_launch(batch: Batch) -> list[Finding]:
    """Rejected: a run whose counter showed less at its end than at its launch."""
    if batch.name != "runs":
        return []
    back = batch.frame["end_reading_m"] < batch.frame["launch_reading_m"] - _EXACT_M
    return [finding(back, "end_reading", "the push ended at a smaller reading than it was launched at")]


def reading_within_run(batch: Batch) -> list[Finding]:
    """Warned of: a reading past the end of its run by more than 0.1 m, or before its launch."""
    if batch.name != "observations":
        return []
    run = batch.frame["run"]
    end, start = (looked_up(batch.known.runs, run, column) for column in ("end_reading_m", "launch_reading_m"))
    findings = []
    for field in ("reading", "to_reading"):
        metres = batch.frame[f"{field}_m"]
        findings.append(warning(metres > end + SLACK_M, field, "lies past the end_reading of its run"))
        findings.append(warning(metres < start - _EXACT_M, field, "lies before the launch_reading of its run"))
    return findings
