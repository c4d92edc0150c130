"""How one run of a lateral lies against what the other runs saw: compiled.

Before a run is matched, it and the others are solved together without any tie between them. The difference between its frame
and theirs is then a shift and a stretch (the affine part, common to all its readings) and a small rest of each reading and each
thing. The shared error of the map cancels in the difference, for both carry it.
"""

from typing import NamedTuple

import numpy as np

from sewermap.line.register_kernel import Figures, Floats, Town, Whole, between, compiled, posterior

_SLOPE_FROM_M2 = 0.25
"""Readings within half a metre of each other say nothing of a stretch."""


class Relation(NamedTuple):
    """Flat columns. Per reading: at_m (measure before it is matched) and rest (variance, m², besides shift and stretch).

    Per lateral: ``things`` of them, which stand at the lateral's first reading and on: thing, thing_m, thing_rest; ``centre_m``;
    ``spread`` (L, 3): variances of the shift at the centre (m²), of the stretch (no unit), and their covariance.
    """

    at_m: Floats
    rest: Floats
    things: Whole
    thing: Whole
    thing_m: Floats
    thing_rest: Floats
    centre_m: Floats
    spread: Floats


@compiled
def relate_all(
    town: Town,
    laterals: Whole,
    target: Whole,
    thing: Whole,
    figures: Figures,
    out: Relation,
    together: bool,  # noqa: FBT001 - compiled functions know no keyword-only arguments
) -> None:
    """Fill the relation of each of these laterals and its run ``target`` (row of the runs) to the things of the other runs.

    Not ``together``: each run by its own launch and fixes alone, every deviation as if it were each reading's own.
    """
    for i in range(len(laterals)):
        _relate(town, laterals[i], target[i], thing, figures, out, together)


@compiled
def _relate(
    town: Town,
    lateral: int,
    target: int,
    thing: Whole,
    figures: Figures,
    out: Relation,
    together: bool,  # noqa: FBT001 - compiled functions know no keyword-only arguments
) -> None:
    rows, of_thing = _part(town, lateral, target, thing)
    nothing = np.full(len(rows), -1)
    mean, covariance = posterior(town, lateral, rows, of_thing if together else nothing, figures)
    own = _own_readings(town, target, rows)
    first = town.reading_first[lateral]
    weights, things = _weights(town, target, rows, of_thing, own, len(mean), out, first)
    place = _times(weights, mean)
    among = between(weights, covariance, weights)
    centre = _mean(place, 0, own)
    out.things[lateral], out.centre_m[lateral] = things, centre
    rest = _spread(place, among, own, centre, out.spread[lateral])
    if not together:
        for i in range(len(rest)):
            rest[i] = among[i, i]
        for i in range(3):
            out.spread[lateral, i] = 0.0
    at = 0
    for i in range(len(rows)):
        if town.run[rows[i]] == target:
            out.at_m[rows[i]] = mean[i]
            if not town.extra[rows[i]]:
                out.rest[rows[i]] = rest[at] + figures.noting
                at += 1
    for k in range(things):
        members = 0
        for i in range(len(mean)):
            members += weights[own + k, i] > 0.0
        out.thing_m[first + k] = place[own + k]
        out.thing_rest[first + k] = rest[own + k] + figures.noting / members


@compiled
def _part(town: Town, lateral: int, target: int, thing: Whole) -> tuple[Whole, Whole]:
    """The readings that take part, and the thing of each (−1 in the target run, and where there is none)."""
    rows = np.empty(town.reading_first[lateral + 1] - town.reading_first[lateral], np.int64)
    of_thing = np.full(len(rows), -1)
    count = 0
    for row in range(town.reading_first[lateral], town.reading_first[lateral + 1]):
        mine = town.run[row] == target
        if mine or (not town.extra[row] and (thing[row] >= 0 or town.fix_point[row] >= 0)):
            rows[count] = row
            if not mine:
                of_thing[count] = thing[row]
            count += 1
    return rows[:count], of_thing[:count]


@compiled
def _own_readings(town: Town, target: int, rows: Whole) -> int:
    """How many readings of the target run take part."""
    own = 0
    for row in rows:
        if town.run[row] == target and not town.extra[row]:
            own += 1
    return own


