"""Where in the pictures of one camera its counter stands: searched in a few of them."""

from dataclasses import dataclass

import numpy as np

from etl.counters.crops import Box, guises, sized, tight
from etl.counters.engine import Picture, Seen, engine
from etl.counters.texts import Length, length_in

_SIDES = (640, 1280)
"""The longer side of the picture that is searched, in pixels; the second where the first shows no counter."""
_BESIDE, _ABOVE = 0.3, 0.08
"""What a place leaves around its texts, in heights: a counter grows by a digit on the way."""
_OVERLAP = 0.5


@dataclass(frozen=True)
class Found:
    """A text in one picture that looks like a counter."""

    box: Box
    length: Length


@dataclass(frozen=True)
class Place:
    """Where a text that looks like a counter stands. ``rival``: another place looks as much like one."""

    box: Box
    rival: bool


def places(pictures: list[Picture]) -> list[Place]:
    """Where counters may stand in pictures of one size, the likeliest first.

    Likely is what changes from picture to picture, bears a unit, and is seen often.
    """
    groups: list[list[Found]] = []
    for picture in pictures:
        for found in lengths_in(picture):
            group = next((one for one in groups if _same_place(one[0].box, found.box)), None)
            if group is None:
                groups.append([found])
            else:
                group.append(found)
    groups.sort(key=_likelihood, reverse=True)
    return [
        Place(_around([found.box for found in group]), any(_rivals(group, other) for other in groups if other is not group))
        for group in groups
    ]


def lengths_in(picture: Picture) -> list[Found]:
    """The texts of one picture that look like a counter, and where."""
    for side in _SIDES:
        found = _searched(picture, side)
        if found or side >= max(picture.shape[:2]):
            return found
    return []


def _searched(picture: Picture, side: int) -> list[Found]:
    height, width = picture.shape[:2]
    scale = side / max(height, width)
    boxes = engine().boxes(sized(picture, round(width * scale), round(height * scale))) / scale
    crops = [guises(picture, box)[:2] for box in boxes]
    seen = iter(engine().read([crop for pair in crops for crop in pair]))
    found = []
    for box in boxes:
        for one in (next(seen), next(seen)):
            length = length_in(one.text)
            if length is not None:
                found.append(Found(_counter_alone(picture, box, one, length), length))
                break
    return found


def _counter_alone(picture: Picture, box: Box, seen: Seen, length: Length) -> Box:
    """The part of the box that holds the counter, where a date or a word stands beside it."""
    if length.end - length.start >= len(seen.text.strip()):
        return box
    return tight(picture, box, seen.along[length.start : length.end])


def _same_place(one: Box, other: Box) -> bool:
    across = min(one[2], other[2]) - max(one[0], other[0])
    down = min(one[3], other[3]) - max(one[1], other[1])
    return bool(across > 0 and down > _OVERLAP * min(one[3] - one[1], other[3] - other[1]))


def _likelihood(group: list[Found]) -> tuple[bool, int, int, float]:
    values = [found.length.reading for found in group]
    named = sum(found.length.unit is not None for found in group)
    return len(set(values)) > 1, named, len(group), max(values) - min(values)


def _rivals(group: list[Found], other: list[Found]) -> bool:
    """Does the other group look as much like a counter?"""
    mine, theirs = _likelihood(group), _likelihood(other)
    return mine[0] == theirs[0] and (mine[1] > 0) == (theirs[1] > 0)


def _around(boxes: list[Box]) -> Box:
    every = np.array(boxes)
    top, bottom = np.median(every[:, 1]), np.median(every[:, 3])
    height = bottom - top
    left, right = every[:, 0].min() - _BESIDE * height, every[:, 2].max() + _BESIDE * height
    return np.array([left, top - _ABOVE * height, right, bottom + _ABOVE * height])
