"""Readings, names and remarks as three invented crews write them down.

Brindlefold writes feet with a decimal (``44.5``), Brumelaine metres with a decimal comma (``13,57``), Fennimole feet and
inches (``44' 6"``). All names are invented.
"""

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sample_gis.readings import INCH_M, METRES_PER_FOOT

CREWS = ("Brindlefold", "Brumelaine", "Fennimole")
RUN_NAMES = ("BF-", "BR-", "FM ")
INCHES_A_FOOT = 12
_REMARKS = ("camera upright again", "flow high, looked twice", "same as last time", "tell the owner", "picture taken")
_REMARKED = 0.45


def as_written(metres: NDArray[np.float64], crew: NDArray[np.int64]) -> NDArray[np.object_]:
    r"""Lengths in metres as each crew writes them, None where there is none. They are whole steps of its counter already.

    >>> as_written(np.array([13.5636, 13.57, 13.5636]), np.array([0, 1, 2])).tolist()
    ['44.5', '13,57', '44\' 6"']
    """
    texts = np.full(len(metres), None, dtype=object)
    given = ~np.isnan(metres)
    for number, write in enumerate((_decimal_feet, _comma_metres, _feet_and_inches)):
        rows = np.flatnonzero(given & (crew == number))
        if len(rows):
            texts[rows] = write(metres[rows])
    return texts


def _decimal_feet(metres: NDArray[np.float64]) -> NDArray[np.object_]:
    return np.char.mod("%.1f", metres / METRES_PER_FOOT).astype(object)


def _comma_metres(metres: NDArray[np.float64]) -> NDArray[np.object_]:
    return np.char.replace(np.char.mod("%.2f", metres), ".", ",").astype(object)


def _feet_and_inches(metres: NDArray[np.float64]) -> NDArray[np.object_]:
    inches = np.round(metres / INCH_M).astype(np.int64)
    feet = np.char.add((inches // INCHES_A_FOOT).astype(str), "' ")
    return np.char.add(feet, np.char.add((inches % INCHES_A_FOOT).astype(str), '"')).astype(object)


def run_names(runs: pd.DataFrame) -> NDArray[np.object_]:
    """A name for each run: each crew numbers its own jobs, in the order of the rows."""
    number = runs.groupby("crew").cumcount() + 1001
    prefix = np.array(RUN_NAMES, dtype=object)[runs["crew"].to_numpy(np.int64)]
    return np.asarray(prefix + number.astype("str").to_numpy(object), dtype=object)


def remarks(count: int, rng: np.random.Generator) -> NDArray[np.object_]:
    """What crews jot beside an observation, mostly nothing (None)."""
    texts = np.array(_REMARKS, dtype=object)[rng.integers(0, len(_REMARKS), count)]
    texts[rng.random(count) >= _REMARKED] = None
    return texts
