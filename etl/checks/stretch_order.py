"""Stretches whose end is said before their start: the order does not matter, but somebody may have slipped."""

from etl.batch import Batch
from etl.problems import Finding, warning

_STRETCHES = (("reading_m", "to_reading_m", "to_reading"), ("from_measure_m", "to_measure_m", "to_measure"))


def stretch_order(batch: Batch) -> list[Finding]:
    """Warned of: a stretch that ends before it starts; it is taken as the same stretch the other way."""
    return [
        warning(batch.frame[end] < batch.frame[start], field, "lies before the start of its stretch; taken as the same stretch")
        for start, end, field in _STRETCHES
        if batch.has(start, end)
    ]
