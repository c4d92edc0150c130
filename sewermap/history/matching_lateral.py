"""What one run of a lateral saw beside the clusters of its other runs: order, distances, likeness, chances. Compiled."""

from typing import NamedTuple

import numpy as np

from sewermap.history.matching_kernel import Floats, Whole, compiled
from sewermap.history.matching_tables import Frame, Jobs, Looks, Seen, Terms

_HALF_DAY, _DAY = 6.0, 12.0
"""Hours of a clock face."""
_ROOT_TWO_PI = float(np.sqrt(2.0 * np.pi))


class Items(NamedTuple):
    """The run's observations (row of the observations) or the clusters (its name), in order along the line.

    Ends are NaN where not known; ``at_m`` is the upper end where it is known, else the lower.
    """

    name: Whole
    at_m: Floats
    upper_m: Floats
    lower_m: Floats
    upper_rest: Floats
    lower_rest: Floats


@compiled
def relabel(seen: Seen, lateral: int, without_run: int, cluster: Whole, thing: Whole) -> None:
    """Name each cluster after its first observation, the run that is to be matched left out (that run's become −1), and write
    into ``thing`` (per row of the frame) what each reading is a sighting of.
    """
    first, last = seen.first[lateral], seen.first[lateral + 1]
    before = np.empty(last - first, np.int64)
    for o in range(first, last):
        before[o - first] = cluster[o]
        cluster[o] = -1
    for o in range(first, last):
        if not seen.part[o] or seen.run[o] == without_run:
            continue
        for other in range(first, o + 1):
            if before[other - first] == before[o - first] and seen.run[other] != without_run and before[o - first] >= 0:
                cluster[o] = other
                break
    for o in range(first, last):
        if seen.upper[o] >= 0:
            thing[seen.upper[o]] = 2 * cluster[o] if cluster[o] >= 0 else -1
        if seen.lower[o] >= 0:
            thing[seen.lower[o]] = 2 * cluster[o] + 1 if cluster[o] >= 0 else -1


@compiled
def sorted_items(name: Whole, ends: Floats) -> Items:
    """In order along the line; what lies together, by name, which is by order of content.

    ``ends`` (5, N): at_m, upper_m, lower_m, upper_rest, lower_rest.
    """
    count = len(name)
    order = np.empty(count, np.int64)
    for i in range(count):  # insertion sort: few
        place = i
        while place > 0 and _is_after(ends[0, order[place - 1]], name[order[place - 1]], ends[0, i], name[i]):
            order[place] = order[place - 1]
            place -= 1
        order[place] = i
    names, columns = np.empty(count, np.int64), np.empty((5, count))
    for i in range(count):
        names[i] = name[order[i]]
        for k in range(5):
            columns[k, i] = ends[k, order[i]]
    return Items(names, columns[0], columns[1], columns[2], columns[3], columns[4])


@compiled
def _is_after(at_m: float, name: int, other_m: float, other: int) -> bool:
    return at_m > other_m or (at_m == other_m and name > other)


@compiled
def items_of_run(seen: Seen, lateral: int, run: int, frame: Frame) -> Items:
    """The observations of a run."""
    count = 0
    for o in range(seen.first[lateral], seen.first[lateral + 1]):
        count += seen.part[o] and seen.run[o] == run
    name, ends = np.empty(count, np.int64), np.full((5, count), np.nan)
    at = 0
    for o in range(seen.first[lateral], seen.first[lateral + 1]):
        if not seen.part[o] or seen.run[o] != run:
            continue
        name[at] = o
        upper, lower = seen.upper[o], seen.lower[o]
        if lower >= 0:
            ends[0, at], ends[2, at], ends[4, at] = frame.at_m[lower], frame.at_m[lower], frame.rest[lower]
        if upper >= 0:
            ends[0, at], ends[1, at], ends[3, at] = frame.at_m[upper], frame.at_m[upper], frame.rest[upper]
        at += 1
    return sorted_items(name, ends)


@compiled
def items_of_clusters(lateral: int, frame: Frame) -> Items:
    """The clusters, from their things."""
    first, things = frame.first[lateral], frame.things[lateral]
    name, ends = np.empty(things, np.int64), np.full((5, things), np.nan)
    count = 0
    for thing in range(first, first + things):
        cluster, is_lower = frame.thing[thing] // 2, frame.thing[thing] % 2
        place = count
        for k in range(count):
            if name[k] == cluster:
                place = k
        if place == count:
            name[count] = cluster
            count += 1
        ends[1 + is_lower, place], ends[3 + is_lower, place] = frame.thing_m[thing], frame.thing_rest[thing]
    for k in range(count):
        ends[0, k] = ends[2, k] if np.isnan(ends[1, k]) else ends[1, k]
    return sorted_items(name[:count], ends)


@compiled
def hours_apart(one: float, other: float) -> float:
    """Between two clock positions the short way round."""
    apart = abs(one - other) % _DAY
    return _DAY - apart if apart > _HALF_DAY else apart