@compiled
def _places_of_things(of_thing: Whole, out: Relation, first: int) -> tuple[Whole, int]:
    """Of each reading the place of its thing among the things (−1: none), and how many there are; their names go to ``out``."""
    things = 0
    place = np.full(len(of_thing), -1)
    for i in range(len(of_thing)):
        if of_thing[i] >= 0:
            for k in range(things):
                if out.thing[first + k] == of_thing[i]:
                    place[i] = k
            if place[i] < 0:
                place[i] = things
                out.thing[first + things] = of_thing[i]
                things += 1
    return place, things


@compiled
def _weights(
    town: Town, target: int, rows: Whole, of_thing: Whole, own: int, size: int, out: Relation, first: int
) -> tuple[Floats, int]:
    """Rows of the target's own readings, then of things, each the mean of its sightings; the things' names go to ``out``."""
    place, things = _places_of_things(of_thing, out, first)
    weights = np.zeros((own + things, size))
    at = 0
    for i in range(len(rows)):
        if town.run[rows[i]] == target and not town.extra[rows[i]]:
            weights[at, i] = 1.0
            at += 1
        if place[i] >= 0:
            weights[own + place[i], i] = 1.0
    for k in range(own, own + things):
        members = 0.0
        for i in range(len(rows)):
            members += weights[k, i]
        for i in range(len(rows)):
            weights[k, i] /= members
    return weights, things


@compiled
def _times(matrix: Floats, vector: Floats) -> Floats:
    out = np.zeros(matrix.shape[0])
    for i in range(matrix.shape[0]):
        for j in range(matrix.shape[1]):
            out[i] += matrix[i, j] * vector[j]
    return out


@compiled
def _mean(values: Floats, begin: int, end: int) -> float:
    """Of a part; 0 where it is empty."""
    total = 0.0
    for i in range(begin, end):
        total += values[i]
    return total / max(1, end - begin)


@compiled
def _spread(place: Floats, among: Floats, own: int, centre: float, spread: Floats) -> Floats:
    """Variances of shift and stretch into ``spread``; returns the variances of the rest."""
    size = len(place)
    fit, difference, left = np.zeros((2, size)), np.zeros((2, size)), np.zeros((size, size))
    _fit(place, 0, own, centre, fit)
    _fit(place, own, size, centre, fit)
    for i in range(size):
        side = -1.0 if i < own else 1.0
        difference[0, i], difference[1, i] = side * fit[0, i], side * fit[1, i]
        left[i, i] = 1.0
        for j in range(size):
            if (i < own) == (j < own):
                left[i, j] -= fit[0, j] + (place[i] - centre) * fit[1, j]
    joint = between(difference, among, difference)
    spread[0], spread[1], spread[2] = joint[0, 0], joint[1, 1], joint[0, 1]
    still = between(left, among, left)
    rest = np.empty(size)
    for i in range(size):
        rest[i] = max(0.0, still[i, i])
    return rest


@compiled
def _fit(place: Floats, begin: int, end: int, centre: float, fit: Floats) -> None:
    """Least squares of a straight line, as a linear map: value at the centre, and slope (0 where all lie together)."""
    count = end - begin
    if count == 0:
        return
    middle, squares = _mean(place, begin, end), 0.0
    for i in range(begin, end):
        squares += (place[i] - middle) ** 2
    for i in range(begin, end):
        slope = (place[i] - middle) / squares if squares > _SLOPE_FROM_M2 else 0.0
        fit[1, i] = slope
        fit[0, i] = 1.0 / count + slope * (centre - middle)


@compiled
def solve_all(town: Town, laterals: Whole, thing: Whole, figures: Figures, at_m: Floats, variance: Floats) -> None:
    """Measure and variance (the shared map error left out) of every reading of these laterals, all runs together."""
    for lateral in laterals:
        rows = np.arange(town.reading_first[lateral], town.reading_first[lateral + 1])
        of_thing = np.full(len(rows), -1)
        for i in range(len(rows)):
            if not town.extra[rows[i]]:
                of_thing[i] = thing[rows[i]]
        mean, covariance = posterior(town, lateral, rows, of_thing, figures)
        for i in range(len(rows)):
            at_m[rows[i]] = mean[i]
            variance[rows[i]] = max(0.0, covariance[i, i])
