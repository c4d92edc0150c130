"""What the counter of a film showed and when, as one text that a table can keep, and back."""

import re

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sewermap.units import METRES_PER_FOOT

_POINT = re.compile(r"([\d.]+) s = ([\d.]+)(?: (ft|m))?")
_TIME = re.compile(r"(?:(\d+):)?(\d+):(\d+(?:\.\d+)?)|(\d+(?:\.\d+)?)\s*s?")


def curve_text(curve: pd.DataFrame) -> str:
    """A curve (columns time_s, reading, unit) as text.

    >>> curve_text(pd.DataFrame({"time_s": [3.0, 8.04], "reading": [1.2, 3.4], "unit": ["ft", None]}))
    '3 s = 1.2 ft; 8 s = 3.4'
    """
    unit = (" " + curve["unit"].astype("str")).fillna("")
    texts = curve["time_s"].round(1).map("{:g} s = ".format) + curve["reading"].map("{:.10g}".format) + unit
    return "; ".join(texts)


def curve_of(text: str, unit: str | None) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Seconds and metres of a curve, in order of time; ``unit`` (ft or m) is that of readings without one.

    >>> curve_of("3 s = 1 ft; 8 s = 2", "m")
    (array([3., 8.]), array([0.3048, 2.    ]))
    """
    points = [(float(time), float(reading) * _metres(said or unit)) for time, reading, said in _POINT.findall(text)]
    table = np.array(sorted(points), dtype=float).reshape(-1, 2)
    return table[:, 0], table[:, 1]


def seconds_of(film_time: object) -> float:
    """A film's time as people write it, in seconds from its beginning; NaN where it is none.

    >>> [seconds_of(text) for text in ("00:03:12", "3:12.5", "192", "192 s", "soon")]
    [192.0, 192.5, 192.0, 192.0, nan]
    """
    found = _TIME.fullmatch(str(film_time).strip())
    if found is None:
        return float("nan")
    hours, minutes, seconds, alone = found.groups()
    return float(alone) if alone else int(hours or 0) * 3600 + int(minutes) * 60 + float(seconds)


def clock_of(seconds: float) -> str:
    """Seconds of a film as hours, minutes and seconds.

    >>> clock_of(192.4)
    '00:03:12'
    """
    whole = round(seconds)
    return f"{whole // 3600:02d}:{whole % 3600 // 60:02d}:{whole % 60:02d}"


def _metres(unit: str | None) -> float:
    return {"ft": METRES_PER_FOOT, "m": 1.0}.get(unit or "", float("nan"))
