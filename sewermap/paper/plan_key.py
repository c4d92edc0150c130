"""The key below a plan: scale bar, north arrow, and what each kind of line means."""

from collections.abc import Iterator

import shapely
from markupsafe import Markup

from sewermap.paper.frame import Frame
from sewermap.paper.markup import tag
from sewermap.units import METRES_PER_FOOT

KEY_MM = 14.0
"""Height of the key on paper."""

LONGEST_BAR_MM = 52.0
BARS = {"m": (20, 10, 5, 4, 2, 1), "ft": (100, 50, 40, 30, 20, 10, 5, 2)}
"""Lengths of a scale bar in its unit; the longest that fits is taken, in four equal parts."""

_PARTS = 4
_TEXT_MM = 2.6
_SAMPLES = (
    ("lateral", "lateral"), ("main", "main"), ("parcel own", "own parcel"), ("parcel", "other parcel"),
    ("other", "other lateral"), ("building", "building"), ("band", "where to open"), ("tie", "swing tie"),
)  # fmt: skip
"""Classes of drawn things, and their words."""


def key(frame: Frame, unit: str) -> Iterator[Markup]:
    """The key of a plan whose map ends at ``frame.height_mm``."""
    yield from _scale_bar(frame, unit)
    yield from _north(frame)
    for at, (name, words) in enumerate(_SAMPLES):
        x, y = 1.0 + (at % 4) * 31.0, frame.height_mm + 9.0 + (at // 4) * 3.6
        yield from _sample(name, x, y)
        yield tag("text", words, x=x + 8.2, y=y + 0.9, font_size=_TEXT_MM)


def _scale_bar(frame: Frame, unit: str) -> Iterator[Markup]:
    unit_mm = frame.mm_per_m * (METRES_PER_FOOT if unit == "ft" else 1.0)
    length = next((bar for bar in BARS[unit] if bar * unit_mm <= LONGEST_BAR_MM), BARS[unit][-1])
    top, left = frame.height_mm + 1.5, 2.0
    part = length * unit_mm / _PARTS
    for at in range(_PARTS):
        yield tag("rect", x=left + at * part, y=top, width=part, height=1.6, class_="bar", fill="#fff" if at % 2 else "#000")
    for at in (0, _PARTS // 2, _PARTS):
        words = f"{length * at / _PARTS:g}" + (f" {unit}" if at == _PARTS else "")
        yield tag("text", words, x=left + at * part, y=top + 4.4, font_size=_TEXT_MM, text_anchor="middle" if at else "start")
    beside = left + length * unit_mm + 10
    yield tag(
        "text", f"Scale {frame.scale_words}", x=beside, y=top + 1.7, font_size=2.9, font_weight="bold", data_scale=frame.scale
    )
    yield tag("text", "true when printed at 100 %", x=beside, y=top + 4.6, font_size=_TEXT_MM)


def north_box(frame: Frame) -> shapely.Polygon:
    """The corner that the north arrow takes, where nothing may be written."""
    return shapely.box(frame.width_mm - 11.5, 0, frame.width_mm, 16.5)


def _north(frame: Frame) -> Iterator[Markup]:
    """In the map's upper right corner, on white."""
    x, y = frame.width_mm - 6.0, 3.0
    yield tag("rect", x=x - 4.5, y=1, width=9.5, height=14.5, fill="#fff", stroke="#000", stroke_width=0.2)
    yield tag("path", d=f"M{x:.1f} {y:.1f}l2.4 8l-2.4 -1.8l-2.4 1.8z", fill="#000")
    yield tag("text", "N", x=x, y=y + 11.6, font_size=3.6, font_weight="bold", text_anchor="middle")


def _sample(name: str, x: float, y: float) -> Iterator[Markup]:
    if name in ("building", "band"):
        yield tag("rect", x=x, y=y - 1.3, width=7, height=2.6, class_=name)
        return
    for layer in (name, "main-core") if name == "main" else (name,):
        yield tag("path", d=f"M{x:.1f} {y:.1f}h7", class_=layer)
