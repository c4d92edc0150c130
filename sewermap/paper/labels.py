"""Labels on a drawing: each takes the place, of those it may have, where it covers least."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from itertools import product

import numpy as np
import shapely
from markupsafe import Markup
from shapely import affinity

from sewermap.paper.markup import tag

_WIDE, _COMMON, _NARROW, _BOLD = 0.74, 0.62, 0.36, 1.12
"""How wide signs are, in heights of the writing: those of the widest sans-serif font that browsers commonly fall back on."""

UPSIDE_DOWN_DEG = 90.0
_ROUND = ((1, 0), (-1, 0), (0, -1), (0, 1), (1, -1), (-1, -1), (1, 1), (-1, 1), (0.5, -1), (-0.5, -1), (0.5, 1), (-0.5, 1))
_AWAY_MM = (1.6, 2.4, 3.4, 4.6, 6.0, 8.0, 10.5, 14.0, 18.0)
_GRID = 9
_FAR_MM = 6.0
"""A label farther than this from its point gets a line to it."""


@dataclass(frozen=True)
class Spot:
    """A place that a label may have: its middle, and its turn in degrees (clockwise on paper)."""

    x: float
    y: float
    turn: float = 0.0
    distance: float = 0.0


@dataclass
class Labels:
    """The labels of one drawing (paper millimetres). ``window`` holds them all, ``lines`` had better not be covered."""

    window: shapely.Polygon
    lines: shapely.Geometry = field(default_factory=shapely.Polygon)
    taken: list[shapely.Geometry] = field(default_factory=list)
    drawn: list[Markup] = field(default_factory=list)

    def keep_free(self, shape: shapely.Geometry) -> None:
        """Nothing is written over this."""
        self.taken.append(shape)

    def near_point(self, text: str, x: float, y: float, *, size: float = 2.9, bold: bool = False, must: bool = True) -> bool:
        """Write beside a point, with a line to it where it had to go far. Tells whether it was written."""
        width, height = _width(text, size, bold=bold), size * 1.15
        spots = [
            Spot(x + dx * (width / 2 + away), y + dy * (height / 2 + away), 0.0, away)
            for away, (dx, dy) in product(_AWAY_MM, _ROUND)
        ]
        best = self._best(spots, width, size, must=must)
        if best is None:
            return False
        if best.distance > _FAR_MM:
            foot = shapely.get_point(shapely.shortest_line(_box(best, width, size), shapely.Point(x, y)), 0)
            self.drawn.append(tag("line", x1=x, y1=y, x2=float(foot.x), y2=float(foot.y), class_="lead"))
        self._write(best, text, size, bold=bold)
        return True

    def along(self, text: str, line: shapely.Geometry, *, size: float = 2.9, bold: bool = False, must: bool = True) -> bool:
        """Write along a line, on it or beside it. Tells whether it was written."""
        width = _width(text, size, bold=bold)
        spots = [spot for part in shapely.get_parts(line) for spot in _spots_along(part, width, size)]
        best = self._best(spots, width, size, must=must)
        if best is not None:
            self._write(best, text, size, bold=bold)
        return best is not None

    def inside(self, text: str, shape: shapely.Geometry, *, size: float = 2.9) -> bool:
        """Write inside a polygon, where it has room. Tells whether it was written."""
        if shapely.is_empty(shape):
            return False
        left, top, right, bottom = shapely.bounds(shape)
        grid = product(np.linspace(top, bottom, _GRID + 2)[1:-1], np.linspace(left, right, _GRID + 2)[1:-1])
        middle = ((left + right) / 2, (top + bottom) / 2)
        spots = [Spot(float(x), float(y), 0.0, float(np.hypot(x - middle[0], y - middle[1])) / 4) for y, x in grid]
        width = _width(text, size, bold=False)
        roomy = shapely.contains(shape, np.array([_box(spot, width, size) for spot in spots], dtype=object))
        best = self._best([spot for spot, fits in zip(spots, roomy, strict=True) if fits], width, size, must=False)
        if best is not None:
            self._write(best, text, size, bold=False)
        return best is not None

    def _best(self, spots: Iterable[Spot], width: float, size: float, *, must: bool) -> Spot | None:
        """The spot where a label covers least; None where it need not be written and covers another, or leaves the window."""
        found: tuple[float, Spot | None] = (np.inf, None)
        for spot in spots:
            box = _box(spot, width, size)
            covered = np.sum(shapely.area(shapely.intersection(box, np.array([shapely.Polygon(), *self.taken], dtype=object))))
            hard = float(covered) + 5 * float(shapely.area(shapely.difference(box, self.window)))
            if hard > 0 and not must:
                continue
            cost = 20 * hard + float(shapely.length(shapely.intersection(box, self.lines))) + 0.4 * spot.distance
            if cost < found[0]:
                found = (cost, spot)
        return found[1]

    def _write(self, spot: Spot, text: str, size: float, *, bold: bool) -> None:
        self.taken.append(_box(spot, _width(text, size, bold=bold), size))
        turn = f"rotate({spot.turn:.2f} {spot.x:.2f} {spot.y:.2f})" if spot.turn else None
        self.drawn.append(
            tag(
                "text",
                text,
                x=spot.x,
                y=spot.y + size * 0.35,
                font_size=size,
                font_weight="bold" if bold else None,
                text_anchor="middle",
                transform=turn,
                class_="label",
            )
        )


def _width(text: str, size: float, *, bold: bool) -> float:
    signs = sum(_WIDE if sign.isupper() or sign in "mw½" else _NARROW if sign in "iljtf.,:;' " else _COMMON for sign in text)
    return max(signs, 0.5) * size * (_BOLD if bold else 1.0)


def _box(spot: Spot, width: float, size: float) -> shapely.Geometry:
    height = size * 1.15
    box = shapely.box(spot.x - width / 2, spot.y - height / 2, spot.x + width / 2, spot.y + height / 2)
    return affinity.rotate(box, spot.turn, origin=(spot.x, spot.y)) if spot.turn else box


def _spots_along(line: shapely.LineString, width: float, size: float) -> Iterator[Spot]:
    """Places along a line that is long enough, first its middle; never upside down."""
    if shapely.length(line) < 0.6 * width:
        return
    for share, aside in product((0.5, 0.35, 0.65, 0.22, 0.78), (1.0, -1.0, 1.9, -1.9)):
        at = shapely.line_interpolate_point(line, [max(share - 0.02, 0), share, min(share + 0.02, 1)], normalized=True)
        dx, dy = at[2].x - at[0].x, at[2].y - at[0].y
        step = float(np.hypot(dx, dy)) or 1.0
        turn = float(np.degrees(np.arctan2(dy, dx)))
        away = aside * size * 0.75
        if abs(turn) > UPSIDE_DOWN_DEG:
            turn -= float(np.copysign(180.0, turn))
        yield Spot(float(at[1].x) - dy / step * away, float(at[1].y) + dx / step * away, turn, abs(away))
