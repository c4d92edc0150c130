"""Counters burnt into pictures, read: issue 7 asks for 200 rendered pictures, 95 % read right, none wrong without a mark."""

import socket
import sys
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from PIL import Image

from etl.counters import engine, read_pictures
from sewermap.errors import SourceError
from tests.etl.rendered import NOISES, SHOWN, Camera, Noise, cameras, picture

CAMERAS, PICTURES = 10, 20
TOO_NOISY: tuple[Noise, ...] = ((20, 0.9, 42), (26, 1.0, 40), (34, 1.2, 40))


def shown_by(camera: Camera, feet: float) -> float:
    """The reading that the display shows, in its own unit."""
    return round(feet * 0.3048, 2) if camera.shown == "m" else round(feet, 1)


def folder_of(camera: Camera, rng: np.random.Generator, folder: Path, noises: tuple[Noise, ...] = NOISES) -> pd.DataFrame:
    """A camera's pictures on its way in: path, the reading shown, the unit named."""
    folder.mkdir()
    feet = np.round(rng.uniform(0, 100) + np.cumsum(rng.uniform(0.3, 4, PICTURES)), 1)
    rows = []
    for number, reading in enumerate(feet.tolist()):
        noise = noises[number % len(noises)]
        path = folder / f"{number:02d}.jpg"
        picture(rng, camera, reading, noise).save(path, quality=noise[2])
        rows.append((path, shown_by(camera, reading), {"m": "m", "bare": None}.get(camera.shown, "ft")))
    return pd.DataFrame(rows, columns=["path", "shown", "named"])


def test_two_hundred_pictures(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Of 200 pictures in five typefaces, places and noise levels 95 % are read right, none wrong without a mark, and offline."""
    rng = np.random.default_rng(20260511)
    made = [folder_of(camera, rng, tmp_path / str(number)) for number, camera in enumerate(cameras(rng, CAMERAS))]
    monkeypatch.setattr(socket.socket, "connect", lambda *_: pytest.fail("reading a counter asked the network"))
    read = pd.concat(pd.concat([one, read_pictures(one["path"].tolist()).drop(columns="path")], axis=1) for one in made)
    right = (read["reading"] - read["shown"]).abs() < 1e-6
    accepted = read["doubt"] == ""
    assert len(read) == 200
    assert right.mean() >= 0.95, read[~right].to_string()
    assert not (accepted & ~right).any(), read[accepted & ~right].to_string()
    assert (accepted & right).mean() >= 0.85
    told = accepted & read["unit"].notna()
    assert (read["unit"][told] == read["named"][told]).all()  # a unit may be missed, for the run has one; never mistaken
    assert told.sum() >= 0.85 * read["named"].notna().sum()


def test_what_noise_hides_is_never_accepted_wrong(tmp_path: Path) -> None:
    """Of pictures so noisy that many are read wrong, each wrong one bears a mark, and a third of the right ones does not."""
    rng = np.random.default_rng(4)
    chosen = [cameras(rng, 5)[number] for number in (1, 4)]
    made = [folder_of(camera, rng, tmp_path / str(number), TOO_NOISY) for number, camera in enumerate(chosen)]
    read = pd.concat(pd.concat([one, read_pictures(one["path"].tolist()).drop(columns="path")], axis=1) for one in made)
    right = (read["reading"] - read["shown"]).abs() < 1e-6
    accepted = read["doubt"] == ""
    assert (~right).sum() >= 5
    assert not (accepted & ~right).any(), read[accepted & ~right].to_string()
    assert accepted[right].mean() >= 1 / 3


def test_pictures_that_help_nobody(tmp_path: Path) -> None:
    """A file that is no picture, and a picture without a counter, say so; the counters beside them are read, in their order."""
    rng = np.random.default_rng(3)
    camera = Camera("DejaVuSans.ttf", "top right", "ft", 24, 1, (255, 255, 255))
    paths = [tmp_path / name for name in ("a.jpg", "b.jpg", "c.jpg", "d.jpg")]
    for path, feet in zip(paths, (12.5, 0, 0, 13.7), strict=True):
        picture(rng, camera, feet, NOISES[0]).save(path)
    Image.new("RGB", (640, 360), (90, 80, 60)).save(paths[1])
    paths[2].write_bytes(b"\xff\xd8 a card that was pulled out too early")
    told: list[tuple[int, int]] = []
    read = read_pictures(paths, lambda done, of: told.append((done, of)))
    assert read["path"].tolist() == [str(path) for path in paths]
    assert read["reading"].fillna(-1).tolist() == [12.5, -1, -1, 13.7]
    assert read["unit"].fillna("").tolist() == ["ft", "", "", "ft"]
    # A display that shows tenths is off by 0.1 / sqrt(12) (a rectangular distribution: JCGM 100:2008, 4.3.7).
    assert read["sigma"][0] == pytest.approx(0.1 / 12**0.5)
    assert read["doubt"].tolist() == ["", "no counter was found in it", "the file is no picture that can be opened", ""]
    assert told[-1][1] == 4
    assert read_pictures([]).empty


@pytest.mark.parametrize(
    ("shown", "reading", "unit"), [("31' 6\"", 31.5, "ft"), ("DIST 0031.5", 31.5, None), ("9.60 m", 9.6, "m")]
)
def test_ways_to_show_a_reading(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, shown: str, reading: float, unit: str | None
) -> None:
    """Feet and inches, a word in front of a bare number, and metres are read in a single picture."""
    monkeypatch.setitem(SHOWN, "as it is", lambda _: shown)
    camera = Camera("DejaVuSans.ttf", "bottom left", "as it is", 26, 0, (255, 255, 255))
    picture(np.random.default_rng(1), camera, 0.0, NOISES[0]).save(tmp_path / "one.png")
    read = read_pictures([tmp_path / "one.png"])
    assert read["reading"][0] == pytest.approx(reading)
    assert read["unit"].fillna("")[0] == (unit or "")


@pytest.mark.parametrize("name", ["rapidocr", "onnxruntime", "PIL.Image"])
def test_without_the_extra(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str) -> None:
    """Where a package of the extra is missing, one sentence names it and says how to get it."""
    Image.new("RGB", (64, 36)).save(tmp_path / "one.png")
    monkeypatch.setitem(sys.modules, name, None)
    engine.engine.cache_clear()
    with pytest.raises(SourceError, match=rf'needs {name}, which is not installed: pip install "sewermap\[media\]"'):
        read_pictures([tmp_path / "one.png"])
