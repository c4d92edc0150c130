"""What an invented town is made of: how many, how well drawn, how well looked at.

How a camera's counter errs is common practice, no source: it is zeroed at the launch within 0.1 to 0.3 m (0.5 m where a crew
is careless), its wheel is off by about one per cent, and the cable slips as a random walk.
"""

from dataclasses import dataclass

SEED = 20239


@dataclass(frozen=True)
class Settings:
    """Figures of one town. Shares are 0 to 1, lengths metres unless the name says feet, ``sd`` one standard deviation.

    ``map_accuracy_m`` is the range from which each line's and each parcel's drawing error (one sigma an axis) is taken;
    ``rigid_share`` says how much of its variance moves the whole drawing, the rest moves each vertex by itself.
    ``cross_bores`` and ``pictures`` are counts.
    ``crews`` 1 has all runs in feet with one decimal, 3 adds metres and feet-and-inches.
    """

    laterals: int = 60
    runs_per_lateral: float = 3.0
    defects_per_lateral: float = 2.4
    missed: float = 0.06
    renamed: float = 0.03
    launch_sd_m: float = 0.15
    badly_zeroed: float = 0.1
    badly_zeroed_sd_m: float = 0.5
    scale_sd: float = 0.01
    slip_m: float = 0.0004
    reading_step_ft: float = 0.1
    stops_short: float = 0.2
    bends_recorded: float = 0.8
    cleanouts_recorded: float = 0.9
    property_lines_surveyed: float = 0.15
    property_line_noted: float = 0.85
    ends_noted: float = 0.85
    located: float = 0.03
    map_accuracy_m: tuple[float, float] = (0.15, 0.25)
    rigid_share: float = 0.5
    referent_sd_m: float = 0.1
    work_done: float = 0.5
    work_fails: float = 0.15
    roots_return: float = 0.6
    crews: int = 3
    cross_bores: int = 1
    pictures: int = 13


DEMO = Settings()
"""The town that is shipped."""

EASY = Settings(
    defects_per_lateral=2.0,
    missed=0.05,
    badly_zeroed=0.0,
    bends_recorded=1.0,
    stops_short=0.1,
    crews=1,
    cross_bores=0,
    pictures=0,
)
"""Careful crews on well kept lines."""

HARD = Settings(
    defects_per_lateral=5.0,
    missed=0.15,
    scale_sd=0.02,
    badly_zeroed=0.4,
    bends_recorded=0.5,
    stops_short=0.4,
    crews=1,
    cross_bores=0,
    pictures=0,
)
"""Many defects, counters badly zeroed, bends that nobody recorded, pushes that stop short."""
