"""Labels on a drawing: each takes the place, of those it may have, where it covers least."""

from dataclasses import dataclass, field

import numpy as np
import shapely
from markupsafe import Markup
from numpy.typing import NDArray

from sewermap.paper.markup import tag

Floats = NDArray[np.float64]

_WIDE, _COMMON, _NARROW, _BOLD = 0.74, 0.62, 0.36, 1.12
"""How wide signs are, in heights of the writing: those of the widest sans-serif font that browsers commonly fall back on."""

UPSIDE_DOWN_DEG = 90.0
_ROUND = ((1, 0), (-1, 0), (0, -1), (0, 1), (1, -1), (-1, -1), (1, 1), (-1, 1), (0.5, -1), (-0.5, -1), (0.5, 1), (-0.5, 1))
_AWAY_MM = (1.6, 2.4, 3.4, 4.6, 6.0, 8.0, 10.5, 14.0, 18.0)
_SHARES, _ASIDE = (0.5, 0.35, 0.65, 0.22, 0.78), (1.0, -1.0, 1.9, -1.9)
_GRID = 9
_FAR_MM = 6.0
"""A label farther than this from its point gets a line to it."""

_OF_DISTANCE = 0.4
"""What a millimetre of distance costs."""

_AT_ONCE = 12
"""Places that are weighed together; what is farther away is weighed only where it can still be better."""


@dataclass(frozen=True)
class Spots:
    """Places (N,) that a label may have: their middles, their turns in degrees (clockwise on paper), and how far off they are."""

    x: Floats
    y: Floats
    turn: Floats
    distance: Floats

    def take(self, rows: NDArray[np.int64] | NDArray[np.bool_]) -> "Spots":
        """Some of the places."""
        return Spots(self.x[rows], self.y[rows], self.turn[rows], self.distance[rows])


@dataclass(frozen=True)
class Spot:
    """The place that a label got, and the box that it covers."""

    x: float
    y: float
    turn: float
    distance: float
    box: shapely.Geometry


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
        away, way = np.repeat(_AWAY_MM, len(_ROUND)), np.tile(np.array(_ROUND), (len(_AWAY_MM), 1))
        turn = np.zeros(len(away))
        spots = Spots(x + way[:, 0] * (width / 2 + away), y + way[:, 1] * (height / 2 + away), turn, away)
        best = self._best(spots, width, size, must=must)
        if best is None:
            return False
        if best.distance > _FAR_MM:
            foot = shapely.get_point(shapely.shortest_line(best.box, shapely.Point(x, y)), 0)
            self.drawn.append(tag("line", x1=x, y1=y, x2=float(foot.x), y2=float(foot.y), class_="lead"))
        self._write(best, text, size, bold=bold)
        return True

    def along(self, text: str, line: shapely.Geometry, *, size: float = 2.9, bold: bool = False, must: bool = True) -> bool:
        """Write along a line, on it or beside it. Tells whether it was written."""
        width = _width(text, size, bold=bold)
        spots = _spots_along(shapely.get_parts(line), width, size)
        best = self._best(spots, width, size, must=must)
        if best is not None:
            self._write(best, text, size, bold=bold)
        return best is not None

    def inside(self, text: str, shape: shapely.Geometry, *, size: float = 2.9) -> bool:
        """Write inside a polygon, where it has room. Tells whether it was written."""
        if shapely.is_empty(shape):
            return False
        left, top, right, bottom = shapely.bounds(shape)
        rows, columns = np.linspace(top, bottom, _GRID + 2)[1:-1], np.linspace(left, right, _GRID + 2)[1:-1]
        x, y = np.tile(columns, _GRID), np.repeat(rows, _GRID)
        away = np.hypot(x - (left + right) / 2, y - (top + bottom) / 2) / 4
        spots = Spots(x, y, np.zeros(len(x)), away)
        width = _width(text, size, bold=False)
        shapely.prepare(shape)
        best = self._best(spots.take(shapely.contains(shape, _boxes(spots, width, size))), width, size, must=False)
        if best is not None:
            self._write(best, text, size, bold=False)
        return best is not None

    def _best(self, spots: Spots, width: float, size: float, *, must: bool) -> Spot | None:
        """The spot where a label covers least, the first of equals; None where it need not be written and covers another, or
        leaves the window.
        """
        least, found = np.inf, -1
        tree = shapely.STRtree(self.taken)
        shapely.prepare(self.lines)
        order = np.argsort(spots.distance, kind="stable")
        for some in np.split(order, range(_AT_ONCE, len(order), _AT_ONCE)):
            # No spot costs less than its distance does, and the next ones are farther.
            if not len(some) or spots.distance[some[0]] * _OF_DISTANCE > least:
                break
            cost = self._costs(spots.take(some), _boxes(spots.take(some), width, size), tree, least, must=must)
            row = int(np.lexsort((some, cost))[0])
            if cost[row] < least or (cost[row] == least and some[row] < found):
                least, found = float(cost[row]), int(some[row])
        if found < 0:
            return None
        best = spots.take(np.array([found]))
        x, y, turn, distance = (float(values[0]) for values in (best.x, best.y, best.turn, best.distance))
        return Spot(x, y, turn, distance, _boxes(best, width, size)[0])

    def _costs(self, spots: Spots, boxes: NDArray[np.object_], tree: shapely.STRtree, least: float, *, must: bool) -> Floats:
        """What a label costs at each spot; infinite where it must not be, or where it surely costs more than ``least``."""
        box, taken = tree.query(boxes)
        covered = np.zeros((len(boxes), len(self.taken) + 1))
        covered[box, taken + 1] = shapely.area(shapely.intersection(boxes[box], tree.geometries[taken]))
        left, top, right, bottom = shapely.bounds(boxes).T
        west, north, east, south = shapely.bounds(self.window)
        leaves = (left < west) | (top < north) | (right > east) | (bottom > south)
        outside = np.zeros(len(boxes))
        outside[leaves] = shapely.area(shapely.difference(boxes[leaves], self.window))
        hard = covered.sum(axis=1) + 5 * outside
        distance = _OF_DISTANCE * spots.distance
        can = (20 * hard + distance <= least) & ((hard == 0) | must)
        crosses = np.flatnonzero(can & np.asarray(shapely.intersects(self.lines, boxes), dtype=bool))
        on_lines = np.zeros(len(boxes))
        on_lines[crosses] = shapely.length(shapely.intersection(boxes[crosses], self.lines))
        cost: Floats = np.where(can, 20 * hard + on_lines + distance, np.inf)
        return cost

    def _write(self, spot: Spot, text: str, size: float, *, bold: bool) -> None:
        self.taken.append(spot.box)
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


