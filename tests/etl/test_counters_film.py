"""Counters in a film that the test makes give the curve of its readings; and which readings fit one another."""

from itertools import pairwise
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from PIL import Image

from etl.counters import read_film, sane
from sewermap.errors import SourceError
from tests.etl.rendered import Camera, film, picture

CAMERA = Camera("DejaVuSans.ttf", "bottom right", "ft", 24, 1, (255, 255, 255))
LASTS_S, RATE = 120, 5


def feet_at(second: float) -> float:
    """What the counter shows: in for 80 s with a halt, then out twice as fast."""
    return float(np.round(np.interp(second, [0, 30, 45, 80, 120], [3.0, 18.0, 18.0, 44.2, 4.2]), 1))


@pytest.fixture(scope="module")
def filmed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A film of two minutes, five frames a second, whose counter changes every second."""
    rng = np.random.default_rng(5)
    path = tmp_path_factory.mktemp("film") / "MQ-0007.mp4"
    images = (picture(rng, CAMERA, feet_at(second), (4, 0.3, 0), (480, 272)) for second in range(LASTS_S))
    film(path, images, each=RATE, rate=RATE)
    return path


def test_two_minutes_give_their_curve(filmed: Path) -> None:
    """A frame every two seconds is read; what is accepted is what was shown, within a tenth, in feet, without long gaps."""
    told: list[tuple[int, int]] = []
    curve = read_film(filmed, budget_s=60, progress=lambda done, of: told.append((done, of)))
    shown = curve["time_s"].astype(int).map(feet_at)
    accepted = curve["doubt"] == ""
    assert list(curve.columns) == ["time_s", "counter", "reading", "unit", "sigma", "doubt"]
    assert curve["time_s"].is_monotonic_increasing
    assert told[-1] == (60, 60)
    assert accepted.mean() >= 0.9, curve.to_string()
    assert ((curve["reading"] - shown).abs()[accepted] < 1e-6).all(), curve.to_string()
    assert (curve["unit"][accepted] == "ft").all()
    times = [0.0, *curve["time_s"][accepted], float(LASTS_S)]
    assert max(after - before for before, after in pairwise(times)) <= 6


def test_little_time_looks_at_few_frames_all_over_the_film(filmed: Path) -> None:
    """A budget that is used up at once still gives frames from the beginning, the middle and the end of the film."""
    curve = read_film(filmed, budget_s=0.0)
    assert 3 <= len(curve) <= 6
    assert curve["time_s"].max() - curve["time_s"].min() >= LASTS_S / 2


def test_no_film(tmp_path: Path) -> None:
    """A file that is no film is named, and what to do."""
    path = tmp_path / "notes.mp4"
    path.write_bytes(b"roots at 31.5 ft" * 40)
    with pytest.raises(SourceError, match=r"notes\.mp4.*no film that can be opened; copy it again"):
        read_film(path, budget_s=1.0)


def test_a_film_without_a_counter(tmp_path: Path) -> None:
    """A film that shows no counter gives no readings, and is no error: the films beside it must still load."""
    path = tmp_path / "dark.mp4"
    film(path, (Image.new("RGB", (320, 240), (60, 55, 40 + number)) for number in range(10)), each=RATE, rate=RATE)
    curve = read_film(path, budget_s=5.0)
    assert list(curve.columns) == ["time_s", "counter", "reading", "unit", "sigma", "doubt"]
    assert curve.empty


def test_readings_grow_and_then_fall() -> None:
    """On the way in and out again all readings fit; one that was misread high, and one that was misread low, do not."""
    readings = np.array([1.0, 5.0, 9.0, 99.0, 17.0, 21.0, 2.0, 29.0, 25.0, 17.0, 9.0, 3.0])
    times = np.arange(12) * 10.0
    assert np.flatnonzero(~sane(readings, times)).tolist() == [3, 6]
    turned = np.random.default_rng(3).permutation(12)
    assert (sane(readings[turned], times[turned]) == sane(readings, times)[turned]).all()


def test_a_top_that_no_cable_reaches_does_not_fit() -> None:
    """Among readings that rise and fall the highest may be misread: it stands alone, and only a race would get there."""
    fits = sane(pd.Series([1.0, 3.0, 5.0, 71.0, 6.0, 4.0, 2.0]), pd.Series(np.arange(7) * 2.0))
    assert fits.tolist() == [True, True, True, False, True, True, True]


def test_a_second_look_fits() -> None:
    """A camera that goes back by a foot for a second look, and readings that are missing, are not marked."""
    assert sane(np.array([10.0, 12.0, 11.2, np.nan, 12.5, 14.0]), np.arange(6) * 5.0).all()
    assert sane(np.array([]), np.array([])).tolist() == []
