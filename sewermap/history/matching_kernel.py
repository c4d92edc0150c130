"""The dynamic programme of matching, and the search for a run's shift and stretch: compiled.

Costs are negative logarithms of likelihoods. Items of a run stand in order along the line, so do the clusters known so far; a
matching keeps the order, except that neighbours which lie within what the counter can tell may stand the other way round.
"""

from collections.abc import Callable
from typing import Any, NamedTuple, TypeVar, cast

import numba
import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]
Flags = NDArray[np.bool_]
_Function = TypeVar("_Function", bound=Callable[..., Any])
_ROUNDS = 5
_BETTER = 1e-9
_PAIR, _CROSSED, _NEW, _MISSED = 1, 2, 3, 4


def compiled(function: _Function) -> _Function:
    """The function compiled to machine code, kept on disk between runs."""
    return cast("_Function", numba.njit(cache=True, error_model="numpy")(function))


class Pairs(NamedTuple):
    """One run against the clusters: what a matching costs, as a function of shift and stretch.

    At shift t0 and stretch t1 the pair (i, j) costs ½ weight·(apart - t0 - t1·from_centre)² + fixed, weight the inverse variance;
    ``swaps`` says whether items i-1, i and clusters j-1, j may be paired crosswise. ``new`` (n,): of an item that is none of the
    clusters. A cluster at ``at_m`` (J,) that is not among the run's items costs -ln(1 - seen·covered), where it is covered
    between low and high.
    ``shift``, ``stretch``, ``both``: prior variances and covariance.
    """

    apart_m: Floats
    weight: Floats
    fixed: Floats
    swaps: Flags
    from_centre_m: Floats
    new: Floats
    at_m: Floats
    seen: Floats
    low_m: float
    high_m: float
    centre_m: float
    shift: float
    stretch: float
    both: float


class Bench(NamedTuple):
    """Arrays to work in, made once for all the matchings of a run: costs of pairs (n, J) and misses (J,); the programme's best
    costs and steps (n + 1, J + 1).
    """

    pair: Floats
    missed: Floats
    best: Floats
    step: Whole


@compiled
def bench_of(n: int, count: int) -> Bench:
    """A bench for n items and J clusters."""
    return Bench(np.empty((n, count)), np.empty(count), np.empty((n + 1, count + 1)), np.empty((n + 1, count + 1), np.int64))


@compiled
def align(new: Floats, swaps: Flags, bench: Bench, partner: Whole) -> float:
    """The cheapest matching of n items with J clusters, both in order: its cost; ``partner`` gets each item's cluster (−1: new).

    The bench holds the costs of pairs (n, J; may be infinite) and of missed clusters. Needleman and Wunsch's recurrence (Journal
    of Molecular Biology 48, 1970) with costs of every pair and gap of its own, and one step more: two neighbouring pairs
    crosswise where ``swaps`` (n, J) allows it at their later members. Among equal matchings the one with pairs nearest the end
    wins, always the same.
    """
    pair, missed, best, step = bench.pair, bench.missed, bench.best, bench.step
    n, count = pair.shape
    best[0, 0], step[0, 0] = 0.0, 0
    for j in range(1, count + 1):
        best[0, j], step[0, j] = best[0, j - 1] + missed[j - 1], _MISSED
    for i in range(1, n + 1):
        best[i, 0], step[i, 0] = best[i - 1, 0] + new[i - 1], _NEW
        for j in range(1, count + 1):
            least, how = best[i - 1, j - 1] + pair[i - 1, j - 1], _PAIR
            if i > 1 and j > 1 and swaps[i - 1, j - 1]:
                crossed = best[i - 2, j - 2] + pair[i - 2, j - 1] + pair[i - 1, j - 2]
                if crossed < least:
                    least, how = crossed, _CROSSED
            if best[i - 1, j] + new[i - 1] < least:
                least, how = best[i - 1, j] + new[i - 1], _NEW
            if best[i, j - 1] + missed[j - 1] < least:
                least, how = best[i, j - 1] + missed[j - 1], _MISSED
            best[i, j], step[i, j] = least, how
    _walk_back(step, partner)
    return float(best[n, count])


@compiled
def _walk_back(step: Whole, partner: Whole) -> None:
    i, j = step.shape[0] - 1, step.shape[1] - 1
    while i > 0 or j > 0:
        how = step[i, j]
        if how == _PAIR:
            partner[i - 1] = j - 1
            i, j = i - 1, j - 1
        elif how == _CROSSED:
            partner[i - 1], partner[i - 2] = j - 2, j - 1
            i, j = i - 2, j - 2
        elif how == _NEW:
            partner[i - 1] = -1
            i -= 1
        else:
            j -= 1


