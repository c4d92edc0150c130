"""Traverses pulled onto the points that are known on their way, and how well each of their vertices is known then.

What is wrong with a walked line grows like a random walk: an error with variance ``q`` for each unit of distance and each axis.
Its mean, given where the line must pass, is what the line is moved by (Gaussian conditioning: Rasmussen and Williams, *Gaussian
Processes for Machine Learning*, 2006, eq. 2.23 and 2.24, from memory). With the two ends alone that is the compass rule.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

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
    """``points`` (N, 2) the ends of the legs where they belong, ``sigma`` (N,) of each of them an axis, map units."""

    points: Floats
    sigma: Floats


def adjusted(traverses: Traverses, q: Floats, start_sigma: Floats, controls: Controls) -> Adjusted:
    """Pull each traverse onto its controls.

    ``q`` (T,): variance of the walk for each unit of distance and axis, map units; ``start_sigma`` (T,): of the start, an axis,
    which moves a line as a whole as far as no control holds it. The sigmas are those of this estimate: of the walk between what
    holds it, of the start, and of the controls, as each weighs there.
    """
    points, walked = traverses.ends(), traverses.walked()
    sigma = np.sqrt(q[traverses.owner] * walked + start_sigma[traverses.owner] ** 2)
    counts = np.bincount(controls.traverse, minlength=len(traverses.start))
    for count in np.unique(counts[counts > 0]):
        which = np.flatnonzero(counts == count)
        rows = np.isin(controls.traverse, which)
        order = np.flatnonzero(rows)[np.argsort(controls.traverse[rows], kind="stable")].reshape(len(which), count)
        vertices = np.flatnonzero(np.isin(traverses.owner, which))
        group = np.searchsorted(which, traverses.owner[vertices])
        moved, variance = _of_group(traverses, q[which], start_sigma[which], controls, order, which, group, walked[vertices])
        points[vertices] -= moved
        sigma[vertices] = np.sqrt(variance)
    _pin_ends(traverses, controls, points, walked)
    return Adjusted(points, sigma)


def _of_group(
    traverses: Traverses,
    q: Floats,
    start_sigma: Floats,
    controls: Controls,
    order: Whole,
    which: Whole,
    group: Whole,
    at: Floats,
) -> tuple[Floats, Floats]:
    """Of traverses with equally many controls: by vertex how far it is to be moved back (V, 2), and its variance (V,)."""
    place, noise = controls.walked[order], controls.sigma[order] ** 2
    misfit = _open_at(traverses, which, place) - controls.xy[order]
    prior = q[:, None, None] * np.minimum(place[:, :, None], place[:, None, :])
    held = np.where(controls.pinned[order], _EXACT * np.maximum(prior.max(axis=(1, 2)), _EXACT)[:, None], noise)
    inverse = np.linalg.inv(prior + held[:, :, None] * np.eye(order.shape[1]))
    shared = q[group][:, None] * np.minimum(at[:, None], place[group])
    weight = np.einsum("vc,vcd->vd", shared, inverse[group])
    moved = np.einsum("vc,vck->vk", weight, misfit[group])
    walk = q[group] * at - 2 * (weight * shared).sum(axis=1) + np.einsum("vc,vcd,vd->v", weight, prior[group], weight)
    own = (weight**2 * noise[group]).sum(axis=1) + (1 - weight.sum(axis=1)) ** 2 * start_sigma[group] ** 2
    return moved, np.maximum(walk, 0.0) + own


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
