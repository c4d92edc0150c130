"""Small and whole pictures in the site's folder, and films that are opened at a time."""

import io
from dataclasses import replace
from pathlib import Path

import exifread
import numpy as np
import pandas as pd
import pytest
from PIL import Image

from sewermap.web import picture_files
from sewermap.web.build_site import build_site
from sewermap.web.film_links import film_links, films_in

ORIENTATION, MAKER = 0x0112, 0x010F
"""Tags of EXIF (CIPA DC-008-2019, table 4). Orientation 6: the camera lay on its side, turn a quarter clockwise to show."""


@pytest.fixture
def large(tmp_path: Path) -> Path:
    """A camera's picture of 1600 by 1200, left half dark, taken with the camera on its side."""
    exif = Image.Exif()
    exif[ORIENTATION], exif[MAKER] = 6, "a maker"
    picture = Image.new("RGB", (1600, 1200), (200, 200, 200))
    picture.paste((20, 20, 20), (0, 0, 800, 1200))
    picture.save(tmp_path / "large.jpg", exif=exif)
    return tmp_path / "large.jpg"


def test_a_large_picture_has_a_small_one_and_stays_whole(large: Path) -> None:
    """The small one is upright, 480 pixels long and bare of EXIF (read by a library that is neither ours nor Pillow)."""
    small, whole = (names({"a": large})["a"] for names in (picture_files.small_names, picture_files.site_names))
    made = picture_files.contents({"a": large})
    assert made[whole] == large.read_bytes()
    shown = Image.open(io.BytesIO(made[small]))
    assert (shown.format, shown.size) == ("JPEG", (360, 480))
    top, bottom = shown.getpixel((180, 20))[0], shown.getpixel((180, 460))[0]
    assert (top < 60, bottom > 150) == (True, True)
    assert exifread.process_file(io.BytesIO(made[whole]))
    assert not exifread.process_file(io.BytesIO(made[small]))
    assert made == picture_files.contents({"a": large})


def test_a_heavy_picture_is_not_copied_whole(tmp_path: Path) -> None:
    """Over a megabyte both names are the small one's, and nothing else is copied."""
    noise = np.random.default_rng(1).integers(0, 256, (700, 700, 3), dtype=np.uint8)
    Image.fromarray(noise).save(tmp_path / "heavy.png")
    given = {"a": tmp_path / "heavy.png"}
    assert picture_files.site_names(given) == picture_files.small_names(given)
    assert {len(content) < picture_files.HEAVY for content in picture_files.contents(given).values()} == {True}
    assert len(picture_files.contents(given)) == 1


def test_small_and_moving_and_damaged_pictures_stay_as_they_are(tmp_path: Path, large: Path) -> None:
    """What is small already, what moves and what cannot be opened is one file, byte for byte."""
    Image.new("L", (64, 48), 90).save(tmp_path / "small.png")
    frames = [Image.new("RGB", (600, 400), shade) for shade in ("navy", "red")]
    frames[0].save(tmp_path / "moving.gif", save_all=True, append_images=frames[1:])
    (tmp_path / "broken.jpg").write_bytes(large.read_bytes()[:40])
    for name in ("small.png", "moving.gif", "broken.jpg"):
        given = {name: tmp_path / name}
        assert list(picture_files.contents(given).values()) == [(tmp_path / name).read_bytes()]
        assert picture_files.site_names(given) == picture_files.small_names(given)


def test_a_clear_ground_becomes_white(tmp_path: Path) -> None:
    """A picture that lets the page through is shown on white, not on black."""
    Image.new("RGBA", (900, 300), (0, 0, 0, 0)).save(tmp_path / "clear.png")
    made = picture_files.contents({"a": tmp_path / "clear.png"})
    small = made[picture_files.small_names({"a": tmp_path / "clear.png"})["a"]]
    assert min(Image.open(io.BytesIO(small)).getpixel((10, 10))) > 250


def test_films_are_opened_at_their_time(tmp_path: Path) -> None:
    """A film in the site's folder is linked at a time in seconds (W3C Media Fragments URI 1.0, 4.2.1); others are not."""
    (tmp_path / "films").mkdir()
    (tmp_path / "films" / "run 1#.mp4").write_bytes(b"film")
    (tmp_path.parent / "outside.mp4").write_bytes(b"film")
    films = films_in(["films/run 1#.mp4", "../outside.mp4", "lost.mp4"], tmp_path)
    assert films == {"films/run 1#.mp4": "films/run%201%23.mp4"}
    runs = pd.DataFrame({"run": ["R1", "R2"], "film": ["films/run 1#.mp4", "lost.mp4"]})
    seen = pd.DataFrame({"run": ["R1", "R1", "R2"], "film_time": ["00:03:12", None, "00:01:00"]})
    links = film_links(seen, runs, films)
    assert links.isna().tolist() == [False, True, True]
    assert links[0] == "films/run%201%23.mp4#t=192"


def test_the_pages_show_small_pictures_and_link_whole_ones(sample_town, large: Path, tmp_path: Path) -> None:
    """The street's file names both, they are in the folder, and a public site has neither."""
    name = sample_town.tables.placed_observations["picture"].dropna().iloc[0]
    tables = replace(sample_town.tables, pictures={name: large}, dig_sheets={})
    build_site(tables, tmp_path / "site")
    made = sorted(path.name for path in (tmp_path / "site" / "pictures").iterdir())
    assert [one.endswith("-small.jpg") for one in made] == [True, False]
    build_site(replace(tables, public=True), tmp_path / "public")
    assert not (tmp_path / "public" / "pictures").exists()
