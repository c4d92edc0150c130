"""How probable is each digit of a counter, given that the text is made like a counter?

A form says how the text is made: digits in front, a point, so many digits behind; or feet, a prime, inches. Over all the ways in
which a text of that form can lie along the columns of the crop, probabilities are summed (connectionist temporal classification:
Graves and others 2006, sections 3 and 4: the forward and backward variables; here over a small graph in place of one labelling).
Signs before and after the counter (a word, a unit) may be any but digits, points and a minus.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from etl.counters.signs import DIGITS, POINT, PRIME, SIGNS, Columns

_FRONT = 5


@dataclass(frozen=True)
class Form:
    """The slots of a text, left to right, and how they follow one another.

    ``allowed`` (S, SIGNS): what may stand in each slot. ``before`` (S, S): 1 where the second may come directly before the first.
    ``first``, ``last`` (S,): where a text may begin and end. ``worth`` (S,): what a digit of the slot counts, 0 for no digit.
    ``step``: the smallest change the display can show.
    """

    name: str
    allowed: NDArray[np.float64]
    before: NDArray[np.float64]
    first: NDArray[np.float64]
    last: NDArray[np.float64]
    worth: NDArray[np.float64]
    step: float


@dataclass(frozen=True)
class Fit:
    """How a form fits N crops: ``log_fit`` (N,) the logarithm of the probability that the text is of the form, and given that,
    ``digits`` (N, S, 10): the probability of each digit in each slot; what is missing to 1 is that the slot is empty.
    """

    log_fit: NDArray[np.float64]
    digits: NDArray[np.float64]


def _form(name: str, kinds: str, worth: list[float], skips: tuple[tuple[int, int], ...] = ()) -> Form:
    """``kinds``: a letter a slot: f a digit in front, which the text may begin with; d a digit; p the point; q the prime."""
    count = len(kinds)
    allowed, before = np.zeros((count, SIGNS)), np.eye(count, k=-1)
    for slot, kind in enumerate(kinds):
        allowed[slot, {"p": [POINT], "q": [PRIME]}.get(kind, list(range(DIGITS)))] = 1
    for later, earlier in skips:
        before[later, earlier] = 1
    first = np.array([float(kind == "f") for kind in kinds])
    last = np.zeros(count)
    last[-1] = 1
    value = np.array(worth)
    return Form(name, allowed, before, first, last, value, float(value[value > 0].min()))


def _decimal(decimals: int) -> Form:
    front = [10.0 ** (_FRONT - 1 - slot) for slot in range(_FRONT)]
    behind = [10.0 ** -(1 + slot) for slot in range(decimals)]
    kinds = "f" * _FRONT + ("p" + "d" * decimals if decimals else "")
    return _form(f".{decimals}", kinds, [*front, *([0.0, *behind] if decimals else [])])


WHOLE, FEET_AND_INCHES = ".0", "feet and inches"
FORMS = {
    **{f".{decimals}": _decimal(decimals) for decimals in range(4)},
    FEET_AND_INCHES: _form(FEET_AND_INCHES, "ffffqdd", [1000, 100, 10, 1, 0, 10 / 12, 1 / 12], skips=((6, 4),)),
}
"""The forms that counters are known to have, by name."""


def fit(columns: Columns, form: Form) -> Fit:
    """How the form fits each of the crops, and which digits it then has."""
    flows, logs, ended = _forwards(columns, form)
    digits = _backwards(columns, form, flows, logs, ended)
    return Fit(ended, digits)


def _emitted(columns: Columns, form: Form, step: int) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Of one column: (N, S, K) signs in slots, (N, S) nothing new after a slot, (N,) before the text begins."""
    nothing, around = columns.nothing[:, step], columns.nothing[:, step] + columns.other[:, step]
    rest = np.where(form.last, around[:, None], nothing[:, None])
    return columns.signs[:, step, None, :] * form.allowed, rest, around


def _forwards(columns: Columns, form: Form) -> tuple[list[NDArray[np.float64]], NDArray[np.float64], NDArray[np.float64]]:
    """What flows into each sign of each slot at each column (scaled), the scales' logarithms, and that of the whole."""
    crops, slots = columns.nothing.shape[0], len(form.first)
    held, rested, before = np.zeros((crops, slots, SIGNS)), np.zeros((crops, slots)), np.ones(crops)
    flows, logs, log = [], [], np.zeros(crops)
    for step in range(len(columns)):
        signs, rest, around = _emitted(columns, form, step)
        total = held.sum(axis=2)
        inflow = ((rested + total) @ form.before.T)[:, :, None] - form.before @ held + (form.first * before[:, None])[:, :, None]
        inflow = np.maximum(inflow, 0)
        flows.append(inflow)
        logs.append(log)
        held, rested, before = (held + inflow) * signs, (rested + total) * rest, before * around
        scale = held.sum(axis=(1, 2)) + rested.sum(axis=1) + before
        held, rested, before = held / scale[:, None, None], rested / scale[:, None], before / scale
        log = log + np.log(scale)
    ended = ((held.sum(axis=2) + rested) * form.last).sum(axis=1)
    return flows, np.array(logs), log + np.log(np.maximum(ended, 1e-300))


def _backwards(
    columns: Columns, form: Form, flows: list[NDArray[np.float64]], logs: NDArray[np.float64], ended: NDArray[np.float64]
) -> NDArray[np.float64]:
    """The probability of each digit in each slot: what flows in, times what can still follow, summed over the columns."""
    crops = len(ended)
    held = np.broadcast_to(form.last[None, :, None], (crops, len(form.last), SIGNS))
    rested, log = np.broadcast_to(form.last, (crops, len(form.last))), np.zeros(crops)
    digits = np.zeros((crops, len(form.last), DIGITS))
    for step in reversed(range(len(columns))):
        signs, rest, _ = _emitted(columns, form, step)
        onward, resting = held * signs, rested * rest
        weight = np.exp(np.minimum(logs[step] + log - ended, 600))
        digits += (flows[step] * onward)[:, :, :DIGITS] * weight[:, None, None]
        entered = onward.sum(axis=2) @ form.before
        held = onward + (resting + entered)[:, :, None] - form.before.T @ onward
        rested = resting + entered
        scale = np.maximum(held.max(axis=(1, 2)), 1e-300)
        held, rested, log = held / scale[:, None, None], rested / scale[:, None], log + np.log(scale)
    return digits
