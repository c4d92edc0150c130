"""The columns that matching reads and writes: flat arrays, never objects per row."""

from typing import NamedTuple

from sewermap.history.matching_kernel import Flags, Floats, Whole


class Seen(NamedTuple):
    """Observations sorted by lateral, within it by run in order of time; ``first`` (L + 1,) is where each lateral begins.

    run (row of the runs), kind (code), clock (hours as one looks towards the main, NaN: not said), named (the known point it
    says it passed, −1: none), upper and lower (rows of the frame with the reading of its end nearer the building and nearer the
    main; −1: no such reading; a thing without extent has an upper one only), part (takes part in the matching).
    """

    first: Whole
    run: Whole
    kind: Whole
    clock: Floats
    named: Whole
    upper: Whole
    lower: Whole
    part: Flags


class Looks(NamedTuple):
    """Runs: lateral, ``time`` (whole numbers that order runs and works), and the frame's rows of where each began and ended."""

    lateral: Whole
    time: Whole
    begun: Whole
    ended: Whole


class Jobs(NamedTuple):
    """Works sorted by lateral (``first`` (L + 1,)): time, the stretch in measures, and which kinds each mends (W, K)."""

    first: Whole
    time: Whole
    from_m: Floats
    to_m: Floats
    mends: Flags


class Frame(NamedTuple):
    """Where everything lies as one run is matched. Per row: at_m, rest (variance, m², besides shift and stretch).

    Per lateral: ``first`` row; ``things`` stand at that row and on, with thing (2·cluster for its upper end, 2·cluster + 1 for
    its lower), thing_m, thing_rest; centre_m; ``spread`` (L, 3), variances of shift and stretch, and their covariance.
    """

    first: Whole
    at_m: Floats
    rest: Floats
    things: Whole
    thing: Whole
    thing_m: Floats
    thing_rest: Floats
    centre_m: Floats
    spread: Floats


class Terms(NamedTuple):
    """What a matching's costs are made of; see ``matching.toml`` for each figure.

    turns (K, K): probability that kind i is noted as kind j by another run, whichever was first (symmetric). new (K,): cost of
    a new one of each kind.
    """

    turns: Floats
    new: Floats
    seen: float
    seen_after_work: float
    seen_before_known: float
    clock_hours: float
    clock_wrong: float
    other_end_m: float
    usual_length_m: float
    length_m: float
    named_alike: float
    near_m: float
    edge_m: float
    gate: float
    wide_m: float
    wide: float
    works_reach_m: float


class Matched(NamedTuple):
    """Per observation: cluster (an observation of the same lateral that stands for it), cost of its pairing (or of its being
    new), the runner-up cluster (−1: none) and its cost. Per run: ``shifted``, how far it was found to be displaced beyond what
    was expected (m; 0: as expected).
    """

    cluster: Whole
    cost: Floats
    runner_up: Whole
    runner_up_cost: Floats
    shifted: Floats
