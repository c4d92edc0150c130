"""The map on paper: a scale that a ruler has, and which part of the map the drawing shows."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import shapely
from numpy.typing import NDArray

SCALES = {
    "m": {number: f"1:{number}" for number in (100, 200, 250, 500, 1000)},
    "ft": {12 * feet: f"1:{12 * feet} (1 in on paper is {feet} ft)" for feet in (10, 20, 30, 40, 50, 100)},
}
"""Scales that a ruler has: of a metric one, and of an engineer's one (so many feet to the inch). Larger ones show no street
and no corner; for what is to be opened there is the detail.
"""

CLOSE_SCALES = {
    "m": {number: f"1:{number}" for number in (20, 25, 50, 75, 100, 125)} | SCALES["m"],
    "ft": {12 * feet: f"1:{12 * feet} (1 in is {feet} ft)" for feet in (2, 3, 4, 5, 8, 10, 20, 30, 40, 50, 100)},
}
"""Scales of a detail."""

PAD_MM = 7.0
"""What must be seen keeps this far from the edge, so that its label finds room."""


@dataclass(frozen=True)
class Frame:
    """A window of ``width_mm`` by ``height_mm`` on paper round ``centre`` (map units), north up, at ``scale`` to one."""

    centre: tuple[float, float]
    scale: int
    scale_words: str
    width_mm: float
    height_mm: float
    metres_per_unit: float

    @property
    def mm_per_m(self) -> float:
        """Millimetres on paper for a metre on the ground."""
        return 1000.0 / self.scale

    @cached_property
    def window(self) -> shapely.Polygon:
        """The window in paper millimetres, the upper left corner being 0, 0."""
        return shapely.box(0, 0, self.width_mm, self.height_mm)

    @cached_property
    def _drawn(self) -> shapely.Polygon:
        """The window and a little more: what is cut there leaves no edge to be seen."""
        return shapely.buffer(self.window, 5, join_style="mitre")

    def on_paper(self, shape: shapely.Geometry) -> shapely.Geometry:
        """A shape of the map in paper millimetres (y grows downwards), cut to the window and a little more."""
        placed = shapely.transform(shapely.force_2d(shape), self._millimetres)
        return shapely.intersection(placed, self._drawn)

    def point(self, x: float, y: float) -> tuple[float, float]:
        """A place of the map in paper millimetres; it may lie outside the window."""
        at = self._millimetres(np.array([[x, y]]))[0]
        return float(at[0]), float(at[1])

    def shows(self, x: float, y: float, margin_mm: float = 1.0) -> bool:
        """Whether a place lies in the window, not nearer to its edge than the margin."""
        across, down = self.point(x, y)
        return margin_mm <= across <= self.width_mm - margin_mm and margin_mm <= down <= self.height_mm - margin_mm

    def _millimetres(self, xy: NDArray[np.float64]) -> NDArray[np.float64]:
        mm = (xy - np.asarray(self.centre)) * self.metres_per_unit * self.mm_per_m
        placed: NDArray[np.float64] = mm * [1.0, -1.0] + [self.width_mm / 2, self.height_mm / 2]
        return placed


def frame_round(
    needed: Sequence[shapely.Geometry],
    wished: Sequence[shapely.Geometry],
    unit: str,
    size_mm: tuple[float, float],
    metres_per_unit: float,
    *,
    scales: Mapping[str, Mapping[int, str]] = SCALES,
    pad_mm: float = PAD_MM,
) -> Frame:
    """The largest scale at which all of ``needed`` fits; then of what is ``wished``, in its order, whatever still fits.

    >>> frame_round([shapely.box(0, 0, 8, 4)], [shapely.Point(11, 0), shapely.Point(90, 0)], "m", (140, 100), 1.0).scale
    100
    """
    box = np.array(shapely.union_all(list(needed)).bounds)
    room_m = np.maximum(np.array(size_mm) - 2 * pad_mm, 1.0) / 1000.0
    fits = [scale for scale in scales[unit] if (_span(box) * metres_per_unit <= room_m * scale).all()]
    scale = fits[0] if fits else max(scales[unit])
    for shape in wished:
        grown = np.array(shapely.union_all([shapely.box(*box), shape]).bounds)
        if (_span(grown) * metres_per_unit <= room_m * scale).all():
            box = grown
    centre = (float(box[0] + box[2]) / 2, float(box[1] + box[3]) / 2)
    return Frame(centre, scale, scales[unit][scale], *size_mm, metres_per_unit)


def _span(box: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.array([box[2] - box[0], box[3] - box[1]])
