"""All runs of one lateral solved together: every reading's measure by what the runs saw in common.

A counter that was not zeroed, or a launch a step further in, shifts a whole run, and nobody writes it down. So launch, scale and
slip of every run of a lateral, the errors of its known points, and the places of the things that several runs saw are one
Gaussian problem (see ``register_kernel``), in which every fix is used once.

*The map's error.* That part of a drawn line's error which moves the whole line (``map_shared`` of its variance) is common to all
that is measured along it: it cannot be told from within, and is added at the end. The rest is each known point's own; runs that
pass or start at one point share it.
"""

from dataclasses import dataclass

import numpy as np

from sewermap.line.counter_model import CounterModel
from sewermap.line.register_kernel import Figures, Floats, Town, Whole
from sewermap.line.register_relating import Relation, relate_all, solve_all

__all__ = ["Figures", "Relation", "Solution", "Town", "figures_of", "relate", "relation_of", "solve"]


@dataclass(frozen=True)
class Solution:
    """Per reading: ``measure_m``, and ``variance`` (m²) without the shared part of the map's."""

    measure_m: Floats
    variance: Floats


def figures_of(model: CounterModel, noting_m: float) -> Figures:
    """The counter's figures for the solution; ``noting_m``: deviation of noting the place of a thing, metres."""
    return Figures(model.scale**2, model.slip_m, noting_m**2)


def relation_of(town: Town) -> Relation:
    """An empty relation, to be filled by ``relate``."""
    laterals, rows = len(town.run_first) - 1, len(town.run)
    return Relation(
        at_m=np.full(rows, np.nan),
        rest=np.full(rows, np.nan),
        things=np.zeros(laterals, np.int64),
        thing=np.full(rows, -1),
        thing_m=np.full(rows, np.nan),
        thing_rest=np.full(rows, np.nan),
        centre_m=np.zeros(laterals),
        spread=np.zeros((laterals, 3)),
    )


def relate(
    town: Town, where: tuple[Whole, Whole], thing: Whole, figures: Figures, relation: Relation, *, together: bool = True
) -> None:
    """How one run of a lateral lies against the things that its other runs saw, written into ``relation``.

    ``where``: laterals, and the run of each (row of the runs). ``thing`` per reading: a whole number common to the sightings of
    one thing of a lateral, −1 for none. Not ``together``: every run by itself, as if deviations were each reading's own.
    """
    relate_all(town, *where, thing, figures, relation, together)


def solve(town: Town, laterals: Whole, thing: Whole, figures: Figures) -> Solution:
    """All readings of these laterals, all runs together; NaN elsewhere."""
    solution = Solution(np.full(len(town.run), np.nan), np.full(len(town.run), np.nan))
    solve_all(town, laterals, thing, figures, solution.measure_m, solution.variance)
    return solution
