"""What is reported of a run's fixes, in plain words."""

import numpy as np

from sewermap.line.counter_conflicts import Witnesses
from sewermap.line.counter_curves import Curves
from sewermap.line.counter_model import Fixes, Flags, Floats, Runs, Texts, Verdict, Whole


def out_of_order(witnesses: Witnesses, runs: Runs, fixes: Fixes) -> Flags:
    """Fixes that, with a neighbour of their run, go back along the line while the cable goes on.

    Fixes at the same reading have no order. The answer stands in the order of the fixes as given.
    """
    rows = _doubtful(witnesses)
    run, paid_m, given = witnesses.run[rows], witnesses.fixes.paid_m[rows], witnesses.order[rows]
    along_m = runs.direction[run] * fixes.measure_m[given]
    by_place = np.lexsort((along_m, paid_m, run))
    run, paid_m, along_m, given = run[by_place], paid_m[by_place], along_m[by_place], given[by_place]
    back = (run[1:] == run[:-1]) & (along_m[1:] < along_m[:-1]) & (paid_m[1:] > paid_m[:-1])
    found = np.zeros(len(fixes), bool)
    found[given[1:][back]] = True
    found[given[:-1][back]] = True
    return found


def _doubtful(witnesses: Witnesses) -> Whole:
    """The fixes of runs in which a neighbour is at the same reading, or off by more than the cable between the two.

    Only these can be out of order; they are few.
    """
    run, fixes = witnesses.run, witnesses.fixes
    if not len(run):
        return np.zeros(0, np.intp)
    gap_m, off_m = np.diff(fixes.paid_m), np.diff(fixes.off_m)
    doubtful = (np.abs(off_m) >= gap_m) & (run[1:] == run[:-1])
    among = np.zeros(len(fixes.count), bool)
    among[run[1:][doubtful]] = True
    return np.flatnonzero(among[run])


def notes_of(verdict: Verdict, runs: Runs, fixes: Fixes, curves: Curves) -> Texts:
    """One text per run: what of its launch and fixes was not believed, or is odd; "" where nothing is."""
    shifted = np.flatnonzero(verdict.launch_shifted)
    launch_m, sigma_m = np.empty(len(shifted)), np.empty(len(shifted))
    curves.at(shifted, np.zeros(len(shifted)), launch_m, sigma_m)
    off_m = np.abs(launch_m - runs.launch_measure_m[shifted])
    conflict = np.flatnonzero(verdict.conflict)
    lone = np.flatnonzero(verdict.conflict[fixes.run])
    lone = lone[~verdict.set_aside[lone] & np.isfinite(verdict.residual[lone])]
    by_run = lone[np.argsort(fixes.run[lone], kind="stable")]
    aside = np.flatnonzero(verdict.set_aside)
    aside = aside[np.lexsort((fixes.measure_m[aside], fixes.paid_m[aside], fixes.run[aside]))]
    notes = np.full(len(runs), "", object)
    _add(notes, shifted, "launch shifted by {:.1f} m, its measure was not used", off_m)
    _add(
        notes,
        conflict,
        "its one fix is {:.1f} m ({:.1f} sigma) from where the launch puts it: sigma widened",
        np.abs(verdict.residual_m[by_run]),
        np.abs(verdict.residual[by_run]),
    )
    _add(
        notes,
        fixes.run[aside],
        "the fix at {:.1f} m of cable was set aside: it is {:.1f} m ({:.1f} sigma) from where the rest puts it",
        fixes.paid_m[aside],
        np.abs(verdict.residual_m[aside]),
        np.abs(verdict.residual[aside]),
    )
    _add(notes, np.unique(fixes.run[verdict.out_of_order]), "fixes contradict the order of the line")
    return notes


def _add(notes: Texts, run: Whole, words: str, *figures: Floats) -> None:
    """One more sentence for each of a few runs."""
    texts = [words.format(*row) for row in zip(*figures, strict=True)] if figures else [words] * len(run)
    for at, text in zip(run, texts, strict=True):
        notes[at] = f"{notes[at]}; {text}" if notes[at] else text
