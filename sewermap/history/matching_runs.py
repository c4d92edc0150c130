"""Matching run after run, lateral by lateral: compiled. What a pair, a miss and a new one cost is put together here."""

import numpy as np

from sewermap.history.matching_kernel import (
    BOTH,
    CENTRE,
    HIGH,
    LOW,
    SHIFT,
    STRETCH,
    Bench,
    Flags,
    Pairs,
    Whole,
    bench_of,
    compiled,
    pairs_for,
    price,
    search,
)
from sewermap.history.matching_lateral import (
    Items,
    Members,
    apart,
    chance_to_see,
    items_for,
    items_of_clusters,
    items_of_run,
    likeness,
    members_for,
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
    most = _most(seen, laterals)  # everything to work in is made once: for each run it would cost more than the matching
    items, clusters, members = items_for(most), items_for(most), members_for(most)
    pairs, bench = pairs_for(most, most), bench_of(most, most)
    for at in range(len(laterals)):
        lateral, run = laterals[at], target[at]
        n, count = items_of_run(seen, lateral, run, frame, items), items_of_clusters(lateral, frame, clusters)
        members_of(seen, lateral, run, clusters, count, out.cluster, members)
        for j in range(count):
            pairs.at_m[j] = clusters.at_m[j]
            pairs.seen[j] = chance_to_see(seen, run, members, j, clusters.at_m[j], looks, jobs, terms)
        begun, ended = frame.at_m[looks.begun[run]], frame.at_m[looks.ended[run]]
        pairs.where[LOW], pairs.where[HIGH] = min(begun, ended), max(begun, ended)
        pairs.where[CENTRE] = frame.centre_m[lateral]
        pairs.where[SHIFT], pairs.where[STRETCH] = frame.spread[lateral, 0], frame.spread[lateral, 1]
        pairs.where[BOTH] = frame.spread[lateral, 2]
        fill(seen, terms, items, n, clusters, count, members, pairs)
        t0, t1, out.shifted[run] = find(pairs, n, count, terms, bench)
        price(pairs, n, count, (t0, t1), terms.edge_m, bench)
        write(items, n, clusters, count, pairs, bench, out)


@compiled
def _most(seen: Seen, laterals: Whole) -> int:
    """The most observations that a lateral has."""
    most = 1
    for lateral in laterals:
        most = max(most, seen.first[lateral + 1] - seen.first[lateral])
    return most


@compiled
def find(pairs: Pairs, n: int, count: int, terms: Terms, bench: Bench) -> tuple[float, float, float]:
    """Shift and stretch of the best matching, which the bench gets; and the shift again where it is more than was expected."""
    cost, t0, t1 = search(pairs, n, count, terms.edge_m, terms.gate, bench, bench.partner)
    if pairs.where[SHIFT] == 0.0 or not seems_displaced(pairs.likely, n, count, bench.partner):
        return t0, t1, 0.0
    pairs.where[SHIFT] += terms.wide_m * terms.wide_m
    wide = search(pairs, n, count, terms.edge_m, terms.gate, bench, bench.other)
    if wide[0] + terms.wide >= cost - _BETTER:
        return t0, t1, 0.0
    for i in range(n):
        bench.partner[i] = bench.other[i]
    return wide[1], wide[2], wide[1]


@compiled
def seems_displaced(likely: Flags, n: int, count: int, partner: Whole) -> bool:
    """Whether no fewer of a run's items lack a partner, though a cluster of their kind was passed by, than have one."""
    balance, lacking = 0, 0
    for i in range(n):
        if partner[i] >= 0:
            balance -= 1
        for j in range(count if partner[i] < 0 else 0):
            if likely[i, j] and not _taken(partner, n, j):
                lacking += 1
                break
    return lacking > 0 and balance + lacking >= 0


@compiled
def _taken(partner: Whole, n: int, j: int) -> bool:
    taken = False
    for i in range(n):
        taken = taken or partner[i] == j
    return taken


@compiled
def fill(seen: Seen, terms: Terms, items: Items, n: int, clusters: Items, count: int, members: Members, pairs: Pairs) -> None:
    """Distances and costs of all pairs, and which are of a likely kind."""
    for i in range(n):
        o = items.name[i]
        pairs.new[i] = terms.new[seen.kind[o]]
        pairs.from_centre_m[i] = items.at_m[i] - pairs.where[CENTRE]
        for j in range(count):
            distance, own, length = apart(items, i, clusters, j, terms)
            like, of_kind, alike = likeness(seen, o, members, j, terms)
            pairs.apart_m[i, j], pairs.weight[i, j] = distance, 1.0 / own
            pairs.fixed[i, j] = length - alike - np.log(like * pairs.seen[j] / np.sqrt(2.0 * np.pi * own))
            pairs.likely[i, j] = of_kind > _LIKELY_KIND
    near_to_the_one_before(items, n, terms.near_m, pairs.near_item)
    near_to_the_one_before(clusters, count, terms.near_m, pairs.near_cluster)


@compiled
def near_to_the_one_before(items: Items, count: int, near_m: float, near: Flags) -> None:
    """Whether an item and the one before may stand the other way round: within ``near_m`` and two deviations of each other."""
    before = 0.0
    for i in range(count):
        rest = items.lower_rest[i] if np.isnan(items.upper_rest[i]) else items.upper_rest[i]
        near[i] = i > 0 and items.at_m[i] - items.at_m[i - 1] <= near_m + 2.0 * np.sqrt(rest + before)
        before = rest


@compiled
def write(items: Items, n: int, clusters: Items, count: int, pairs: Pairs, bench: Bench, out: Matched) -> None:
    """Write the partners, their costs, and for each observation the runner-up among the clusters that it is not."""
    for i in range(n):
        o = items.name[i]
        out.cluster[o], out.cost[o] = o, pairs.new[i]
        out.runner_up[o], out.runner_up_cost[o] = -1, np.nan
        for j in range(count):
            own = bench.pair[i, j] - bench.missed[j]  # whoever takes a cluster spares the cost of its having been missed
            if j == bench.partner[i]:
                out.cluster[o], out.cost[o] = clusters.name[j], own
            elif own < np.inf and (out.runner_up[o] < 0 or own < out.runner_up_cost[o]):
                out.runner_up[o], out.runner_up_cost[o] = clusters.name[j], own
