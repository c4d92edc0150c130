"""Which way a camera went: it follows from an end of the line, and must be said anywhere else."""

from etl.batch import Batch
from etl.problems import Finding, finding, warning

_OUT_OF_THE_LINE = {"building": "to building", "tie-in": "to main"}


def launch_direction(batch: Batch) -> list[Finding]:
    """Rejected: no direction, and a launch that is neither the building nor the tie-in. Warned of: a push out of the line."""
    if batch.name != "runs":
        return []
    launch, direction = batch.frame["launch"], batch.frame["direction"]
    unknown = launch.isna() & batch.frame["launch_measure_m"].isna()
    silent = direction.isna() & batch.cells["direction"].isna() & ~unknown
    out = launch.map(_OUT_OF_THE_LINE).eq(direction) & batch.frame["launch_measure_m"].isna()
    return [
        finding(silent, "direction", "say direction, to main or to building: the launch is at neither end of the line"),
        warning(out, "direction", "from there the camera would leave the line at once"),
    ]
