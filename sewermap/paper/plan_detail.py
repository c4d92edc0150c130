"""The detail of a dig sheet: what to open, at a scale at which it can be chalked on the ground."""

import shapely
from markupsafe import Markup

from sewermap.answers.dig import DigFacts
from sewermap.paper.frame import CLOSE_SCALES, Frame, frame_round
from sewermap.paper.labels import Labels
from sewermap.paper.markup import tag
from sewermap.paper.plan_layers import cross_arms, definitions, layers
from sewermap.units import feet_and_inches

WIDTH_MM = 67.0
_ASIDE_MM = 3.0


def detail(facts: DigFacts, unit: str, height_mm: float) -> tuple[Markup, Frame]:
    """The detail as an SVG element, north up, and its frame. ``unit`` (ft or m) is what lengths are told in."""
    size = (WIDTH_MM, height_mm)
    place = facts.place
    frame = frame_round([place.band], [], unit, size, place.metres_per_unit, scales=CLOSE_SCALES, pad_mm=5.0)
    labels = Labels(shapely.box(1, 1, frame.width_mm - 1, frame.height_mm - 1), frame.on_paper(place.line))
    labels.keep_free(frame.on_paper(place.band))
    labels.keep_free(shapely.buffer(cross_arms(facts, frame), 0.5))
    stretch = frame.on_paper(place.stretch)
    across_mm = place.across_m * frame.mm_per_m
    aside = shapely.union_all(shapely.offset_curve(stretch, [across_mm + _ASIDE_MM / 2, -across_mm - _ASIDE_MM / 2]))
    labels.along(_told(place.open_m[1] - place.open_m[0], unit), aside, size=3.2, bold=True)
    end = shapely.get_coordinates(stretch)[0]
    labels.near_point(f"± {_told(place.across_m, unit)}", float(end[0]), float(end[1]), size=3.2, bold=True)
    for x, y, kind in zip(facts.points["x"], facts.points["y"], facts.points["kind"], strict=True):
        if kind not in ("bend", "building") and frame.shows(x, y):
            labels.near_point(str(kind), *frame.point(x, y), size=2.7, must=False)
    border = tag("rect", x=0, y=0, width=frame.width_mm, height=frame.height_mm, class_="border")
    drawn = tag("g", *layers(facts, frame), *labels.drawn, clip_path="url(#detail-window)")
    return (
        tag(
            "svg",
            definitions(frame, "detail-window"),
            drawn,
            border,
            xmlns="http://www.w3.org/2000/svg",
            width=f"{frame.width_mm:g}mm",
            height=f"{frame.height_mm:g}mm",
            viewBox=f"0 0 {frame.width_mm:g} {frame.height_mm:g}",
            role="img",
            aria_label=f"what to open, scale {frame.scale_words}, north up",
        ),
        frame,
    )


def _told(length_m: float, unit: str) -> str:
    return feet_and_inches(length_m) if unit == "ft" else f"{length_m:.2f} m"
