"""Angles of the legs of a traverse, in degrees."""

from etl.batch import Batch
from etl.problems import Finding, finding

_LIMITS = {"angle": 180.0, "bearing": 360.0}


def angles(batch: Batch) -> list[Finding]:
    """Rejected: a bend of more than 180°, a bearing outside 0° to 360°."""
    if batch.name != "legs":
        return []
    return [
        finding((batch.frame[field] < 0) | (batch.frame[field] > most), field, f"must lie between 0 and {most:.0f} degrees")
        for field, most in _LIMITS.items()
    ]
