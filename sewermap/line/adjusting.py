"""Traverses pulled onto the points that are known on their way, and how well each of their vertices is known then.

What is wrong with a walked line is taken to grow like a random walk: an error with variance ``q`` for each unit of distance
and axis. Its mean, given where the line must pass, is what the line is moved by (Gaussian conditioning: Rasmussen and Williams,
*Gaussian Processes for Machine Learning*, 2006, eq. 2.23 and 2.24, from memory). With both ends alone that is the compass rule.
How well a vertex is known then follows from the errors of the legs themselves.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sewermap.line.along import an_axis, equally
from sewermap.line.traverse import Floats, Traverses, Whole

_EXACT = 1e-12
"""Variance of a pinned control as a share of its prior's: none, but for rounding."""


@dataclass(frozen=True)
class Controls:
    """Points that traverses must pass: ``traverse`` (C,) each belongs to, ``walked`` (C,) the distance from its start, ``xy``
    (C, 2), ``sigma`` (C,) an axis, and ``pinned`` (C,): passed exactly, as the known end is by the compass rule. Map units.
    """

    traverse: Whole
    walked: Floats
    xy: Floats
    sigma: Floats
    pinned: NDArray[np.bool_]


@dataclass(frozen=True)
class Adjusted:
    """``points`` (N, 2) the ends of the legs where they belong, ``covariance`` (N, 3) of each (xx, xy, yy), and by traverse
    ``q`` (T,), the variance an axis by which the walk errs for each unit of distance; map units.
    """

    points: Floats
    covariance: Floats
    q: Floats


@dataclass(frozen=True)
class LegErrors:
    """What legs may be wrong by: ``theta`` (N,) the sigma of each bearing in radians, ``base`` (N,) a number that legs share
    whose bearings were told from one (rising within a traverse), ``scale`` the sigma of a counter's scale.
    """

    theta: Floats
    base: Whole
    scale: float


def growth(traverses: Traverses, errors: LegErrors) -> Floats:
    """The variance ``q`` (T,) for each unit of distance and axis of the walk that errs by its end as these legs do."""
    last = traverses.offsets[1:] - 1
    free = np.zeros((len(traverses.length), 0))
    every = _strayed(traverses, errors, np.arange(len(traverses.length)), free, free)
    return np.asarray(an_axis(every[last]) ** 2 / traverses.walked()[last])


def adjusted(traverses: Traverses, errors: LegErrors, start_sigma: Floats, controls: Controls) -> Adjusted:
    """Pull each traverse onto its controls, by the mean of the walk that errs as its legs do.

    ``start_sigma`` (T,): of the start, an axis, which moves a line as a whole as far as no control holds it. The covariances are
    those of this estimate, by propagation of the errors of the legs, of the start and of the controls, as each weighs there.
    """
    q = growth(traverses, errors)
    points, walked = traverses.ends(), traverses.walked()
    covariance = np.empty((len(points), 3))
    counts = np.bincount(controls.traverse, minlength=len(traverses.start))
    for count in np.unique(counts):
        which = np.flatnonzero(counts == count)
        rows = np.flatnonzero(np.isin(controls.traverse, which))
        order = rows[np.argsort(controls.traverse[rows], kind="stable")].reshape(len(which), count)
        vertices = np.flatnonzero(np.isin(traverses.owner, which))
        group = np.searchsorted(which, traverses.owner[vertices])
        place = controls.walked[order]
        weight = _weights(q[which], place, controls, order, group, walked[vertices])
        misfit = _open_at(traverses, which, place) - controls.xy[order]
        points[vertices] -= np.einsum("vc,vck->vk", weight, misfit[group])
        own = (weight**2 * controls.sigma[order][group] ** 2).sum(axis=1)
        own += (1 - weight.sum(axis=1)) ** 2 * start_sigma[which][group] ** 2
        covariance[vertices] = equally(np.sqrt(own)) + _strayed(traverses, errors, vertices, weight, place[group])
    _pin_ends(traverses, controls, points, walked)
    return Adjusted(points, covariance, q)