@compiled
def price(pairs: Pairs, t0: float, t1: float, edge_m: float, bench: Bench) -> None:
    """Costs of all pairs and misses at a shift and stretch; the ends of the run's stretch are soft over ``edge_m``."""
    n, count = pairs.apart_m.shape
    for i in range(n):
        moved = t0 + t1 * pairs.from_centre_m[i]
        for j in range(count):
            off = pairs.apart_m[i, j] - moved
            bench.pair[i, j] = 0.5 * pairs.weight[i, j] * off * off + pairs.fixed[i, j]
    for j in range(count):
        place = pairs.at_m[j] - t0 - t1 * (pairs.at_m[j] - pairs.centre_m)
        inside = 1.0 / ((1.0 + np.exp((pairs.low_m - place) / edge_m)) * (1.0 + np.exp((place - pairs.high_m) / edge_m)))
        bench.missed[j] = -np.log(1.0 - pairs.seen[j] * inside)


@compiled
def settled(pairs: Pairs, partner: Whole) -> tuple[float, float, float]:
    """The likeliest shift and stretch given a matching, and what they cost.

    The cost is exact: the pairs' likelihood integrated over the normal prior C of (shift, stretch) is, apart from the pairs'
    own terms at the posterior mean T = (I + CM)⁻¹Cb, ½T'(b - MT) + ½ ln det(I + CM), with M and b the information of the pairs.
    """
    m00, m01, m11, b0, b1 = 0.0, 0.0, 0.0, 0.0, 0.0
    for i in range(len(partner)):
        j = partner[i]
        if j >= 0:
            weight, a = pairs.weight[i, j], pairs.from_centre_m[i]
            m00, m01, m11 = m00 + weight, m01 + weight * a, m11 + weight * a * a
            b0, b1 = b0 + weight * pairs.apart_m[i, j], b1 + weight * a * pairs.apart_m[i, j]
    c00, c01, c11 = pairs.shift, pairs.both, pairs.stretch
    a00, a01 = 1.0 + c00 * m00 + c01 * m01, c00 * m01 + c01 * m11
    a10, a11 = c01 * m00 + c11 * m01, 1.0 + c01 * m01 + c11 * m11
    r0, r1 = c00 * b0 + c01 * b1, c01 * b0 + c11 * b1
    determinant = a00 * a11 - a01 * a10
    t0, t1 = (r0 * a11 - a01 * r1) / determinant, (a00 * r1 - a10 * r0) / determinant
    far = t0 * (b0 - m00 * t0 - m01 * t1) + t1 * (b1 - m01 * t0 - m11 * t1)
    return t0, t1, 0.5 * far + 0.5 * np.log(determinant)


@compiled
def climb(
    pairs: Pairs, start: tuple[float, float], edge_m: float, bench: Bench, partner: Whole, before: Whole
) -> tuple[float, float, float]:
    """From a shift and stretch, match and settle in turn until the matching stays: cost, shift, stretch; partners written."""
    t0, t1 = start
    cost, own = np.inf, 0.0
    for tried in range(_ROUNDS):
        price(pairs, t0, t1, edge_m, bench)
        total = align(pairs.new, pairs.swaps, bench, partner)
        same = tried > 0
        for i in range(len(partner)):
            same = same and partner[i] == before[i]
            before[i] = partner[i]
        if same:
            return own + total, t0, t1
        cost = own + total if tried > 0 else np.inf
        t0, t1, own = settled(pairs, partner)
    return cost, t0, t1


@compiled
def least_cost(pairs: Pairs) -> float:
    """What any matching costs at least, wherever the run lies."""
    total = 0.0
    for i in range(len(pairs.new)):
        least = pairs.new[i]
        for j in range(len(pairs.at_m)):
            least = min(least, pairs.fixed[i, j])
        total += least
    return total


@compiled
def search(pairs: Pairs, likely: Flags, edge_m: float, gate: float) -> tuple[float, float, float, Whole]:
    """The best of: nothing matched, the climb from no shift, and those from the shift that each ``likely`` pair (n, J) asks for.

    A pair asks for no shift that is over ``gate`` standard deviations from what is expected or costs too much to be of use, and
    for none where it stands in the best matching so far.
    """
    n, count = pairs.apart_m.shape
    bench, trial, before, partner = bench_of(n, count), np.empty(n, np.int64), np.empty(n, np.int64), np.full(n, -1)
    price(pairs, 0.0, 0.0, edge_m, bench)
    cost, t0, t1, least = 0.0, 0.0, 0.0, least_cost(pairs)
    for i in range(n):
        cost += pairs.new[i]
    for j in range(count):
        cost += bench.missed[j]
    starts = n * count if pairs.shift + pairs.stretch > 0.0 else 0
    for start in range(-1, starts):
        from0, from1 = 0.0, 0.0
        if start >= 0:
            i, j = start // count, start % count
            a, off = pairs.from_centre_m[i], pairs.apart_m[i, j]
            to0, to1 = pairs.shift + pairs.both * a, pairs.both + pairs.stretch * a
            expected = to0 + to1 * a + 1.0 / pairs.weight[i, j]
            far = off * off / expected
            if partner[i] == j or not likely[i, j] or far > gate * gate or least + 0.5 * far >= cost:
                continue
            from0, from1 = to0 * off / expected, to1 * off / expected
        found = climb(pairs, (from0, from1), edge_m, bench, trial, before)
        if found[0] < cost - _BETTER:
            cost, t0, t1 = found
            for i in range(n):
                partner[i] = trial[i]
    return cost, t0, t1, partner
