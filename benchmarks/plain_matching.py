"""The matching of ``sewermap.history`` once more, in plain Python with lists and ``math``: what benchmarks/matching.py compares.

The same costs and the same search, written as one would without arrays; works and stretches are left out, for the benchmark's
town has none.
"""

import math
from dataclasses import dataclass
from types import SimpleNamespace
from typing import Any, NamedTuple

ROUNDS, LIKELY_KIND = 5, 0.1
PAIR, CROSSED, NEW, MISSED = 1, 2, 3, 4


@dataclass
class Problem:
    """One run against its clusters, as lists; see ``sewermap.history.matching_kernel.Pairs``."""

    apart_m: list[list[float]]
    weight: list[list[float]]
    fixed: list[list[float]]
    likely: list[list[bool]]
    swaps: list[list[bool]]
    from_centre_m: list[float]
    new: list[float]
    at_m: list[float]
    seen: list[float]
    low_m: float
    high_m: float
    centre_m: float
    spread: tuple[float, float, float]


class Found(NamedTuple):
    """A matching, where it put the run, and what it costs."""

    cost: float
    partner: list[int]


def as_lists(*columns: Any) -> SimpleNamespace:
    """The columns of a round as lists."""
    names = ("seen", "looks", "jobs", "terms", "frame", "laterals", "target", "out")
    lists = {}
    for name, one in zip(names, columns, strict=True):
        if hasattr(one, "_fields"):
            values = {field: getattr(one, field) for field in one._fields}
            lists[name] = SimpleNamespace(**{key: v.tolist() if hasattr(v, "tolist") else v for key, v in values.items()})
        else:
            lists[name] = one.tolist()
    return SimpleNamespace(**lists)


def match_all(data: SimpleNamespace) -> dict[int, int]:
    """The cluster of each observation of the runs to be matched (its own number where it is new)."""
    partners = {}
    for lateral, run in zip(data.laterals, data.target, strict=True):
        items, clusters = items_of(data, lateral, run), clusters_of(data, lateral, run)
        problem = problem_of(data, lateral, run, items, clusters)
        best = search(problem, data.terms)
        shift, stretch, both = problem.spread
        if shift > 0.0 and seems_displaced(problem.likely, best.partner):
            problem.spread = (shift + data.terms.wide_m**2, stretch, both)
            wide = search(problem, data.terms)
            if wide.cost + data.terms.wide < best.cost - 1e-9:
                best = wide
        for item, j in zip(items, best.partner, strict=True):
            partners[item[1]] = clusters[j][1] if j >= 0 else item[1]
    return partners


def items_of(data: SimpleNamespace, lateral: int, run: int) -> list[tuple[float, int, float]]:
    """Place, observation and rest of what the run saw, in order."""
    seen, frame = data.seen, data.frame
    rows = range(seen.first[lateral], seen.first[lateral + 1])
    mine = [o for o in rows if seen.part[o] and seen.run[o] == run]
    return sorted((frame.at_m[seen.upper[o]], o, frame.rest[seen.upper[o]]) for o in mine)


