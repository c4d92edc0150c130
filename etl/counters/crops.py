"""The same crop in several guises: what is read alike in all of them is no accident of noise."""

import numpy as np
from numpy.typing import NDArray

from etl.counters.engine import Picture, module

Box = NDArray[np.float64]
"""Left, top, right, bottom, in pixels."""

_UP = 3
_NARROW = 0.08
_BESIDE = 0.6
"""What a tight crop leaves at both ends, from the middle of the outermost signs, in heights of the box."""


def guises(picture: Picture, box: Box) -> list[Picture]:
    """What stands in the box: as it is; three times as large and smoothed; and that with less above and below."""
    trim = _NARROW * (box[3] - box[1])
    narrow = box + np.array([0, trim, 0, -trim])
    return [cut(picture, box), _larger(cut(picture, box)), _larger(cut(picture, narrow))]


def cut(picture: Picture, box: Box) -> Picture:
    """The part of a picture in a box, at least a pixel large, never beyond the picture's edge."""
    height, width = picture.shape[:2]
    left, top = int(np.clip(box[0], 0, width - 1)), int(np.clip(box[1], 0, height - 1))
    right, bottom = int(np.clip(np.ceil(box[2]), left + 1, width)), int(np.clip(np.ceil(box[3]), top + 1, height))
    return np.ascontiguousarray(picture[top:bottom, left:right])


def tight(picture: Picture, box: Box, along: NDArray[np.float64]) -> Box:
    """The box without what is empty at its ends; ``along``: where in its crop signs were seen (0 left, 1 right)."""
    if len(along) == 0:
        return box
    left = float(np.clip(box[0], 0, picture.shape[1] - 1))
    width = float(np.clip(box[2], left + 1, picture.shape[1])) - left
    beside = _BESIDE * (box[3] - box[1])
    return np.array([left + along.min() * width - beside, box[1], left + along.max() * width + beside, box[3]])


def sized(picture: Picture, width: int, height: int) -> Picture:
    """The picture at another size."""
    image = module("PIL.Image")
    return np.asarray(image.fromarray(picture).resize((width, height), image.Resampling.BICUBIC))


def _larger(crop: Picture) -> Picture:
    image, filters = module("PIL.Image"), module("PIL.ImageFilter")
    size = (crop.shape[1] * _UP, crop.shape[0] * _UP)
    return np.asarray(image.fromarray(crop).resize(size, image.Resampling.LANCZOS).filter(filters.GaussianBlur(_UP / 2)))
