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
LOW, HIGH, CENTRE, SHIFT, STRETCH, BOTH = range(6)
"""What stands in ``Pairs.where``."""
_ROUNDS = 5
_BETTER = 1e-9
_PAIR, _CROSSED, _NEW, _MISSED = 1, 2, 3, 4


def compiled(function: _Function) -> _Function:
    """The function compiled to machine code, kept on disk between runs."""
    return cast("_Function", numba.njit(cache=True, error_model="numpy")(function))


class Pairs(NamedTuple):
    """One run against the clusters: what a matching costs, as a function of shift and stretch. Arrays may be larger than needed.

    At shift t0 and stretch t1 the pair (i, j) costs ½ weight·(apart - t0 - t1·from_centre)² + fixed, weight the inverse of the
    variance; ``likely``: of one kind. Neighbours that are ``near_item`` (n,) or ``near_cluster`` (J,) to the one before may be
    paired crosswise. ``new`` (n,): cost of an item that is none of the clusters. A cluster at ``at_m`` (J,) that is not among the
    run's items costs -ln(1 - seen·covered). ``where`` (6,): the run covers from LOW to HIGH; CENTRE of its items; prior variances
    SHIFT (m²) and STRETCH, and their covariance BOTH.
    """

    apart_m: Floats
    weight: Floats
    fixed: Floats
    likely: Flags
    near_item: Flags
    near_cluster: Flags
    from_centre_m: Floats
    new: Floats
    at_m: Floats
    seen: Floats
    where: Floats


class Bench(NamedTuple):
    """Arrays to work in, made once for many runs: costs of pairs (n, J) and misses (J,); the programme's best costs and steps
    (n + 1, J + 1); the best matching of a search, that of another search, the one being tried and the one before it (n,).
    """

    pair: Floats
    missed: Floats
    best: Floats
    step: Whole
    partner: Whole
    other: Whole
    tried: Whole
    before: Whole


@compiled
def bench_of(n: int, count: int) -> Bench:
    """A bench for up to n items and J clusters."""
    return Bench(
        np.empty((n, count)),
        np.empty(count),
        np.empty((n + 1, count + 1)),
        np.empty((n + 1, count + 1), np.int64),
        np.empty(n, np.int64),
        np.empty(n, np.int64),
        np.empty(n, np.int64),
        np.empty(n, np.int64),
    )


@compiled
def pairs_for(n: int, count: int) -> Pairs:
    """Room for the pairs of up to n items and J clusters."""
    return Pairs(
        np.empty((n, count)),
        np.empty((n, count)),
        np.empty((n, count)),
        np.empty((n, count), np.bool_),
        np.zeros(n, np.bool_),
        np.zeros(count, np.bool_),
        np.empty(n),
        np.empty(n),
        np.empty(count),
        np.empty(count),
        np.empty(6),
    )


@compiled
def align(pairs: Pairs, n: int, count: int, bench: Bench, partner: Whole) -> float:
    """The cheapest matching of n items with J clusters, both in order: its cost; ``partner`` gets each item's cluster (−1: new).

    The bench holds the costs of pairs (which may be infinite) and of missed clusters. Needleman and Wunsch's recurrence (Journal
    of Molecular Biology 48, 1970) with costs of every pair and gap of its own, and one step more: two neighbouring pairs
    crosswise where the items or the clusters lie near the one before. Among equal matchings the one with pairs nearest the end
    wins, always the same.
    """
    pair, missed, best, step, new = bench.pair, bench.missed, bench.best, bench.step, pairs.new
    best[0, 0], step[0, 0] = 0.0, 0
    for j in range(1, count + 1):
        best[0, j], step[0, j] = best[0, j - 1] + missed[j - 1], _MISSED
    for i in range(1, n + 1):
        best[i, 0], step[i, 0] = best[i - 1, 0] + new[i - 1], _NEW
        for j in range(1, count + 1):
            least, how = best[i - 1, j - 1] + pair[i - 1, j - 1], _PAIR
            if i > 1 and j > 1 and (pairs.near_item[i - 1] or pairs.near_cluster[j - 1]):
                crossed = best[i - 2, j - 2] + pair[i - 2, j - 1] + pair[i - 1, j - 2]
                if crossed < least:
                    least, how = crossed, _CROSSED
            if best[i - 1, j] + new[i - 1] < least:
                least, how = best[i - 1, j] + new[i - 1], _NEW
            if best[i, j - 1] + missed[j - 1] < least:
                least, how = best[i, j - 1] + missed[j - 1], _MISSED
            best[i, j], step[i, j] = least, how
    _walk_back(step, n, count, partner)
    return float(best[n, count])


@compiled
def _walk_back(step: Whole, n: int, count: int, partner: Whole) -> None:
    i, j = n, count
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
def price(pairs: Pairs, n: int, count: int, moved: tuple[float, float], edge_m: float, bench: Bench) -> None:
    """Costs of all pairs and misses at a shift and stretch; the ends of the run's stretch are soft over ``edge_m``."""
    t0, t1 = moved
    for i in range(n):
        by = t0 + t1 * pairs.from_centre_m[i]
        for j in range(count):
            off = pairs.apart_m[i, j] - by
            bench.pair[i, j] = 0.5 * pairs.weight[i, j] * off * off + pairs.fixed[i, j]
    low, high, centre = pairs.where[LOW], pairs.where[HIGH], pairs.where[CENTRE]
    for j in range(count):
        place = pairs.at_m[j] - t0 - t1 * (pairs.at_m[j] - centre)
        inside = 1.0 / ((1.0 + np.exp((low - place) / edge_m)) * (1.0 + np.exp((place - high) / edge_m)))
        bench.missed[j] = -np.log(1.0 - pairs.seen[j] * inside)


