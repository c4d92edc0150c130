"""Which observation of one run is which of another: order-preserving alignment by likelihood.

A run is matched with the clusters (defects or features) that the other runs of its lateral saw. With d the distance between an
observation and a cluster and s its deviation, a pair costs ½d²/s² + ½ ln(2πs²) - ln P(kind noted as kind) - ln P(clock) -
ln p_seen, a cluster that was passed unseen -ln(1 - p_seen), a new one -ln(rate per metre): negative logarithms of likelihoods
(design, section 3). The cheapest matching in order along the line is found by dynamic programming, exactly.

A counter that was badly zeroed displaces a whole run. So the distance is taken at a shift and stretch of the run, which cost
what their prior says, and the search begins at every shift that some pair of one kind would ask for; the best is taken, by the
likelihood integrated over shift and stretch.

*Near items.* What lies within rounding of its neighbour (``near_m``, or two deviations) may be noted in either order: such
neighbours may be paired crosswise.
"""

import tomllib
from dataclasses import dataclass
from importlib import resources
from typing import Protocol

import numpy as np

from sewermap.history import matching_kernel as kernel
from sewermap.history.matching_kernel import Flags, Floats, Whole
from sewermap.history.matching_tables import Terms


class Kinds(Protocol):
    """What matching asks of a vocabulary: (K, K) probability that kind i is next noted as kind j."""

    @property
    def turns_into(self) -> Floats:
        """Rows sum to 1."""


@dataclass(frozen=True)
class MatchingModel:
    """The figures of matching; they stand, explained, in matching.toml."""

    seen: float
    seen_after_work: float
    seen_before_known: float
    new_per_m: float
    clock_hours: float
    clock_wrong: float
    length_m: float
    other_end_m: float
    usual_length_m: float
    named_alike: float
    noting_m: float
    near_m: float
    edge_m: float
    gate: float
    wide_m: float
    wide_share: float
    works_reach_m: float


def matching_model(text: str | None = None) -> MatchingModel:
    r"""The model of a TOML text with tables ``seeing``, ``likeness`` and ``counters``; what it leaves out keeps its default.

    Raises ValueError for a figure that is not known, or is no positive number.

    >>> matching_model("[seeing]\nseen = 0.9").seen
    0.9
    """
    packaged = resources.files("sewermap.history").joinpath("matching.toml").read_text(encoding="utf-8")
    figures = {name: value for table in tomllib.loads(packaged).values() for name, value in table.items()}
    given = {name: value for table in tomllib.loads(text or "").values() for name, value in table.items()}
    for name, value in given.items():
        if name not in figures:
            raise ValueError(f"matching has no figure '{name}'; it has " + ", ".join(figures))
        if isinstance(value, bool) or not isinstance(value, int | float) or not 0 < value < float("inf"):
            raise ValueError(f"matching's '{name}' must be a positive number, not {value!r}")
    return MatchingModel(**{name: float(value) for name, value in (figures | given).items()})


def terms_of(kinds: Kinds, model: MatchingModel) -> Terms:
    """The model's figures as costs, for these kinds."""
    turns = (kinds.turns_into + kinds.turns_into.T) / 2.0
    return Terms(
        turns=turns,
        new=np.full(len(turns), -np.log(model.new_per_m)),
        seen=model.seen,
        seen_after_work=model.seen_after_work,
        seen_before_known=model.seen_before_known,
        clock_hours=model.clock_hours,
        clock_wrong=model.clock_wrong,
        other_end_m=model.other_end_m,
        usual_length_m=model.usual_length_m,
        length_m=model.length_m,
        named_alike=model.named_alike,
        near_m=model.near_m,
        edge_m=model.edge_m,
        gate=model.gate,
        wide_m=model.wide_m,
        wide=float(-np.log(model.wide_share)),
        works_reach_m=model.works_reach_m,
    )


def align(pair: Floats, missed: Floats, new: Floats, near: tuple[Flags, Flags] | None = None) -> tuple[float, Whole]:
    """The cheapest order-preserving matching: its cost, and the column of each row (−1: none).

    ``pair`` (n, J): cost of each pair, infinite where it cannot be. ``missed`` (J,) and ``new`` (n,): costs of columns and rows
    left alone. ``near`` (n,), (J,): which rows and columns lie so near to the one before that pairs of the two may stand
    crosswise (none, unless given). Last year's 10.0, 12.0 and 40.0 m are this year's 11.4, 13.5 and 40.2:

    >>> last, this = np.array([10.0, 12.0, 40.0]), np.array([11.4, 13.5, 40.2])
    >>> cost, partner = align(np.abs(this[:, None] - last), np.full(3, 9.0), np.full(3, 9.0))
    >>> round(cost, 1), partner.tolist()
    (3.1, [0, 1, 2])
    """
    rows, columns = near or (np.zeros(len(new), bool), np.zeros(len(missed), bool))
    n, count = pair.shape
    pairs, bench = kernel.pairs_for(n, count), kernel.bench_of(n, count)
    pairs.new[:], pairs.near_item[:], pairs.near_cluster[:] = new, rows, columns
    bench.pair[:], bench.missed[:] = pair, missed
    cost = kernel.align(pairs, n, count, bench, bench.partner)
    return float(cost), bench.partner
