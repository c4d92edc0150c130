"""Matching run after run, lateral by lateral: compiled. What a pair, a miss and a new one cost is put together here."""

import numpy as np

from sewermap.history.matching_kernel import Flags, Floats, Pairs, Whole, bench_of, compiled, price, search
from sewermap.history.matching_lateral import (
    Items,
    Members,
    apart,
    chance_to_see,
    items_of_clusters,
    items_of_run,
    likeness,
    members_of,
    relabel,
)
from sewermap.history.matching_tables import Frame, Jobs, Looks, Matched, Seen, Terms

_LIKELY_KIND = 0.1
_BETTER = 1e-9


@compiled
def relabel_all(seen: Seen, laterals: Whole, target: Whole, cluster: Whole, thing: Whole) -> None:
    """Take the target run of each lateral out of its clusters (−1: none is taken out); see ``relabel``."""
    for i in range(len(laterals)):
        relabel(seen, laterals[i], target[i], cluster, thing)


@compiled
def match_all(
    seen: Seen, looks: Looks, jobs: Jobs, terms: Terms, frame: Frame, laterals: Whole, target: Whole, out: Matched
) -> None:
    """Match the target run of each lateral with the clusters of its other runs, and write what was found."""
    for k in range(len(laterals)):
        lateral, run = laterals[k], target[k]
        items, clusters = items_of_run(seen, lateral, run, frame), items_of_clusters(lateral, frame)
        members = members_of(seen, lateral, run, clusters, out.cluster)
        chance = np.empty(len(clusters.name))
        for j in range(len(chance)):
            chance[j] = chance_to_see(seen, run, members, j, clusters.at_m[j], looks, jobs, terms)
        ends = frame.at_m[looks.begun[run]], frame.at_m[looks.ended[run]]
        pairs, likely = pairs_of(seen, terms, frame, (items, clusters, members), chance, ends, lateral)
        out.shifted[run] = 0.0
        cost, t0, t1, partner = search(pairs, likely, terms.edge_m, terms.gate)
        if pairs.shift > 0.0 and seems_displaced(likely, partner):
            freed = free(pairs, terms.wide_m)
            wide = search(freed, likely, terms.edge_m, terms.gate)
            if wide[0] + terms.wide < cost - _BETTER:
                out.shifted[run] = wide[1]
                cost, t0, t1, partner = wide
        write(items, clusters, pairs, (t0, t1), terms.edge_m, partner, out)


@compiled
def seems_displaced(likely: Flags, partner: Whole) -> bool:
    """Whether no fewer of a run's items lack a partner, though a cluster of their kind was passed by, than have one."""
    n, count = likely.shape
    balance, lacking = 0, 0
    taken = np.zeros(count, np.bool_)
    for i in range(n):
        if partner[i] >= 0:
            taken[partner[i]] = True
            balance -= 1
    for i in range(n):
        if partner[i] < 0:
            for j in range(count):
                if likely[i, j] and not taken[j]:
                    lacking += 1
                    break
    return lacking > 0 and balance + lacking >= 0


@compiled
def free(pairs: Pairs, wide_m: float) -> Pairs:
    """The same pairs where the run may be displaced by more than was expected."""
    return Pairs(
        pairs.apart_m,
        pairs.weight,
        pairs.fixed,
        pairs.swaps,
        pairs.from_centre_m,
        pairs.new,
        pairs.at_m,
        pairs.seen,
        pairs.low_m,
        pairs.high_m,
        pairs.centre_m,
        pairs.shift + wide_m * wide_m,
        pairs.stretch,
        pairs.both,
    )


@compiled
def pairs_of(
    seen: Seen,
    terms: Terms,
    frame: Frame,
    sides: tuple[Items, Items, Members],
    chance: Floats,
    ends: tuple[float, float],
    lateral: int,
) -> tuple[Pairs, Flags]:
    """Costs of all pairs, and which are of a likely kind. ``chance`` (J,): of each cluster's being seen; ``ends`` of the run."""
    items, clusters, members = sides
    n, count = len(items.name), len(clusters.name)
    apart_m, weight, fixed = np.empty((n, count)), np.empty((n, count)), np.empty((n, count))
    likely = np.zeros((n, count), np.bool_)
    new = np.empty(n)
    for i in range(n):
        new[i] = terms.new[seen.kind[items.name[i]]]
        for j in range(count):
            distance, own, length = apart(items, i, clusters, j, terms)
            like, of_kind, alike = likeness(seen, items.name[i], members, j, terms)
            apart_m[i, j], weight[i, j] = distance, 1.0 / own
            fixed[i, j] = length - alike - np.log(like * chance[j] / np.sqrt(2.0 * np.pi * own))
            likely[i, j] = of_kind > _LIKELY_KIND
    pairs = Pairs(
        apart_m,
        weight,
        fixed,
        swaps_of(items, clusters, terms.near_m),
        items.at_m - frame.centre_m[lateral],
        new,
        clusters.at_m,
        chance,
        min(ends),
        max(ends),
        frame.centre_m[lateral],
        frame.spread[lateral, 0],
        frame.spread[lateral, 1],
        frame.spread[lateral, 2],
    )
    return pairs, likely


@compiled
def swaps_of(items: Items, clusters: Items, near_m: float) -> Flags:
    """Where two neighbours may stand the other way round: within ``near_m`` and two deviations of each other."""
    n, count = len(items.name), len(clusters.name)
    swaps = np.zeros((n, count), np.bool_)
    for i in range(1, n):
        for j in range(1, count):
            swaps[i, j] = _near(items, i, near_m) or _near(clusters, j, near_m)
    return swaps


@compiled
def _near(items: Items, i: int, near_m: float) -> bool:
    spread = 0.0
    for k in (i - 1, i):
        rest = items.upper_rest[k]
        spread += items.lower_rest[k] if np.isnan(rest) else rest
    return bool(items.at_m[i] - items.at_m[i - 1] <= near_m + 2.0 * np.sqrt(spread))


@compiled
def write(
    items: Items, clusters: Items, pairs: Pairs, moved: tuple[float, float], edge_m: float, partner: Whole, out: Matched
) -> None:
    """Write the partners, their costs, and for each observation the runner-up among the clusters that it is not."""
    bench = bench_of(len(items.name), len(clusters.name))
    price(pairs, moved[0], moved[1], edge_m, bench)
    for i in range(len(items.name)):
        o = items.name[i]
        out.cluster[o], out.cost[o] = o, pairs.new[i]
        out.runner_up[o], out.runner_up_cost[o] = -1, np.nan
        for j in range(len(clusters.name)):
            own = bench.pair[i, j] - bench.missed[j]  # whoever takes a cluster spares the cost of its having been missed
            if j == partner[i]:
                out.cluster[o], out.cost[o] = clusters.name[j], own
            elif own < np.inf and (out.runner_up[o] < 0 or own < out.runner_up_cost[o]):
                out.runner_up[o], out.runner_up_cost[o] = clusters.name[j], own