def _boxes(spots: Spots, width: float, size: float) -> NDArray[np.object_]:
    """What a label covers at each spot."""
    height = size * 1.15
    x, y = spots.x, spots.y
    boxes = np.asarray(shapely.box(x - width / 2, y - height / 2, x + width / 2, y + height / 2), dtype=object)
    turned = np.flatnonzero(spots.turn)
    if len(turned):
        coords, of = shapely.get_coordinates(boxes[turned], return_index=True)
        angle = spots.turn[turned] * np.pi / 180.0
        cos, sin, x, y = np.cos(angle), np.sin(angle), x[turned], y[turned]
        # In the order of affinity.rotate: places that cost the same stay so to the last digit.
        across = cos[of] * coords[:, 0] + -sin[of] * coords[:, 1] + (x - x * cos + y * sin)[of]
        down = sin[of] * coords[:, 0] + cos[of] * coords[:, 1] + (y - x * sin - y * cos)[of]
        boxes[turned] = shapely.polygons(shapely.linearrings(across, down, indices=of))
    return boxes


def _spots_along(parts: NDArray[np.object_], width: float, size: float) -> Spots:
    """Places along lines that are long enough, first their middles; never upside down."""
    lines = parts[shapely.length(parts) >= 0.6 * width]
    share = np.array(_SHARES)
    places = np.stack([np.maximum(share - 0.02, 0), share, np.minimum(share + 0.02, 1)])
    points = shapely.line_interpolate_point(lines[:, None, None], places[None], normalized=True)
    before, at, after = np.moveaxis(np.stack([shapely.get_x(points), shapely.get_y(points)], axis=-1), 1, 0)
    dx, dy = np.moveaxis(after - before, -1, 0)
    step = np.hypot(dx, dy)
    step[step == 0] = 1.0
    turn = np.degrees(np.arctan2(dy, dx))
    turn -= np.where(np.abs(turn) > UPSIDE_DOWN_DEG, np.copysign(180.0, turn), 0.0)
    away = np.array(_ASIDE) * size * 0.75
    x = at[..., 0, None] - (dy / step)[..., None] * away
    y = at[..., 1, None] + (dx / step)[..., None] * away
    turns, distances = (np.broadcast_to(values, x.shape) for values in (turn[..., None], np.abs(away)))
    return Spots(x.ravel(), y.ravel(), turns.ravel(), distances.ravel())