@compiled
def settled(pairs: Pairs, n: int, partner: Whole) -> tuple[float, float, float]:
    """The likeliest shift and stretch given a matching, and what they cost.

    The cost is exact: the pairs' likelihood integrated over the normal prior C of (shift, stretch) is, apart from the pairs'
    own terms at the posterior mean T = (I + CM)⁻¹Cb, ½T'(b - MT) + ½ ln det(I + CM), with M and b the information of the pairs.
    """
    m00, m01, m11, b0, b1 = 0.0, 0.0, 0.0, 0.0, 0.0
    for i in range(n):
        j = partner[i]
        if j >= 0:
            weight, a = pairs.weight[i, j], pairs.from_centre_m[i]
            m00, m01, m11 = m00 + weight, m01 + weight * a, m11 + weight * a * a
            b0, b1 = b0 + weight * pairs.apart_m[i, j], b1 + weight * a * pairs.apart_m[i, j]
    c00, c01, c11 = pairs.where[SHIFT], pairs.where[BOTH], pairs.where[STRETCH]
    a00, a01 = 1.0 + c00 * m00 + c01 * m01, c00 * m01 + c01 * m11
    a10, a11 = c01 * m00 + c11 * m01, 1.0 + c01 * m01 + c11 * m11
    r0, r1 = c00 * b0 + c01 * b1, c01 * b0 + c11 * b1
    determinant = a00 * a11 - a01 * a10
    t0, t1 = (r0 * a11 - a01 * r1) / determinant, (a00 * r1 - a10 * r0) / determinant
    far = t0 * (b0 - m00 * t0 - m01 * t1) + t1 * (b1 - m01 * t0 - m11 * t1)
    return t0, t1, 0.5 * far + 0.5 * np.log(determinant)


@compiled
def climb(
    pairs: Pairs, n: int, count: int, start: tuple[float, float], edge_m: float, bench: Bench
) -> tuple[float, float, float]:
    """From a shift and stretch, match and settle in turn until the matching stays: cost, shift, stretch; ``tried`` is it."""
    t0, t1 = start
    cost, own = np.inf, 0.0
    for at in range(_ROUNDS):
        price(pairs, n, count, (t0, t1), edge_m, bench)
        total = align(pairs, n, count, bench, bench.tried)
        same = at > 0
        for i in range(n):
            same = same and bench.tried[i] == bench.before[i]
            bench.before[i] = bench.tried[i]
        if same:
            return own + total, t0, t1
        cost = own + total if at > 0 else np.inf
        t0, t1, own = settled(pairs, n, bench.tried)
    return cost, t0, t1


@compiled
def cost_of_nothing(pairs: Pairs, n: int, count: int, known: float, edge_m: float, bench: Bench) -> float:
    """What it costs that every item is new; infinite where that is surely more than what is ``known`` to be possible."""
    cost = 0.0
    for i in range(n):
        cost += pairs.new[i]
    if cost >= known:
        return np.inf
    price(pairs, n, count, (0.0, 0.0), edge_m, bench)
    for j in range(count):
        cost += bench.missed[j]
    return cost


@compiled
def least_cost(pairs: Pairs, n: int, count: int) -> float:
    """What any matching costs at least, wherever the run lies."""
    total = 0.0
    for i in range(n):
        least = pairs.new[i]
        for j in range(count):
            least = min(least, pairs.fixed[i, j])
        total += least
    return total


@compiled
def search(
    pairs: Pairs, n: int, count: int, edge_m: float, gate: float, bench: Bench, partner: Whole
) -> tuple[float, float, float]:
    """The best of: nothing matched, the climb from no shift, and those from the shift that each ``likely`` pair asks for.

    A pair asks for no shift that is over ``gate`` standard deviations from what is expected or costs too much to be of use, and
    for none where it stands in the best matching so far. Returns cost, shift and stretch; ``partner`` gets the matching.
    """
    cost, t0, t1 = climb(pairs, n, count, (0.0, 0.0), edge_m, bench)
    alone = cost_of_nothing(pairs, n, count, cost, edge_m, bench)
    nothing = alone < cost - _BETTER
    if nothing:
        cost, t0, t1 = alone, 0.0, 0.0
    for i in range(n):
        partner[i] = -1 if nothing else bench.tried[i]
    shift, stretch, both, least = pairs.where[SHIFT], pairs.where[STRETCH], pairs.where[BOTH], least_cost(pairs, n, count)
    for start in range(n * count if shift + stretch > 0.0 else 0):
        i, j = start // count, start % count
        a, off = pairs.from_centre_m[i], pairs.apart_m[i, j]
        to0, to1 = shift + both * a, both + stretch * a
        expected = to0 + to1 * a + 1.0 / pairs.weight[i, j]
        far = off * off / expected
        if partner[i] == j or not pairs.likely[i, j] or far > gate * gate or least + 0.5 * far >= cost:
            continue
        found = climb(pairs, n, count, (to0 * off / expected, to1 * off / expected), edge_m, bench)
        if found[0] < cost - _BETTER:
            cost, t0, t1 = found
            for k in range(n):
                partner[k] = bench.tried[k]
    return cost, t0, t1
