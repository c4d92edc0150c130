"""What the counter says in pictures of one camera, each read in several guises at the place where the counter stands.

Pictures of one camera help one another: its display always has as many digits behind the point, and one unit. What is said of
one picture is the mean over its guises of the probability of each digit.
"""

from collections import Counter
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from etl.counters.crops import Box, guises
from etl.counters.engine import Picture, Seen, engine
from etl.counters.forms import FORMS, WHOLE, Fit, fit
from etl.counters.signs import DIGITS, together
from etl.counters.texts import Length, length_in

HARD = "its counter is hard to read"
OTHER_FORM = "its counter looks other than in the other pictures"
OTHER_UNIT = "its counter shows another unit than in the other pictures"
BARE = "a whole number without a unit may be no counter"

_SURE = 0.9
"""How probable the least sure digit must be, on the mean of the guises."""
_FITS, _NOTHING = -4.0, -9.0
"""Fits (logarithms): below the first a reading is doubtful, below the second what stands there is no counter."""
_WORST = -15.0
_ALIKE, _CLEARLY = 3.0, 8.0
_SOFT = 4.0
_HIDDEN = 3.0
_SHARE_WITH_UNIT = 0.3
_SAME = 1e-3


@dataclass(frozen=True)
class Reading:
    """A counter that was read: the text, the reading in its unit, one sigma, and why it is doubtful (empty: it is not)."""

    counter: str
    reading: float
    unit: str | None
    sigma: float
    doubt: str


def seen_at(picture: Picture, box: Box) -> list[Seen]:
    """What is seen in the box of a picture, in each of its guises."""
    return engine().read(guises(picture, box))


def readings(seen: list[list[Seen]]) -> list[Reading | None]:
    """The counter in each picture of one camera from what was seen in it (as many guises in each); None where there is none."""
    if not seen:
        return []
    shape = (len(seen), len(seen[0]))
    columns = together([one.columns for guise in seen for one in guise])
    fits = {name: fit(columns, form) for name, form in FORMS.items()}
    scores = pd.DataFrame({name: _score(name, one.log_fit.reshape(shape)) for name, one in fits.items()})
    lengths = [[length_in(one.text) for one in guise] for guise in seen]
    forms, doubts = _forms(scores)
    usual_unit = _usual_unit(lengths)
    found: list[Reading | None] = []
    for number, form in enumerate(forms):
        if form is None or not _may_be_one(form, seen[number], lengths[number]):
            found.append(None)
            continue
        here = slice(number * shape[1], (number + 1) * shape[1])
        value, spread, sure = _value(Fit(fits[form].log_fit[here], fits[form].digits[here]), form)
        unit, other_unit = _unit(lengths[number], usual_unit)
        bare = BARE if form == WHOLE and unit is None else ""
        doubt = doubts[number] or ("" if sure >= _SURE else HARD) or other_unit or bare
        minus = sum(one is not None and one.reading < 0 for one in lengths[number]) * 2 > shape[1]
        step = FORMS[form].step
        sigma = float(np.hypot(step / np.sqrt(12), spread if doubt else 0.0))
        found.append(Reading(_text(seen[number], lengths[number], value), -value if minus else value, unit, sigma, doubt))
    return found


def _may_be_one(form: str, seen: list[Seen], lengths: list[Length | None]) -> bool:
    """Is there anything to read? Something that looks like a length; of a display with a point or a prime, a digit at least."""
    return any(lengths) or (form != WHOLE and any(sign.isdigit() for one in seen for sign in one.text))


def _score(form: str, log_fit: NDArray[np.float64]) -> NDArray[np.float64]:
    """How a form fits each picture (rows), over its guises (columns): noise hides a point or a prime, and hardly makes one."""
    known = np.maximum(log_fit, _WORST)
    return np.asarray((known.max(axis=1) + known.mean(axis=1)) / 2 - (_HIDDEN if form == WHOLE else 0.0))


def _forms(scores: pd.DataFrame) -> tuple[list[str | None], list[str]]:
    """The form of each picture, None where nothing fits, and a doubt where it is not that of most."""
    usual = str(scores[scores.max(axis=1) > _NOTHING].sum().idxmax())
    own, best = scores.idxmax(axis=1), scores.max(axis=1)
    behind = best - scores[usual]
    form = own.mask(behind <= _CLEARLY, usual).where(best > _NOTHING)
    doubt = np.where(behind > _CLEARLY, OTHER_FORM, np.where((behind > _ALIKE) | (best < _FITS), HARD, ""))
    return [None if lost else str(name) for name, lost in zip(form, form.isna(), strict=True)], doubt.tolist()


def _value(found: Fit, form: str) -> tuple[float, float, float]:
    """The likeliest reading, one sigma of what else it could be, and how probable its least sure digit is.

    An empty slot in front is a nought. A guise that the form fits badly says little.
    """
    weight = np.exp(np.maximum(found.log_fit, _WORST) / _SOFT)
    chances = np.einsum("g,gsd->sd", weight / weight.sum(), found.digits)
    chances[:, 0] += np.clip(1 - chances.sum(axis=1), 0, 1)
    chances /= chances.sum(axis=1, keepdims=True)
    worth, digits = FORMS[form].worth, np.arange(DIGITS)
    best = chances.argmax(axis=1)
    mean = chances @ digits
    spread = np.sqrt(((chances @ digits**2 - mean**2) * worth**2).sum())
    sure = chances.max(axis=1)[worth > 0].min()
    return round(float((best * worth).sum()), 6), float(spread), float(sure)


def _usual_unit(lengths: list[list[Length | None]]) -> str | None:
    units = Counter(one.unit for guise in lengths for one in guise if one is not None)
    named = {unit: count for unit, count in units.items() if unit is not None}
    if sum(named.values()) < _SHARE_WITH_UNIT * units.total():
        return None
    return max(named, key=lambda unit: named[unit], default=None)


def _unit(lengths: list[Length | None], usual: str | None) -> tuple[str | None, str]:
    own = Counter(one.unit for one in lengths if one is not None and one.unit is not None).most_common(1)
    if own and usual is not None and own[0][0] != usual:
        return own[0][0], OTHER_UNIT
    return usual, ""


def _text(seen: list[Seen], lengths: list[Length | None], value: float) -> str:
    """The counter's text in the guise that says what all of them say; else the first guise's."""
    said = [one.counter for one in lengths if one is not None and abs(abs(one.reading) - value) < _SAME]
    return said[0] if said else next((one.counter for one in lengths if one is not None), seen[0].text)
