"""The figures that lines without a map are made with: see traverse.toml beside this file."""

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib import resources

DECIMALS = 6
"""Coordinates are kept to a millionth: the last bits would depend on which other lines are computed at once."""


@dataclass(frozen=True)
class SketchFigures:
    """Angles in degrees, sigmas in metres an axis; what each is, traverse.toml says."""

    bearing_sigma: float
    fitting_sigma: float
    square_sigma: float
    towards_sigma: float
    scale_sigma: float
    limit_sigmas: float
    point_sigma: float
    located_sigma: float
    along_main_sigma: float
    foot_sigma: float
    wall_sigma: float
    walk_between: float
    guessed_share: float


@cache
def sketch_figures() -> SketchFigures:
    """The packaged figures.

    >>> sketch_figures().bearing_sigma
    3.0
    """
    text = (resources.files(__package__) / "traverse.toml").read_text(encoding="utf-8")
    return SketchFigures(**tomllib.loads(text))
