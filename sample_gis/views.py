"""Stylised views into a pipe: what a camera might have seen, drawn by figures, with its counter's text below. None is a photo."""

from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import NDArray

from sample_gis.lettering import HIGH, dots_of
from sample_gis.png import png_bytes

Floats = NDArray[np.float64]
Pixels = NDArray[np.uint8]

WIDTH, HEIGHT = 320, 240
MIDDLE_X, MIDDLE_Y, RIM = 160.0, 104.0, 150.0
SHADES = 24
BLACK, WHITE, ROOT, WATER, GLINT, PIPE, PIPE_EDGE, GREASE = range(SHADES, SHADES + 8)
COLOURS = (
    (0, 0, 0), (255, 255, 255), (104, 62, 24), (60, 92, 104), (150, 182, 190), (232, 196, 40), (150, 116, 10), (226, 220, 196),
)  # fmt: skip
LETTER = 2
LINES = 3
BAR_TOP = HEIGHT - LINES * (HIGH * LETTER + 6)
WALL = 98.0
"""How far from the middle a thing at the wall is drawn, in pixels."""

JOINTS = (42.0, 62.0, 96.0)
"""Radii at which joints of the pipe are seen; the nearest is the widest."""


def _palette() -> Pixels:
    shade = np.linspace(0.06, 1.0, SHADES)[:, None] * np.array([[196.0, 178.0, 150.0]])
    return np.concatenate([shade, np.array(COLOURS, dtype=float)]).round().astype(np.uint8)


PALETTE = _palette()


@dataclass(frozen=True)
class _Sight:
    """A view being drawn: pixels (rows of the palette), where each lies from the pipe's middle (y down), and what is to be seen:
    at which angle from the crown (radians, clockwise), which part of the bore.
    """

    pixels: Pixels
    x: Floats
    y: Floats
    at: float
    part: float
    rng: np.random.Generator


def view_png(kind: str, clock: float, percent: float, lines: tuple[str, ...], chance: int) -> bytes:
    """A PNG of 320 × 240 pixels: a defect of a kind at a clock position (NaN: the crown), of so many per cent of the bore.

    ``lines``: up to three lines of text below; ``chance`` makes each picture of a kind a little different.
    """
    rng = np.random.default_rng(chance)
    y, x = np.mgrid[0:HEIGHT, 0:WIDTH].astype(float)
    x, y = x - MIDDLE_X - rng.uniform(-8.0, 8.0), y - MIDDLE_Y - rng.uniform(-6.0, 6.0)
    at = np.radians(30.0 * (12.0 if np.isnan(clock) else clock))
    sight = _Sight(_bare_pipe(np.hypot(x, y)), x, y, float(at), 0.3 if np.isnan(percent) else percent / 100.0, rng)
    _DRAWN.get(kind, _blobs)(sight)
    sight.pixels[BAR_TOP:] = BLACK
    for row, text in enumerate(lines[:LINES]):
        _write(sight.pixels, text, BAR_TOP + 4 + row * (HIGH * LETTER + 5))
    return png_bytes(sight.pixels, PALETTE)


def caption(run: str, ran_on: date, reading: str) -> tuple[str, ...]:
    """What stands below a picture: run and day, the counter as it stood, and that nothing here is real."""
    return (f"{run}  {ran_on:%Y-%m-%d}", f"COUNTER {reading}", "INVENTED PICTURE")


def _bare_pipe(radius: Floats) -> Pixels:
    """Light near the lens, dark far down the pipe, with a dark ring and a bright edge at each joint."""
    pixels = np.clip(radius / RIM * SHADES, 0, SHADES - 1).astype(np.uint8)
    for joint in JOINTS:
        pixels[np.abs(radius - joint) < joint / 30.0] = 1
        edge = (radius > joint) & (radius < joint * 1.08) & (pixels > 1)
        pixels[edge] = np.minimum(pixels[edge] + 3, SHADES - 1)
    return pixels


def _roots(sight: _Sight) -> None:
    """Strands from the wall towards the middle; the fuller the bore, the more and the longer."""
    rng = sight.rng
    for _ in range(6 + int(20 * sight.part)):
        start = sight.at + rng.normal(0.0, 0.35)
        reach = np.linspace(WALL, WALL - rng.uniform(30.0, 60.0 + 40.0 * sight.part), 60)
        bent = start + np.cumsum(rng.normal(0.0, 0.03, 60))
        _strand(sight, reach * np.sin(bent), -reach * np.cos(bent), ROOT, 1)


