"""What a counter is made of, as the reading network tells it: digits, a point, a prime, and all else.

The network knows eighteen thousand signs and tells the probability of each, column by column of the crop. A counter knows few.
Letters that are mistaken for digits (O, l, S, g …) count as the digit where a digit must stand, and as letters elsewhere.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

_ALIKE = {"0": "OoQD", "1": "lI|i!", "2": "Zz", "5": "Ss", "6": "Gb", "8": "B", "9": "gq", "4": "A", "7": "T?"}
_POINTS = ".,\u00b7\u2022\u3002\u30fb\u02d9\uff0e\uff0c"
_PRIMES = "'\u2032\u2019\u2018\u00b4`\u00b0\u00ba\u02da"
_BLANKS = (" ", "\u3000")

DIGITS = 10
POINT, PRIME = DIGITS, DIGITS + 1
SIGNS = PRIME + 1
"""Ten digits, the point, and the prime that stands between feet and inches."""

_LEAST = 1e-5
_ALIKE_SHARE = 0.02


@dataclass(frozen=True)
class Columns:
    """Probabilities column by column of one or many crops: (…, T, SIGNS), and (…, T) of nothing and of any other sign."""

    signs: NDArray[np.float64]
    nothing: NDArray[np.float64]
    other: NDArray[np.float64]

    def __len__(self) -> int:
        return int(self.nothing.shape[-1])


class Alphabet:
    """Which of the network's signs stand for which of ours."""

    def __init__(self, known: list[str]) -> None:
        """``known``: the network's signs in its order; the first stands for: nothing new begins here."""
        places = {sign: number for number, sign in enumerate(known)}
        digits = [str(digit) for digit in range(DIGITS)]
        self._pure = [_places(places, sign) for sign in [*digits, _POINTS, _PRIMES]]
        self._alike = [_places(places, _ALIKE.get(sign, "")) for sign in digits]
        self._nothing = [0, *_places(places, _BLANKS)]
        self._minus = _places(places, "-\u2212\u2013\u2014")

    def columns(self, chances: NDArray[np.float32]) -> Columns:
        """Our signs' probabilities from the network's (T, all its signs)."""
        sums = np.stack([chances[:, chosen].sum(axis=1) for chosen in self._pure], axis=1).astype(np.float64)
        nothing = chances[:, self._nothing].sum(axis=1).astype(np.float64)
        barred = sums[:, : POINT + 1].sum(axis=1) + chances[:, self._minus].sum(axis=1)
        other = np.clip(1 - nothing - barred, 0, 1)
        for digit, chosen in enumerate(self._alike):
            if chosen:
                sums[:, digit] += _ALIKE_SHARE * chances[:, chosen].sum(axis=1)
        return Columns(sums + _LEAST, nothing + _LEAST, other + _LEAST)


def together(many: list[Columns]) -> Columns:
    """Crops of different lengths as one array; the shorter ones are filled up with nothing."""
    longest = max(len(one) for one in many)
    signs = np.full((len(many), longest, SIGNS), _LEAST)
    nothing, other = np.ones((len(many), longest)), np.full((len(many), longest), _LEAST)
    for number, one in enumerate(many):
        signs[number, : len(one)], nothing[number, : len(one)], other[number, : len(one)] = one.signs, one.nothing, one.other
    return Columns(signs, nothing, other)


def _places(places: dict[str, int], signs: str | tuple[str, ...]) -> list[int]:
    return [places[sign] for sign in signs if sign in places]
