"""What an issue's life is judged by: which works mend which kinds, what hides a place, what counts as worse. From life.toml."""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from sewermap.history.kinds import Vocabulary

Flags = NDArray[np.bool_]
Floats = NDArray[np.float64]

WIDENED_SIGMAS = 2.0
"""A work's stretch is widened at both ends by this many sigmas of an issue's place."""


@dataclass(frozen=True, eq=False)
class LifeRules:
    """Tables by kind are arrays in the order of ``names`` (K kinds).

    mends: by kind of work, flags (K,) of the kinds it mends. hidden_by: by kind of look, flags (K,) of the kinds that it hides.
    graver: (K, K), whether kind j is graver than kind i. size: what the size of each kind is measured in ("" for none).
    tolerance: (K,), two sizes that differ by no more are the same; infinite where a kind has no size. guess: (K,), one sigma
    of a size that a crew guesses; NaN where a kind has none.
    point_reach_m: how far a look that is noted at one reading hides to either side.
    """

    names: tuple[str, ...]
    mends: Mapping[str, Flags]
    hidden_by: Mapping[str, Flags]
    graver: Flags
    size: NDArray[np.object_]
    tolerance: Floats
    guess: Floats
    point_reach_m: float


@lru_cache(maxsize=16)
def life_rules(vocabulary: Vocabulary) -> LifeRules:
    """The rules for a vocabulary's kinds.

    >>> from sewermap.history.kinds import vocabulary
    >>> rules = life_rules(vocabulary())
    >>> crack, roots = (rules.names.index(name) for name in ("crack", "roots"))
    >>> [bool(rules.mends["root cutting"][kind]) for kind in (crack, roots)]
    [False, True]
    """
    table = tomllib.loads(resources.files("sewermap.history").joinpath("life.toml").read_text(encoding="utf-8"))
    names, hidden = vocabulary.names, table["hidden"]
    clear = vocabulary.seen_under_water >= hidden["seen_share"]
    nothing = np.zeros(len(names), dtype=bool)
    return LifeRules(
        names=names,
        mends=vocabulary.mended_by,
        # What a dirty lens hides depends on the dirt: nobody can count on having seen anything through it.
        hidden_by={look: ~clear if look == "under water" else ~nothing for look in hidden["looks"]},
        graver=_graver(names, table["graver"]["chains"]),
        size=np.array(vocabulary.size, dtype=object),
        tolerance=np.array([table["tolerance"].get(size, np.inf) for size in vocabulary.size], dtype=float),
        guess=np.array([table["guess"].get(size, np.nan) for size in vocabulary.size], dtype=float),
        point_reach_m=hidden["point_reach_m"],
    )


def _graver(names: tuple[str, ...], chains: list[list[str]]) -> Flags:
    """Every kind of a chain is graver than all before it, also through a kind that two chains share."""
    graver = np.zeros((len(names), len(names)), dtype=bool)
    for chain in chains:
        at = [names.index(name) for name in chain]
        for low, high in pairwise(at):
            graver[low, high] = True
    for middle in range(len(names)):
        graver |= graver[:, [middle]] & graver[[middle], :]
    return graver
