"""The layers of a dig sheet's drawings: parcels, buildings, streets, mains, the lateral, what to open, and the spot."""

from collections.abc import Iterator

import numpy as np
import shapely
from markupsafe import Markup

from sewermap.answers.dig import DigFacts
from sewermap.paper.frame import Frame
from sewermap.paper.markup import tag

_CROSS_MM = 5.0
"""How far the arms of the cross at the spot reach out of what is to be opened."""


def layers(facts: DigFacts, frame: Frame) -> list[Markup]:
    """All layers of a drawing, the lowest first."""
    return [
        *_parcels(facts, frame),
        *_buildings(facts, frame),
        *_streets_and_mains(facts, frame),
        *_line_and_band(facts, frame),
        *_points(facts, frame),
        *_cross(facts, frame),
    ]


def cross_arms(facts: DigFacts, frame: Frame) -> shapely.MultiLineString:
    """The four arms of the cross at the spot, in paper millimetres: what is to be opened stays free, where it is small."""
    x, y = frame.point(facts.place.spot.x, facts.place.spot.y)
    inner = shapely.hausdorff_distance(facts.place.spot, facts.place.band) * frame.metres_per_unit * frame.mm_per_m
    low = min(float(inner) + 0.6, 12.0)
    high = low + _CROSS_MM
    arms = [[(x + dx * low, y + dy * low), (x + dx * high, y + dy * high)] for dx, dy in ((1, 0), (-1, 0), (0, 1), (0, -1))]
    return shapely.MultiLineString(arms)


def definitions(frame: Frame, name: str) -> Markup:
    """Hatches, and the window that a drawing is cut to, under a name of its own."""

    def hatch(name: str, gap: float, width: float, turn: int) -> Markup:
        stroke = tag("line", x1=0, y1=0, x2=0, y2=gap, stroke="#000", stroke_width=width)
        return tag(
            "pattern", stroke, id=name, width=gap, height=gap, patternUnits="userSpaceOnUse", patternTransform=f"rotate({turn})"
        )

    window = tag("clipPath", tag("rect", x=0, y=0, width=frame.width_mm, height=frame.height_mm), id=name)
    return tag("defs", window, hatch("open", 1.1, 0.3, 45), hatch("wall", 2.6, 0.1, -45))


def path(shape: shapely.Geometry, **attributes: object) -> Markup:
    """An SVG path of any lines or polygons in paper millimetres."""
    words = []
    for part in shapely.get_parts(shape):
        rings = (
            [part.exterior, *part.interiors] if part.geom_type == "Polygon" else [part] if part.geom_type == "LineString" else []
        )
        words += [
            "M" + "L".join(f"{x:.2f} {y:.2f}" for x, y in shapely.get_coordinates(ring)) for ring in rings if not ring.is_empty
        ]
    return tag("path", d="".join(words), fill_rule="evenodd", **attributes) if words else Markup()


def _parcels(facts: DigFacts, frame: Frame) -> Iterator[Markup]:
    for shape, is_own in zip(facts.ground.parcels["geometry"], facts.ground.parcels["is_own"], strict=True):
        yield path(frame.on_paper(shapely.boundary(shape)), class_="parcel own" if is_own else "parcel")


def _buildings(facts: DigFacts, frame: Frame) -> Iterator[Markup]:
    for shape in facts.ground.buildings["geometry"]:
        yield path(frame.on_paper(shape), class_="building")


def _streets_and_mains(facts: DigFacts, frame: Frame) -> Iterator[Markup]:
    for shape in facts.ground.streets["geometry"]:
        yield path(frame.on_paper(shape), class_="street")
    for shape in facts.ground.mains["geometry"]:
        yield path(frame.on_paper(shape), class_="main")
        yield path(frame.on_paper(shape), class_="main-core")
    for shape in facts.ground.laterals["geometry"]:
        yield path(frame.on_paper(shape), class_="other")


def _line_and_band(facts: DigFacts, frame: Frame) -> Iterator[Markup]:
    yield path(frame.on_paper(facts.place.band), class_="halo")
    yield path(frame.on_paper(facts.place.line), class_="lateral")
    yield path(frame.on_paper(facts.place.band), class_="band")


def _points(facts: DigFacts, frame: Frame) -> Iterator[Markup]:
    for x, y, kind in zip(facts.points["x"], facts.points["y"], facts.points["kind"], strict=True):
        across, down = frame.point(x, y)
        if kind == "clean-out":
            yield tag("rect", x=across - 1.1, y=down - 1.1, width=2.2, height=2.2, class_="clean-out")
        elif kind == "tie-in":
            yield tag("circle", cx=across, cy=down, r=1.3, class_="tie-in")
        elif kind == "property line":
            dx, dy = _across(facts, x, y)
            yield tag("line", x1=across - dx, y1=down - dy, x2=across + dx, y2=down + dy, class_="border-mark")


def _across(facts: DigFacts, x: float, y: float) -> tuple[float, float]:
    """2.4 mm on paper, square to the lateral at a place (map units) on it."""
    line = facts.place.line
    at = float(shapely.line_locate_point(line, shapely.Point(x, y)))
    ends = shapely.line_interpolate_point(line, [max(at - 0.1, 0.0), min(at + 0.1, float(line.length))])
    dx, dy = np.diff(shapely.get_coordinates(ends), axis=0)[0]
    step = 2.4 / max(float(np.hypot(dx, dy)), 1e-9)
    # Paper runs downwards: (dx, -dy) along the line, so (dy, dx) square to it.
    return float(dy) * step, float(dx) * step


def _cross(facts: DigFacts, frame: Frame) -> Iterator[Markup]:
    x, y = frame.point(facts.place.spot.x, facts.place.spot.y)
    yield path(cross_arms(facts, frame), class_="cross")
    yield tag("circle", cx=x, cy=y, r=0.7, class_="peg")
