"""The plan of a dig sheet: the spot to scale, north up, in black and white: kinds of lines and hatches, never colours."""

from collections.abc import Iterator

import shapely
from markupsafe import Markup

from sewermap.answers.dig import DigFacts
from sewermap.line.ties import TiePair
from sewermap.paper.frame import Frame, frame_round
from sewermap.paper.labels import Labels
from sewermap.paper.markup import tag
from sewermap.paper.plan_key import KEY_MM, key, north_box
from sewermap.paper.plan_layers import cross_arms, definitions, layers
from sewermap.paper.words import half_inches, one_line

WIDTH_MM = 124.0
"""Of the drawing; its key stands below the map."""

NEAR_TIE_M = 12.0
"""A tie longer than this may run out of the plan, rather than make all of it small."""

SMALLEST_FOR_TIES = 250
"""The plan is made as small as one to this to show the corners that the place is tied to, and no smaller."""

LETTERS = "ABCD"


def plan(facts: DigFacts, unit: str, height_mm: float) -> Markup:
    """The plan as an SVG element. ``unit`` (ft or m) is what lengths are told in and what the scale suits; ``height_mm`` is the
    map's, without its key.
    """
    frame = plan_frame(facts, unit, height_mm)
    labels = Labels(shapely.box(1, 1, frame.width_mm - 1, frame.height_mm - 1), _lines(facts, frame))
    drawn = [*layers(facts, frame), *_ties(facts, frame)]
    _keep_free(facts, frame, labels)
    _label(facts, frame, labels, unit)
    map_part = tag("g", *drawn, *labels.drawn, clip_path="url(#plan-window)")
    border = tag("rect", x=0, y=0, width=frame.width_mm, height=frame.height_mm, class_="border")
    height = frame.height_mm + KEY_MM
    return tag(
        "svg",
        definitions(frame, "plan-window"),
        map_part,
        border,
        *key(frame, unit),
        xmlns="http://www.w3.org/2000/svg",
        width=f"{frame.width_mm:g}mm",
        height=f"{height:g}mm",
        viewBox=f"0 0 {frame.width_mm:g} {height:g}",
        role="img",
        aria_label=f"plan of the place, scale {frame.scale_words}, north up",
    )


def plan_frame(facts: DigFacts, unit: str, height_mm: float) -> Frame:
    """The plan's scale and window: the stretch and the better ties must be seen, then what else helps to find the place."""
    place = facts.place
    corners = [shapely.MultiPoint([(tie.x, tie.y) for tie in (pair.first, pair.second)]) for pair in facts.ties]
    others = facts.points.assign(away=(facts.points["measure_m"] - facts.issue["measure_m"]).abs()).sort_values("away")
    known = [shapely.Point(x, y) for x, y in zip(others["x"], others["y"], strict=True)]
    reach = NEAR_TIE_M / place.metres_per_unit
    near = [point for pair in corners[:1] for point in pair.geoms if shapely.distance(point, place.spot) <= reach]
    needed = [place.band, place.spot, *known[:1]]
    near_mains = [
        shapely.get_point(shapely.shortest_line(place.spot, shapely.union_all(layer.to_numpy())), 1)
        for layer in (facts.ground.mains["geometry"], facts.ground.streets["geometry"])
        if len(layer)
    ]
    own = facts.ground.buildings.loc[facts.ground.buildings["is_own"], "geometry"].tolist()
    wished = [*corners, *known[1:], *own, *near_mains]
    size = (WIDTH_MM, height_mm)
    frame = frame_round([*needed, *corners[:1]], wished, unit, size, place.metres_per_unit)
    if frame.scale <= SMALLEST_FOR_TIES:
        return frame
    return frame_round([*needed, *near], wished, unit, size, place.metres_per_unit)


def tie_letters(ties: tuple[TiePair, ...]) -> list[tuple[str, str]]:
    """The letters of each pair's two points, as they stand on the plan and in the table."""
    return [(LETTERS[2 * at], LETTERS[2 * at + 1]) for at in range(len(ties))]


