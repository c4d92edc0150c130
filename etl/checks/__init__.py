"""Rules that rows must keep, one file a rule, in the order in which they are told.

Each is a function over the columns of a batch that gives findings. Reading a cell, and finding the lateral or run that it
names, are the stage ``fields``, which gives findings of its own.
"""

from collections.abc import Callable

from etl.batch import Batch
from etl.checks.angles import angles
from etl.checks.both_coordinates import both_coordinates, referent_has_place
from etl.checks.day_makes_sense import before_installed, not_yet
from etl.checks.key_once import key_once
from etl.checks.launch_direction import launch_direction
from etl.checks.length_range import lateral_length, length_range
from etl.checks.needed_cells import needed_cells
from etl.checks.reading_range import reading_range
from etl.checks.run_ends import end_after_launch, reading_within_run
from etl.checks.stretch_order import stretch_order
from etl.problems import Finding

Check = Callable[[Batch], list[Finding]]

CHECKS: tuple[Check, ...] = (
    needed_cells,
    key_once,
    reading_range,
    length_range,
    lateral_length,
    end_after_launch,
    reading_within_run,
    stretch_order,
    launch_direction,
    both_coordinates,
    referent_has_place,
    angles,
    before_installed,
    not_yet,
)


def checked(batch: Batch) -> list[Finding]:
    """The findings of all checks on one batch."""
    return [found for check in CHECKS for found in check(batch)]