def clusters_of(data: SimpleNamespace, lateral: int, run: int) -> list[tuple[float, int, float, list[int]]]:
    """Place, name, rest and sightings of the clusters, in order."""
    seen, frame, first = data.seen, data.frame, data.frame.first[lateral]
    members: dict[int, list[int]] = {}
    for o in range(seen.first[lateral], seen.first[lateral + 1]):
        if seen.run[o] != run and data.out.cluster[o] >= 0:
            members.setdefault(data.out.cluster[o], []).append(o)
    things = range(first, first + frame.things[lateral])
    named = [(frame.thing_m[at], frame.thing[at] // 2, frame.thing_rest[at]) for at in things]
    return sorted((place, name, rest, members[name]) for place, name, rest in named)


def problem_of(data: SimpleNamespace, lateral: int, run: int, items: list, clusters: list) -> Problem:
    """All costs."""
    seen, terms, frame, looks = data.seen, data.terms, data.frame, data.looks
    apart_m, weight, fixed, likely, swaps = [], [], [], [], []
    chance = [terms.seen if any(seen.run[o] < run for o in one[3]) else terms.seen_before_known for one in clusters]
    for i, (place, o, rest) in enumerate(items):
        row = [[], [], [], [], []]
        for j, (at, _, thing_rest, members) in enumerate(clusters):
            like, of_kind, alike = likeness(seen, terms, o, members)
            variance = rest + thing_rest
            row[0].append(at - place)
            row[1].append(1.0 / variance)
            joint = like * chance[j] / math.sqrt(2.0 * math.pi * variance)
            row[2].append(-alike - math.log(joint) if joint > 0.0 else math.inf)
            row[3].append(of_kind > LIKELY_KIND)
            row[4].append(i > 0 and j > 0 and (near(items, i, terms.near_m) or near(clusters, j, terms.near_m)))
        for column, values in zip((apart_m, weight, fixed, likely, swaps), row, strict=True):
            column.append(values)
    centre_m, ends = frame.centre_m[lateral], (frame.at_m[looks.begun[run]], frame.at_m[looks.ended[run]])
    new = [terms.new[seen.kind[o]] for _, o, _ in items]
    from_centre_m, at_m = [place - centre_m for place, _, _ in items], [one[0] for one in clusters]
    spread = tuple(frame.spread[lateral])
    return Problem(
        apart_m, weight, fixed, likely, swaps, from_centre_m, new, at_m, chance, min(ends), max(ends), centre_m, spread
    )


def likeness(seen: SimpleNamespace, terms: SimpleNamespace, o: int, members: list[int]) -> tuple[float, float, float]:
    """Likelihood by kind and clock, of the kind alone, and what a common name is worth."""
    kind = clock = alike = 0.0
    clocks = 0
    for other in members:
        kind += terms.turns[seen.kind[o]][seen.kind[other]]
        if seen.named[o] >= 0 and seen.named[other] >= 0:
            if seen.named[o] != seen.named[other]:
                return 0.0, 0.0, 0.0
            alike = terms.named_alike
        if not (math.isnan(seen.clock[o]) or math.isnan(seen.clock[other])):
            clocks += 1
            off = abs(seen.clock[o] - seen.clock[other]) % 12.0
            off = min(off, 12.0 - off) / terms.clock_hours
            right = 12.0 / (terms.clock_hours * math.sqrt(2.0 * math.pi)) * math.exp(-0.5 * off * off)
            clock += terms.clock_wrong + (1.0 - terms.clock_wrong) * right
    kind /= len(members)
    return kind * (clock / clocks if clocks else 1.0), kind, alike


def near(side: list, i: int, near_m: float) -> bool:
    """Whether an item lies within what can be told from the one before."""
    return side[i][0] - side[i - 1][0] <= near_m + 2.0 * math.sqrt(side[i][2] + side[i - 1][2])


def seems_displaced(likely: list[list[bool]], partner: list[int]) -> bool:
    """Whether no fewer items lack a partner that they could have than have one."""
    taken = {j for j in partner if j >= 0}
    lone = [row for row, j in zip(likely, partner, strict=True) if j < 0]
    lacking = sum(any(is_likely and j not in taken for j, is_likely in enumerate(row)) for row in lone)
    return lacking > 0 and lacking >= len(taken)


def problems(data: SimpleNamespace) -> list[tuple[list[list[float]], list[float], list[float]]]:
    """Of each run the costs of pairs, of misses and of new ones, where it was expected."""
    tables = []
    for lateral, run in zip(data.laterals, data.target, strict=True):
        one = problem_of(data, lateral, run, items_of(data, lateral, run), clusters_of(data, lateral, run))
        if one.new and one.at_m:
            tables.append((*price(one, 0.0, 0.0, data.terms.edge_m), one.new))
    return tables


def align(
    new: list[float], pair: list[list[float]], missed: list[float], swaps: list[list[bool]] | None = None
) -> tuple[float, list[int]]:
    """The dynamic programme."""
    n, count = len(new), len(missed)
    best, step = [[0.0] * (count + 1) for _ in range(n + 1)], [[0] * (count + 1) for _ in range(n + 1)]
    for j in range(1, count + 1):
        best[0][j], step[0][j] = best[0][j - 1] + missed[j - 1], MISSED
    for i in range(1, n + 1):
        above, here, cost, how, lone = best[i - 1], best[i], pair[i - 1], step[i], new[i - 1]
        crosses = swaps[i - 1] if swaps else None
        here[0], how[0] = above[0] + lone, NEW
        for j in range(1, count + 1):
            least, what = above[j - 1] + cost[j - 1], PAIR
            if crosses and crosses[j - 1]:
                crossed = best[i - 2][j - 2] + pair[i - 2][j - 1] + cost[j - 2]
                if crossed < least:
                    least, what = crossed, CROSSED
            if above[j] + lone < least:
                least, what = above[j] + lone, NEW
            if here[j - 1] + missed[j - 1] < least:
                least, what = here[j - 1] + missed[j - 1], MISSED
            here[j], how[j] = least, what
    return best[n][count], walk_back(step)


def walk_back(step: list[list[int]]) -> list[int]:
    """The partners, from the last step to the first."""
    i, j = len(step) - 1, len(step[0]) - 1
    partner = [-1] * i
    while i or j:
        what = step[i][j]
        if what == PAIR:
            i, j = i - 1, j - 1
            partner[i] = j
        elif what == CROSSED:
            partner[i - 1], partner[i - 2] = j - 2, j - 1
            i, j = i - 2, j - 2
        elif what == NEW:
            i -= 1
        else:
            j -= 1
    return partner


def price(p: Problem, t0: float, t1: float, edge_m: float) -> tuple[list[list[float]], list[float]]:
    """Costs of pairs and of clusters passed by."""
    pair = []
    for apart, weight, fixed, a in zip(p.apart_m, p.weight, p.fixed, p.from_centre_m, strict=True):
        moved = t0 + t1 * a
        pair.append([0.5 * w * (d - moved) ** 2 + f for d, w, f in zip(apart, weight, fixed, strict=True)])
    missed = []
    for at, chance in zip(p.at_m, p.seen, strict=True):
        place = at - t0 - t1 * (at - p.centre_m)
        inside = 1.0 / ((1.0 + math.exp((p.low_m - place) / edge_m)) * (1.0 + math.exp((place - p.high_m) / edge_m)))
        missed.append(-math.log(1.0 - chance * inside))
    return pair, missed


def settled(p: Problem, partner: list[int]) -> tuple[float, float, float]:
    """Shift and stretch of a matching, and their cost."""
    m00 = m01 = m11 = b0 = b1 = 0.0
    for i, j in enumerate(partner):
        if j >= 0:
            weight, a = p.weight[i][j], p.from_centre_m[i]
            m00, m01, m11 = m00 + weight, m01 + weight * a, m11 + weight * a * a
            b0, b1 = b0 + weight * p.apart_m[i][j], b1 + weight * a * p.apart_m[i][j]
    shift, stretch, both = p.spread
    a00, a01 = 1.0 + shift * m00 + both * m01, shift * m01 + both * m11
    a10, a11 = both * m00 + stretch * m01, 1.0 + both * m01 + stretch * m11
    r0, r1 = shift * b0 + both * b1, both * b0 + stretch * b1
    determinant = a00 * a11 - a01 * a10
    t0, t1 = (r0 * a11 - a01 * r1) / determinant, (a00 * r1 - a10 * r0) / determinant
    far = t0 * (b0 - m00 * t0 - m01 * t1) + t1 * (b1 - m01 * t0 - m11 * t1)
    return t0, t1, 0.5 * far + 0.5 * math.log(determinant)


def climb(p: Problem, t0: float, t1: float, edge_m: float) -> Found:
    """Match and settle in turn."""
    before: list[int] = []
    cost, own = math.inf, 0.0
    for tried in range(ROUNDS):
        total, partner = align(p.new, *price(p, t0, t1, edge_m), p.swaps)
        if partner == before and tried:
            return Found(own + total, partner)
        cost = own + total if tried else math.inf
        before = partner
        t0, t1, own = settled(p, partner)
    return Found(cost, before)


def search(p: Problem, terms: SimpleNamespace) -> Found:
    """The best of all climbs."""
    best = climb(p, 0.0, 0.0, terms.edge_m)
    if sum(p.new) < best.cost:
        alone = Found(sum(p.new) + sum(price(p, 0.0, 0.0, terms.edge_m)[1]), [-1] * len(p.new))
        best = alone if alone.cost < best.cost - 1e-9 else best
    least = sum(min([lone, *row]) for lone, row in zip(p.new, p.fixed, strict=True))
    shift, stretch, both = p.spread
    starts = [(i, j) for i in range(len(p.new)) for j in range(len(p.at_m)) if p.likely[i][j]] if shift + stretch > 0.0 else []
    for i, j in starts:
        a, off = p.from_centre_m[i], p.apart_m[i][j]
        to0, to1 = shift + both * a, both + stretch * a
        expected = to0 + to1 * a + 1.0 / p.weight[i][j]
        far = off * off / expected
        if best.partner[i] == j or far > terms.gate**2 or least + 0.5 * far >= best.cost:
            continue
        found = climb(p, to0 * off / expected, to1 * off / expected, terms.edge_m)
        if found.cost < best.cost - 1e-9:
            best = found
    return best