def _ties(facts: DigFacts, frame: Frame) -> Iterator[Markup]:
    across, down = frame.point(facts.place.spot.x, facts.place.spot.y)
    for pair in facts.ties:
        for tie in (pair.first, pair.second):
            x, y = frame.point(tie.x, tie.y)
            yield tag("line", x1=x, y1=y, x2=across, y2=down, class_="tie")
            yield tag("circle", cx=x, cy=y, r=0.9, class_="peg")


def _lines(facts: DigFacts, frame: Frame) -> shapely.Geometry:
    """What labels had better not run over."""
    x, y = frame.point(facts.place.spot.x, facts.place.spot.y)
    ties = [shapely.LineString([(x, y), frame.point(tie.x, tie.y)]) for pair in facts.ties for tie in (pair.first, pair.second)]
    mains = [frame.on_paper(shape) for shape in facts.ground.mains["geometry"]]
    walls = [
        frame.on_paper(shapely.boundary(shape))
        for layer in (facts.ground.buildings, facts.ground.parcels)
        for shape in layer["geometry"]
    ]
    return shapely.union_all([frame.on_paper(facts.place.line), *ties, *mains, *walls])


def _keep_free(facts: DigFacts, frame: Frame, labels: Labels) -> None:
    x, y = frame.point(facts.place.spot.x, facts.place.spot.y)
    labels.keep_free(frame.on_paper(facts.place.band))
    labels.keep_free(shapely.buffer(cross_arms(facts, frame), 0.5))
    labels.keep_free(shapely.Point(x, y).buffer(1.5))
    labels.keep_free(north_box(frame))
    for pair in facts.ties:
        for tie in (pair.first, pair.second):
            labels.keep_free(shapely.Point(frame.point(tie.x, tie.y)).buffer(1.0))
    for px, py in zip(facts.points["x"], facts.points["y"], strict=True):
        labels.keep_free(shapely.Point(frame.point(px, py)).buffer(1.2))


def _label(facts: DigFacts, frame: Frame, labels: Labels, unit: str) -> None:
    """What matters most is written first, and so gets the best place."""
    spot = frame.point(facts.place.spot.x, facts.place.spot.y)
    for pair, letters in zip(facts.ties, tie_letters(facts.ties), strict=True):
        for tie, letter in zip((pair.first, pair.second), letters, strict=True):
            end = frame.point(tie.x, tie.y)
            if frame.shows(tie.x, tie.y):
                labels.near_point(letter, *end, size=4.0, bold=True)
            seen = shapely.intersection(shapely.LineString([end, spot]), frame.window)
            told = half_inches(tie.distance_m) if unit == "ft" else f"{tie.distance_m:.2f} m"
            labels.along(told if frame.shows(tie.x, tie.y) else f"{letter}: {told}", seen, size=3.1, bold=True)
    for x, y, kind, name in zip(*(facts.points[column] for column in ("x", "y", "kind", "name")), strict=True):
        known = {"tie-in": "tie-in", "property line": "property line", "clean-out": f"clean-out {name}"}.get(kind)
        if known and frame.shows(x, y):
            labels.near_point(one_line(known, 22), *frame.point(x, y))
    _label_layers(facts, frame, labels)


def _label_layers(facts: DigFacts, frame: Frame, labels: Labels) -> None:
    def visible(shape: shapely.Geometry) -> shapely.Geometry:
        return shapely.intersection(frame.on_paper(shape), labels.window)

    for name, shape in zip(facts.ground.streets["street"], facts.ground.streets["geometry"], strict=True):
        labels.along(one_line(name, 34).upper(), visible(shape), size=3.6, bold=True, must=False)
    for name, shape in zip(facts.ground.mains["main"], facts.ground.mains["geometry"], strict=True):
        labels.along(f"main {one_line(name, 16)}", visible(shape), must=False)
    labels.along(f"lateral {one_line(facts.lateral['lateral'], 16)}", visible(facts.place.line), bold=True, must=False)
    for layer, name in ((facts.ground.buildings, "building"), (facts.ground.parcels, "property")):
        for word, shape in zip(layer[name], layer["geometry"], strict=True):
            text = f"{'building' if name == 'building' else 'parcel'} {one_line(word, 16)}".strip()
            labels.inside(text, visible(shape), size=2.7)