def _weights(q: Floats, place: Floats, controls: Controls, order: Whole, group: Whole, at: Floats) -> Floats:
    """How much the misfit at each control (V, C) moves each vertex, of traverses with equally many controls."""
    prior = q[:, None, None] * np.minimum(place[:, :, None], place[:, None, :])
    tiny = _EXACT * np.maximum(prior.max(axis=(1, 2), initial=0.0), _EXACT)[:, None]
    held = np.where(controls.pinned[order], tiny, controls.sigma[order] ** 2)
    inverse = np.linalg.inv(prior + held[:, :, None] * np.eye(order.shape[1]))
    shared = q[group][:, None] * np.minimum(at[:, None], place[group])
    return np.asarray(np.einsum("vc,vcd->vd", shared, inverse[group]))


def _strayed(traverses: Traverses, errors: LegErrors, vertices: Whole, weight: Floats, place: Floats) -> Floats:
    """The covariance (V, 3) at vertices from the errors of the legs: a bearing's lies squarely to its leg, a counter's along it.

    ``weight`` and ``place`` (V, C): of the controls that hold each vertex. A leg counts as far as it was walked to the vertex,
    less what the controls, as far as it was walked to them, take back.
    """
    owner = traverses.owner[vertices]
    first, count = traverses.offsets[owner], np.diff(traverses.offsets)[owner]
    vertex = np.repeat(np.arange(len(vertices)), count)
    leg = np.arange(len(vertex)) - np.repeat(np.cumsum(count) - count - first, count)
    length, end = traverses.length[leg], traverses.walked()[leg]
    passed = np.clip((place[vertex] - (end - length)[:, None]) / length[:, None], 0.0, 1.0)
    counts = (leg <= vertices[vertex]) - (weight[vertex] * passed).sum(axis=1)
    azimuth = np.radians(traverses.azimuth_deg[leg])
    along = (counts * length)[:, None] * np.column_stack([np.sin(azimuth), np.cos(azimuth)])
    swung = errors.theta[leg][:, None] * along  # as long as what it strays squarely to itself
    runs = np.flatnonzero(np.diff(vertex, prepend=-1) | np.diff(errors.base[leg], prepend=-1))
    turned = np.asarray(np.add.reduceat(swung, runs, axis=0), dtype=np.float64)
    scaled = errors.scale * np.column_stack([np.bincount(vertex, along[:, axis], len(vertices)) for axis in (0, 1)])
    squarely = np.column_stack([-turned[:, 1], turned[:, 0]])
    by_bearings = [np.bincount(vertex[runs], part, len(vertices)) for part in _products(squarely)]
    by_scale = _products(np.asarray(scaled, dtype=np.float64))
    return np.asarray(np.column_stack(by_bearings) + np.column_stack(by_scale))


def _products(vectors: Floats) -> tuple[Floats, Floats, Floats]:
    """xx, xy and yy of vectors (N, 2)."""
    x, y = vectors.T
    return x * x, x * y, y * y


def _open_at(traverses: Traverses, which: Whole, place: Floats) -> Floats:
    """X and Y (G, C, 2) of the open traverses at distances walked; past their last leg they go straight on."""
    ends, walked = traverses.ends(), traverses.walked()
    azimuth = np.radians(traverses.azimuth_deg)
    first, last = traverses.offsets[which][:, None], traverses.offsets[which + 1][:, None] - 1
    # The leg on which each place lies: as many as end before it, counted among the traverse's own.
    far = np.concatenate([np.zeros(1), np.cumsum(traverses.length)])
    leg = np.clip(np.searchsorted(far[1:], far[first] + place, side="left"), first, last)
    back = walked[leg] - place
    return np.asarray(ends[leg] - back[:, :, None] * np.stack([np.sin(azimuth[leg]), np.cos(azimuth[leg])], axis=2))


def _pin_ends(traverses: Traverses, controls: Controls, points: Floats, walked: Floats) -> None:
    """A pinned end is met to the last bit, whatever rounding left."""
    last = traverses.offsets[controls.traverse + 1] - 1
    ends = controls.pinned & (controls.walked >= walked[last])
    points[last[ends]] = controls.xy[ends]
