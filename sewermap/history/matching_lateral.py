"""What one run of a lateral saw beside the clusters of its other runs: order, distances, likeness, chances. Compiled."""

from typing import NamedTuple

import numpy as np

from sewermap.history.matching_kernel import Floats, Whole, compiled
from sewermap.history.matching_tables import Frame, Jobs, Looks, Seen, Terms

_HALF_DAY, _DAY = 6.0, 12.0
"""Hours of a clock face."""
_ROOT_TWO_PI = float(np.sqrt(2.0 * np.pi))


class Items(NamedTuple):
    """The run's observations (``name``: row of the observations) or the clusters, in order along the line; room for many runs.

    Ends are NaN where not known; ``at_m`` is the upper end where it is known, else the lower.
    """

    name: Whole
    at_m: Floats
    upper_m: Floats
    lower_m: Floats
    upper_rest: Floats
    lower_rest: Floats


class Members(NamedTuple):
    """Sightings (rows of the observations) of clusters: those of cluster j from ``first[j]`` to ``first[j + 1]``."""

    first: Whole
    row: Whole


@compiled
def items_for(most: int) -> Items:
    """Room for items."""
    return Items(np.empty(most, np.int64), np.empty(most), np.empty(most), np.empty(most), np.empty(most), np.empty(most))


@compiled
def members_for(most: int) -> Members:
    """Room for as many sightings of as many clusters."""
    return Members(np.zeros(most + 1, np.int64), np.empty(most, np.int64))


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
def _set_end(items: Items, at: int, is_lower: bool, measure_m: float, rest: float) -> None:  # noqa: FBT001 - compiled
    if is_lower:
        items.lower_m[at], items.lower_rest[at] = measure_m, rest
    else:
        items.upper_m[at], items.upper_rest[at] = measure_m, rest


@compiled
def _begin(items: Items, at: int, name: int) -> None:
    """An item without ends."""
    items.name[at] = name
    items.upper_m[at], items.upper_rest[at], items.lower_m[at], items.lower_rest[at] = np.nan, np.nan, np.nan, np.nan


@compiled
def sort_items(items: Items, count: int) -> None:
    """The first ``count`` in order along the line; what lies together, by name, which is by order of content."""
    for i in range(count):
        items.at_m[i] = items.lower_m[i] if np.isnan(items.upper_m[i]) else items.upper_m[i]
        at = i
        while at > 0 and _is_after(items, at - 1, at):  # insertion sort, in place: few
            items.name[at - 1], items.name[at] = items.name[at], items.name[at - 1]
            for column in items[1:]:
                column[at - 1], column[at] = column[at], column[at - 1]
            at -= 1


@compiled
def _is_after(items: Items, one: int, other: int) -> bool:
    if items.at_m[one] != items.at_m[other]:
        return bool(items.at_m[one] > items.at_m[other])
    return bool(items.name[one] > items.name[other])


@compiled
def items_of_run(seen: Seen, lateral: int, run: int, frame: Frame, items: Items) -> int:
    """Fill in the observations of a run; how many."""
    count = 0
    for o in range(seen.first[lateral], seen.first[lateral + 1]):
        if not seen.part[o] or seen.run[o] != run:
            continue
        _begin(items, count, o)
        upper, lower = seen.upper[o], seen.lower[o]
        if upper >= 0:
            _set_end(items, count, False, frame.at_m[upper], frame.rest[upper])  # noqa: FBT003 - compiled
        if lower >= 0:
            _set_end(items, count, True, frame.at_m[lower], frame.rest[lower])  # noqa: FBT003 - compiled
        count += 1
    sort_items(items, count)
    return count


@compiled
def items_of_clusters(lateral: int, frame: Frame, items: Items) -> int:
    """Fill in the clusters, from their things; how many."""
    first, count = frame.first[lateral], 0
    for thing in range(first, first + frame.things[lateral]):
        cluster, place = frame.thing[thing] // 2, count
        for k in range(count):
            if items.name[k] == cluster:
                place = k
        if place == count:
            _begin(items, count, cluster)
            count += 1
        _set_end(items, place, frame.thing[thing] % 2 == 1, frame.thing_m[thing], frame.thing_rest[thing])
    sort_items(items, count)
    return count


@compiled
def hours_apart(one: float, other: float) -> float:
    """Between two clock positions the short way round."""
    apart = abs(one - other) % _DAY
    return _DAY - apart if apart > _HALF_DAY else apart


@compiled
def members_of(seen: Seen, lateral: int, run: int, clusters: Items, count: int, cluster_of: Whole, members: Members) -> None:
    """Fill in the sightings of each cluster by other runs than this."""
    at = 0
    for j in range(count):
        for o in range(clusters.name[j], seen.first[lateral + 1]):  # a cluster is named after its first
            if cluster_of[o] == clusters.name[j] and seen.run[o] != run:
                members.row[at] = o
                at += 1
        members.first[j + 1] = at


@compiled
def likeness(seen: Seen, o: int, members: Members, j: int, terms: Terms) -> tuple[float, float, float]:
    """Likelihood of an observation being noted so if it is the cluster, by kind and clock (a clock's against any clock being as
    likely): the mean over the cluster's sightings; the probability of its kind alone; and what a common name takes off the cost.
    Likelihood 0 where the two are said to be different known points.
    """
    like, clock, clocks, alike = 0.0, 0.0, 0, 0.0
    kind, told, named = seen.kind[o], seen.clock[o], seen.named[o]
    for at in range(members.first[j], members.first[j + 1]):
        other = members.row[at]
        like += terms.turns[kind, seen.kind[other]]
        if named >= 0 and seen.named[other] >= 0:
            if named != seen.named[other]:
                return 0.0, 0.0, 0.0
            alike = terms.named_alike
        if not (np.isnan(told) or np.isnan(seen.clock[other])):
            clocks += 1
            off = hours_apart(told, seen.clock[other]) / terms.clock_hours
            right = _DAY / (terms.clock_hours * _ROOT_TWO_PI) * np.exp(-0.5 * off * off)
            clock += terms.clock_wrong + (1.0 - terms.clock_wrong) * right
    like /= members.first[j + 1] - members.first[j]
    return like * (clock / clocks if clocks else 1.0), like, alike


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
