"""The lateral laid flat, tie-in left and building right: how far the place is from each known point along the pipe."""

import shapely
from markupsafe import Markup

from sewermap.answers.dig import DigFacts
from sewermap.paper.labels import Labels
from sewermap.paper.markup import tag
from sewermap.paper.words import one_line
from sewermap.units import feet_and_inches

SIZE_MM = (194.0, 15.5)
_LEFT_MM, _RIGHT_MM, _AXIS_MM = 14.0, 176.0, 6.5


def strip(facts: DigFacts, unit: str) -> Markup:
    """The strip as an SVG element. ``unit`` (ft or m) is what measures are told in."""
    length = max(float(facts.lateral["length_m"]), 1e-6)

    def at(measure_m: float) -> float:
        return _LEFT_MM + (_RIGHT_MM - _LEFT_MM) * measure_m / length

    low, high = (at(measure) for measure in facts.place.open_m)
    spot = at(facts.issue["measure_m"])
    band = {"x": low, "y": _AXIS_MM - 1.6, "width": max(high - low, 0.8), "height": 3.2}
    drawn = [
        tag("path", d=f"M{_LEFT_MM:.1f} {_AXIS_MM}H{_RIGHT_MM:.1f}", class_="lateral"),
        tag("rect", **band, class_="halo"),
        tag("rect", **band, class_="band"),
        tag("rect", x=_RIGHT_MM, y=_AXIS_MM - 4, width=7, height=8, class_="building"),
        tag("path", d=f"M{spot:.2f} {_AXIS_MM - 2.0}l-1.4 -2.6h2.8z", class_="here"),
    ]
    labels = Labels(shapely.box(0, 0, *SIZE_MM))
    labels.keep_free(shapely.box(low - 0.5, _AXIS_MM - 2, high + 0.5, _AXIS_MM + 2))
    labels.keep_free(shapely.box(_LEFT_MM, _AXIS_MM - 1, _RIGHT_MM, _AXIS_MM + 1))
    labels.keep_free(shapely.box(_RIGHT_MM, _AXIS_MM - 4, _RIGHT_MM + 7, _AXIS_MM + 4))
    labels.keep_free(shapely.box(spot - 1.4, _AXIS_MM - 4.6, spot + 1.4, _AXIS_MM))
    labels.near_point("building", _RIGHT_MM + 7, _AXIS_MM, size=2.8)
    labels.near_point(f"HERE {_told(facts.issue['measure_m'], unit)}", spot, _AXIS_MM - 4.4, size=3.3, bold=True)
    for name, kind, measure_m in zip(*(facts.points[column] for column in ("name", "kind", "measure_m")), strict=True):
        x = at(float(measure_m))
        drawn.append(_mark(str(kind), x))
        if kind not in ("bend", "building"):
            labels.near_point(f"{one_line(name, 18)} {_told(float(measure_m), unit)}", x, _AXIS_MM + 0.6, size=2.8)
    width, height = SIZE_MM
    return tag(
        "svg",
        *drawn,
        *labels.drawn,
        xmlns="http://www.w3.org/2000/svg",
        width=f"{width:g}mm",
        height=f"{height:g}mm",
        viewBox=f"0 0 {width:g} {height:g}",
        role="img",
        aria_label="the lateral laid flat, from the main on the left to the building on the right",
    )


def _mark(kind: str, x: float) -> Markup:
    if kind == "tie-in":
        return tag("circle", cx=x, cy=_AXIS_MM, r=1.6, class_="tie-in")
    if kind == "clean-out":
        return tag("rect", x=x - 1.2, y=_AXIS_MM - 1.2, width=2.4, height=2.4, class_="clean-out")
    reach = 2.8 if kind == "property line" else 1.0
    return tag("line", x1=x, y1=_AXIS_MM - reach, x2=x, y2=_AXIS_MM + reach, class_="border-mark")


def _told(measure_m: float, unit: str) -> str:
    return feet_and_inches(measure_m) if unit == "ft" else f"{measure_m:.2f} m"
