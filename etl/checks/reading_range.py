"""What a counter can show: no less than nothing, no more than its cable is long."""

from etl.batch import Batch
from etl.problems import Finding, finding

LONGEST_M = 300.0
"""No push camera of the trade carries more cable (common practice, no source); a longer reading is a slip of the pen."""


def reading_range(batch: Batch) -> list[Finding]:
    """Rejected: a reading that is negative or over 300 m. Legs may be taped above ground: of them only a negative one."""
    if batch.name == "legs":
        return _of_legs(batch)
    findings = []
    for field in batch.fields:
        if field.reader != "counter":
            continue
        metres = batch.frame[field.column]
        findings.append(finding(metres < 0, field.name, "a counter does not show less than nothing"))
        too_far = f"over {LONGEST_M:.0f} m; no camera goes so far (is the unit right?)"
        findings.append(finding(metres > LONGEST_M, field.name, too_far))
    return findings


def _of_legs(batch: Batch) -> list[Finding]:
    return [finding(batch.frame["reading_m"] < 0, "reading", "a leg does not end before the line begins")]