def _crack(sight: _Sight, thick: int = 0) -> None:
    reach = np.linspace(48.0, 148.0, 160)
    bent = sight.at + np.cumsum(sight.rng.normal(0.0, 0.02, 160))
    _strand(sight, reach * np.sin(bent), -reach * np.cos(bent), BLACK, thick)


def _open_crack(sight: _Sight) -> None:
    _crack(sight, 2)


def _drip(sight: _Sight) -> None:
    """Water runs down from where it comes in."""
    for aside in sight.rng.normal(0.0, 5.0, 6):
        down = np.linspace(0.0, sight.rng.uniform(30.0, 70.0), 70)
        _strand(sight, np.full(70, WALL * np.sin(sight.at) + aside), down - WALL * np.cos(sight.at), GLINT, 1)


def _offset(sight: _Sight) -> None:
    """The next pipe stands to one side: a dark crescent, and the bright edge of its end."""
    step = 9.0 + 10.0 * sight.part
    off = np.hypot(sight.x - step * np.sin(sight.at), sight.y + step * np.cos(sight.at))
    sight.pixels[(off > JOINTS[1]) & (np.hypot(sight.x, sight.y) < JOINTS[1] + 3.0)] = 0
    sight.pixels[(off < JOINTS[1]) & (off > JOINTS[1] - 4.0)] = SHADES - 2


def _water(sight: _Sight) -> None:
    """Water stands to its share of the bore; it is level, and glints."""
    x, y = sight.x, sight.y
    towards_middle = 1.0 - 0.6 * np.exp(-np.hypot(x, y) / 60.0)
    pooled = (y > 100.0 - 200.0 * min(sight.part, 0.9) * towards_middle) & (y > 6.0)
    sight.pixels[pooled] = WATER
    wave = np.sin(x / 9.0 + sight.rng.uniform(0.0, 6.0)) + np.sin(y / 3.0)
    sight.pixels[pooled & (wave > 1.6)] = GLINT


def _bore(sight: _Sight) -> None:
    """A smooth pipe of another utility from wall to wall, across the bore."""
    tilt = sight.rng.uniform(-0.25, 0.25)
    off = (sight.y - 8.0) * np.cos(tilt) - sight.x * np.sin(tilt)
    inside = np.hypot(sight.x, sight.y) < WALL + 30.0
    sight.pixels[inside & (np.abs(off) < 19.0)] = PIPE_EDGE
    sight.pixels[inside & (np.abs(off) < 16.0)] = PIPE
    sight.pixels[inside & (np.abs(off + 8.0) < 2.0)] = WHITE


def _blobs(sight: _Sight) -> None:
    """Whatever sticks to the wall."""
    for _ in range(5 + int(16 * sight.part)):
        spot, reach = sight.at + sight.rng.normal(0.0, 0.5), sight.rng.uniform(60.0, 120.0)
        off = np.hypot((sight.x - reach * np.sin(spot)) / 1.4, sight.y + reach * np.cos(spot))
        sight.pixels[off < sight.rng.uniform(5.0, 15.0)] = GREASE


def _strand(sight: _Sight, at_x: Floats, at_y: Floats, colour: int, thick: int) -> None:
    column = np.round(at_x - sight.x[0, 0]).astype(int)
    row = np.round(at_y - sight.y[0, 0]).astype(int)
    for aside in range(-thick, thick + 1):
        for down in range(-thick, thick + 1):
            shown = (column + aside >= 0) & (column + aside < WIDTH) & (row + down >= 0) & (row + down < BAR_TOP)
            sight.pixels[row[shown] + down, column[shown] + aside] = colour


def _write(pixels: Pixels, text: str, top: int) -> None:
    dots = np.kron(dots_of(text), np.ones((LETTER, LETTER), dtype=bool))[:, : WIDTH - 16]
    high, wide = dots.shape
    pixels[top : top + high, 8 : 8 + wide][dots] = WHITE


_DRAWN = {
    "roots": _roots,
    "crack": _crack,
    "open crack": _open_crack,
    "offset joint": _offset,
    "open joint": _offset,
    "shifted coupling": _offset,
    "standing water": _water,
    "sag": _water,
    "infiltration": _drip,
    "cross-bore": _bore,
}
"""How each kind is drawn; all others stick to the wall."""