class Members(NamedTuple):
    """Sightings (rows of the observations) of clusters: those of cluster j from ``first[j]`` to ``first[j + 1]``."""

    first: Whole
    row: Whole


@compiled
def members_of(seen: Seen, lateral: int, run: int, clusters: Items, cluster_of: Whole) -> Members:
    """The sightings of each cluster by other runs than this."""
    begin, end, count = seen.first[lateral], seen.first[lateral + 1], len(clusters.name)
    first, row = np.zeros(count + 1, np.int64), np.empty(end - begin, np.int64)
    at = 0
    for j in range(count):
        for o in range(clusters.name[j], end):  # a cluster is named after its first
            if cluster_of[o] == clusters.name[j] and seen.run[o] != run:
                row[at] = o
                at += 1
        first[j + 1] = at
    return Members(first, row)


@compiled
def likeness(seen: Seen, o: int, members: Members, j: int, terms: Terms) -> tuple[float, float, float]:
    """Likelihood of an observation being noted so if it is the cluster, by kind and clock (a clock's against any clock being as
    likely): the mean over the cluster's sightings; the probability of its kind alone; and what a common name takes off the cost.
    Likelihood 0 where the two are said to be different known points.
    """
    kind, clock, clocks, alike, told = 0.0, 0.0, 0, 0.0, seen.clock[o]
    for at in range(members.first[j], members.first[j + 1]):
        other = members.row[at]
        kind += 0.5 * (terms.turns[seen.kind[other], seen.kind[o]] + terms.turns[seen.kind[o], seen.kind[other]])
        if seen.named[o] >= 0 and seen.named[other] >= 0:
            if seen.named[o] != seen.named[other]:
                return 0.0, 0.0, 0.0
            alike = terms.named_alike
        if not (np.isnan(told) or np.isnan(seen.clock[other])):
            clocks += 1
            off = hours_apart(told, seen.clock[other]) / terms.clock_hours
            right = _DAY / (terms.clock_hours * _ROOT_TWO_PI) * np.exp(-0.5 * off * off)
            clock += terms.clock_wrong + (1.0 - terms.clock_wrong) * right
    kind /= members.first[j + 1] - members.first[j]
    return kind * (clock / clocks if clocks else 1.0), kind, alike


@compiled
def chance_to_see(
    seen: Seen, run: int, members: Members, j: int, place_m: float, looks: Looks, jobs: Jobs, terms: Terms
) -> float:
    """Probability that a run which covers a cluster notes it: lower after a work that should have mended it, and before it was
    ever seen.
    """
    last, kind = -1, -1
    for at in range(members.first[j], members.first[j + 1]):
        o = members.row[at]
        if seen.run[o] < run and looks.time[seen.run[o]] > last:
            last, kind = looks.time[seen.run[o]], seen.kind[o]
    if kind < 0:
        return terms.seen_before_known
    lateral = looks.lateral[run]
    for job in range(jobs.first[lateral], jobs.first[lateral + 1]):
        if last < jobs.time[job] < looks.time[run] and jobs.mends[job, kind]:
            from_m, to_m = jobs.from_m[job] - terms.works_reach_m, jobs.to_m[job] + terms.works_reach_m
            if from_m <= place_m <= to_m:
                return terms.seen_after_work
    return terms.seen


@compiled
def apart(item: Items, i: int, cluster: Items, j: int, terms: Terms) -> tuple[float, float, float]:
    """Distance (m) and variance (m²) between an observation and a cluster at the end that both know, and what their lengths add
    to the cost: differences of lengths are normal with ``length_m``, those of strangers as wide as three times that. Where one
    knows the upper end alone and the other the lower alone, they are expected ``usual_length_m`` apart, give or take.
    """
    both_upper = not (np.isnan(item.upper_m[i]) or np.isnan(cluster.upper_m[j]))
    both_lower = not (np.isnan(item.lower_m[i]) or np.isnan(cluster.lower_m[j]))
    length = 0.0
    if both_upper and both_lower:
        long = (cluster.upper_m[j] - cluster.lower_m[j] - item.upper_m[i] + item.lower_m[i]) / terms.length_m
        length = 0.5 * long * long * (1.0 - 1.0 / 9.0) - np.log(3.0)
    if both_upper:
        return cluster.upper_m[j] - item.upper_m[i], cluster.upper_rest[j] + item.upper_rest[i], length
    if both_lower:
        return cluster.lower_m[j] - item.lower_m[i], cluster.lower_rest[j] + item.lower_rest[i], length
    if not (np.isnan(item.upper_m[i]) or np.isnan(cluster.lower_m[j])):
        return cluster.lower_m[j] + terms.usual_length_m - item.upper_m[i], terms.other_end_m**2, length
    return cluster.upper_m[j] - terms.usual_length_m - item.lower_m[i], terms.other_end_m**2, length
