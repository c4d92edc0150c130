"""A camera's stick: what its files say of themselves, and which observation each picture shows."""

import os
import shutil
import struct
import subprocess
import time
from pathlib import Path

import exifread
import numpy as np
import pandas as pd
import pytest
from PIL import Image, ImageDraw, ImageFont

import sewermap
from etl.draft_media import draft_of_stick
from etl.sources.media import read_media
from sewermap.book import Book
from sewermap.errors import SourceError
from tests.cli.running import sewermap as run
from tests.etl.rendered import Camera, picture
from tests.etl.rendered import film as filmed

PLAN = """
crs = "EPSG:26910"
[laterals]
from = "laterals.gpkg"
tie_in = "start"
[runs]
from = "runs.csv"
[observations]
from = "seen.csv"
"""
PICTURES = '[pictures]\nfrom = ["stick/**/*.jpg", "stick/**/*.mp4"]\n'
RUNS = ("run,lateral,ran_on,unit,film", "R1,L1,2024-05-01,ft,run1.mp4", "R2,L2,2024-05-02,ft,", "R3,L3,2024-05-02,ft,")
SEEN = (
    "run,reading,kind,picture,film_time",
    "R1,10,roots,img_0001.JPG,",
    "R1,20,crack,,",
    "R1,31,grease,,",
    "R2,5,roots,,00:01:00",
    "R2,9,crack,,00:02:30",
    "R2,12,sag,,00:03:00",
)
_EPOCH = 2_082_844_800
"""Seconds from 1904-01-01 to 1970-01-01 (24 107 days of 86 400 s: 66 years, 17 of them leap years)."""

ORIGINAL, PART = 0x9003, 0x9291
"""Tags of EXIF (CIPA DC-008-2019, tables 7 and 8): DateTimeOriginal, SubSecTimeOriginal."""


def snap(
    path: Path, taken: str | None = None, *, part: str | None = None, shade: int = 90, size: tuple[int, int] = (64, 48)
) -> Path:
    """A picture as a camera writes it: grey, with EXIF where it knows the time."""
    path.parent.mkdir(parents=True, exist_ok=True)
    exif = Image.Exif()
    if taken:
        exif.get_ifd(0x8769)[ORIGINAL] = taken
    if part:
        exif.get_ifd(0x8769)[PART] = part
    Image.new("L", size, shade).save(path, "JPEG", exif=exif)
    return path


def film(path: Path, made: str | None) -> Path:
    """The beginning of a film: file type, then a movie header (ISO/IEC 14496-12, 4.3 and 8.2.2) that says when it was made."""
    seconds = _EPOCH + int(pd.Timestamp(made).timestamp()) if made else 0
    header = struct.pack(">I4sIIIII", 28, b"mvhd", 0, seconds, seconds, 1000, 0)
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(struct.pack(">I4s4sI", 16, b"ftyp", b"isom", 0) + struct.pack(">I4s", 36, b"moov") + header)
    return path


@pytest.fixture
def book(engine_where: str) -> Book:
    """An empty database, once on each engine."""
    return sewermap.create(engine_where, "EPSG:26910")


@pytest.fixture
def file_book(tmp_path: Path) -> Book:
    """An empty database in a file, for what no engine does otherwise."""
    return sewermap.create(str(tmp_path / "only.gpkg"), "EPSG:26910")


@pytest.fixture
def files(town) -> Path:
    """Three laterals, three runs, six observations; gives the stick's folder."""
    town.laterals()
    town.csv("runs.csv", *RUNS)
    town.csv("seen.csv", *SEEN)
    return town.folder / "stick"


def shown(book: Book) -> dict[tuple[str, str], str | None]:
    """The picture of each observation by run and reading."""
    rows = book.layer("placed_observations")
    return {
        (run, reading): None if pd.isna(picture) else picture
        for run, reading, picture in rows[["run", "reading", "picture"]].to_numpy(object)
    }


def warned(report, about: str) -> list[str]:
    """Reasons of the warnings about a value."""
    return report.warnings.loc[(report.warnings["value"] == about).to_numpy(bool), "reason"].tolist()


def test_time_of_a_picture_is_the_cameras(tmp_path) -> None:
    """EXIF's DateTimeOriginal with its fraction is what we read; a library that is not ours and not Pillow reads the same."""
    path = snap(tmp_path / "IMG_1.JPG", "2024:05:01 10:11:12", part="34")
    rows, _ = read_media(path, "stick/IMG_1.JPG")
    assert rows.cells[["picture", "taken_at", "taken_from"]].iloc[0].tolist() == [
        "stick/IMG_1.JPG",
        "2024-05-01T10:11:12.34",
        "exif",
    ]
    with path.open("rb") as stream:
        tags = exifread.process_file(stream, details=False)
    assert (str(tags["EXIF DateTimeOriginal"]), str(tags["EXIF SubSecTimeOriginal"])) == ("2024:05:01 10:11:12", "34")


@pytest.mark.parametrize("said", [None, "0000:00:00 00:00:00", "    :  :     :  :  "])
def test_a_camera_without_a_clock(tmp_path, said) -> None:
    """Where EXIF knows no time the file's own stands for it, and the row says so (the blank forms: CIPA DC-008, 4.6.5)."""
    path = snap(tmp_path / "a.jpg", said)
    os.utime(path, (time.mktime((2024, 5, 1, 9, 30, 0, 0, 0, -1)),) * 2)
    rows, _ = read_media(path, "a.jpg")
    assert rows.cells[["taken_at", "taken_from"]].iloc[0].tolist() == ["2024-05-01T09:30:00", "file time"]


def test_time_of_a_film(tmp_path) -> None:
    """A film tells its time by its movie header; a clock that was never set tells nothing."""
    rows, _ = read_media(film(tmp_path / "a.MP4", "2024-05-01 08:00:00"), "a.MP4")
    assert rows.cells[["taken_at", "taken_from"]].iloc[0].tolist() == ["2024-05-01T08:00:00", "film"]
    rows, _ = read_media(film(tmp_path / "b.mov", None), "b.mov")
    assert rows.cells["taken_from"].tolist() == ["file time"]


def test_digest_is_that_of_sha256sum(tmp_path) -> None:
    """The digest recorded is the one that coreutils' sha256sum prints."""
    path = snap(tmp_path / "good.jpg")
    rows, digest = read_media(path, "good.jpg")
    printed = subprocess.run(["sha256sum", path], check=True, capture_output=True, text=True).stdout.split()[0]
    assert rows.cells["sha256"].tolist() == [digest] == [printed]


def test_files_that_cannot_be_read_are_rejected(file_book: Book, town, files: Path) -> None:
    """A cut picture, a text called .jpg and a film without a header are listed with their reasons; the others load."""
    whole = snap(files / "R1" / "good.jpg", "2024:05:01 10:00:00", size=(640, 480))
    (files / "R1" / "cut.jpg").write_bytes(whole.read_bytes()[:-800])
    (files / "R1" / "text.jpg").write_text("no picture")
    (files / "R1" / "cut.mp4").write_bytes(struct.pack(">I4s4sI", 16, b"ftyp", b"isom", 0))
    report = file_book.load(town.toml(PLAN + PICTURES))
    reasons = dict(report.rejects[["value", "reason"]].to_numpy(object).tolist())
    assert set(reasons) == {"stick/R1/cut.jpg", "stick/R1/text.jpg", "stick/R1/cut.mp4"}
    assert "it is no picture" in reasons["stick/R1/text.jpg"]
    assert "no movie header" in reasons["stick/R1/cut.mp4"]
    counts = report.files[report.files["table"] == "pictures"]
    assert counts[["read", "loaded", "rejected"]].sum().tolist() == [4, 1, 3]
    assert (counts["read"] == counts["loaded"] + counts["unchanged"] + counts["rejected"]).all()


def test_by_name_by_order_and_by_clock(book: Book, town, files: Path) -> None:
    """A named picture is of its observation; clocks laid on one another find the next; what is left goes by order and is told."""
    snap(files / "R1" / "IMG_0001.jpg", "2024:05:01 10:00:00")
    snap(files / "R1" / "IMG_0002.jpg", "2024:05:01 10:02:00")
    snap(files / "R1" / "IMG_0003.jpg", "2024:05:01 10:03:00")
    snap(files / "R2" / "IMG_0001.jpg", "2024:05:02 09:01:03")
    snap(files / "R2" / "IMG_0002.jpg", "2024:05:02 09:03:01")
    report = book.load(town.toml(PLAN + PICTURES))
    assert shown(book) == {
        ("R1", "10"): "stick/R1/IMG_0001.jpg",
        ("R1", "20"): "stick/R1/IMG_0002.jpg",
        ("R1", "31"): "stick/R1/IMG_0003.jpg",
        ("R2", "5"): "stick/R2/IMG_0001.jpg",
        ("R2", "9"): None,
        ("R2", "12"): "stick/R2/IMG_0002.jpg",
    }
    assert "by the order of time alone" in warned(report, "stick/R1/IMG_0002.jpg")[0]
    assert warned(report, "stick/R2/IMG_0001.jpg") == []


@pytest.mark.usefixtures("files")
def test_by_the_counter(book: Book, town) -> None:
    """A reading given for a picture joins it to the nearest observation within three sigma, and the first taken is shown.

    One that fits nothing is told, and one with a mark is not used.
    """
    town.csv(
        "list.csv",
        "picture,run,reading,sigma,taken_at,mark",
        "b.jpg,R2,9.2,,2024-05-02T10:01:00,",
        "a.jpg,R2,8.9,,2024-05-02T10:00:00,",
        "far.jpg,R2,30,,2024-05-02T10:02:00,",
        "wide.jpg,R1,21.5,0.2 m,2024-05-01T10:00:00,",
        "odd.jpg,R2,12,,2024-05-02T10:03:00,hard to read",
    )
    report = book.load(town.toml(PLAN + '[pictures]\nfrom = "list.csv"\n'))
    assert shown(book)["R2", "9"] == "a.jpg"
    assert shown(book)["R1", "20"] == "wide.jpg"
    assert shown(book)["R2", "12"] is None
    assert warned(report, "b.jpg") == []
    assert "its counter shows 30, and no observation of run R2" in warned(report, "far.jpg")[0]
    assert "its counter was not used, for hard to read" in warned(report, "odd.jpg")[0]


def test_the_run_of_a_picture(file_book: Book, town, files: Path) -> None:
    """A picture is of the only run of its day, or of its lateral's on that day; where that is not one, it is told why."""
    snap(files / "a.jpg", "2024:05:01 10:00:00")
    snap(files / "b.jpg", "2024:05:02 10:00:00")
    snap(files / "c.jpg", "2024:05:03 10:00:00")
    report = file_book.load(town.toml(PLAN + PICTURES))
    assert "run R1 has 2 observations without a picture and 1 pictures" in warned(report, "stick/a.jpg")[0]
    assert warned(report, "stick/b.jpg")[0].startswith("2 runs were made on 2024-05-02; put it into a folder")
    assert warned(report, "stick/c.jpg")[0].startswith("no run was made on 2024-05-03")
    report = file_book.load(town.toml(PLAN + PICTURES + '[pictures.defaults]\nlateral = "L2"\n'))
    assert "run R2 has 3 observations" in warned(report, "stick/b.jpg")[0]
    assert warned(report, "stick/a.jpg")[0].startswith("no run of lateral L2 was made on 2024-05-01")


def test_either_may_come_first(book: Book, town, files: Path) -> None:
    """Pictures loaded before their observations show the same as all at once, and all computed again is the same."""
    snap(files / "R1" / "IMG_0001.jpg", "2024:05:01 10:00:00")
    snap(files / "R1" / "IMG_0002.jpg", "2024:05:01 10:02:00")
    snap(files / "R1" / "IMG_0003.jpg", "2024:05:01 10:03:00")
    town.csv("seen.csv", SEEN[0], *SEEN[4:])
    book.load(town.toml(PLAN + PICTURES))
    town.csv("seen.csv", *SEEN)
    book.load(town.toml(PLAN))
    assert shown(book)["R1", "20"] == "stick/R1/IMG_0002.jpg"
    before = pd.DataFrame(book.layer("placed_observations")).astype(str)
    book.recompute()
    pd.testing.assert_frame_equal(before, pd.DataFrame(book.layer("placed_observations")).astype(str))


def test_a_second_run_of_the_day_takes_the_certainty_back(book: Book, town, files: Path) -> None:
    """What was joined because its run was the only one of its day is no longer, when another run of that day is loaded."""
    town.csv("seen.csv", *SEEN[:3])
    snap(files / "a.jpg", "2024:05:01 10:00:00")
    book.load(town.toml(PLAN + PICTURES))
    assert shown(book)["R1", "20"] == "stick/a.jpg"
    town.csv("runs.csv", *RUNS, "R4,L3,2024-05-01,ft,")
    book.load(town.toml(PLAN))
    assert shown(book)["R1", "20"] is None


def test_loading_again_changes_nothing_and_a_changed_file_is_a_new_version(book: Book, town, files: Path) -> None:
    """The same stick is known, also when copying changed file times; another content is a new version, the old is kept."""
    path = snap(files / "R3" / "a.jpg")
    book.load(town.toml(PLAN + PICTURES))
    shutil.copy(path, town.folder / "copy")
    (town.folder / "copy").replace(path)
    os.utime(path, (0, 0))
    report = book.load(town.folder / "SOURCES.toml")
    assert report.files[["loaded", "unchanged"]].sum().tolist() == [0, int(report.files["read"].sum())]
    original = snap(path, "2024:05:02 10:00:00", shade=120).read_bytes()
    book.load(town.folder / "SOURCES.toml")
    with book.store.reading() as conn:
        rows = pd.read_sql("SELECT sha256, replaced_by FROM pictures ORDER BY id", conn)
    assert rows["replaced_by"].isna().tolist() == [False, True]
    assert rows["sha256"].nunique() == 2
    assert path.read_bytes() == original


def test_a_name_that_is_no_picture_or_several(file_book: Book, town, files: Path) -> None:
    """An observation that names a picture which is not there, or which several bear, is told so, where its run has pictures."""
    town.csv("seen.csv", "run,reading,kind,picture", "R1,10,roots,lost.jpg", "R1,20,crack,x.jpg", "R1,31,grease,ok")
    for name in ("one/x.jpg", "two/x.jpg", "R1/ok.jpg"):
        snap(files / name, "2024:05:01 10:00:00")
    report = file_book.load(town.toml(PLAN + PICTURES))
    assert warned(report, "lost.jpg") == ["it is not among the pictures that were loaded"]
    assert warned(report, "x.jpg") == ["2 pictures bear that name; write it with its folder"]
    assert warned(report, "ok") == []


@pytest.mark.usefixtures("files")
def test_the_film_is_held_against_the_log(file_book: Book, town) -> None:
    """A reading that differs from the film's counter at its time by more than half a foot is told; one that agrees is not."""
    town.csv("seen.csv", "run,reading,kind,film_time", "R1,20.2,crack,00:02:00", "R1,31.2,roots,00:03:12", "R1,5,grease,09:00:00")
    town.csv("list.csv", "picture,counter,unit", "run1.mp4,0 s = 0 ft; 120 s = 20 ft; 240 s = 36.3 ft,ft")
    report = file_book.load(town.toml(PLAN + '[pictures]\nfrom = "list.csv"\n'))
    assert warned(report, "31.2") == ["the film shows 29.8 ft at 00:03:12, the log says 31.2"]
    assert warned(report, "20.2") == []
    assert warned(report, "5") == []


def rendered(path: Path, reading: str, taken: str) -> Path:
    """A picture of a pipe's grey with its counter burnt in, as cameras of the trade do (common practice, no source)."""
    picture = Image.effect_noise((640, 480), 30).convert("RGB")
    font = ImageFont.load_default(size=36)
    ImageDraw.Draw(picture).text((40, 420), reading, font=font, fill="white", stroke_width=2, stroke_fill="black")
    exif = Image.Exif()
    exif.get_ifd(0x8769)[ORIGINAL] = taken
    path.parent.mkdir(parents=True, exist_ok=True)
    picture.save(path, "JPEG", quality=90, exif=exif)
    return path


def test_counters_are_read_on_request_and_once(tmp_path, town, files: Path) -> None:
    """With read_counters a picture's counter joins it to its observation; the next load reads none again and changes nothing."""
    for name, reading, clock in (("a", "31.2 ft", "10:00:00"), ("b", "9.9 ft", "09:00:00")):
        rendered(files / "R1" / f"{name}.jpg", reading, f"2024:05:01 {clock}")
    book = sewermap.create(str(tmp_path / "town.gpkg"), "EPSG:26910")
    plan = town.toml(PLAN + PICTURES + "read_counters = true\n")
    heard: list[str] = []
    book.load(plan, progress=heard.append)
    assert "reading the counters of pictures, 2 of 2" in heard
    with book.store.reading() as conn:
        rows = pd.read_sql("SELECT reading, unit, reading_from, mark FROM pictures ORDER BY picture", conn)
    assert rows.to_numpy(object).tolist() == [["31.2", "ft", "counter", None], ["9.9", "ft", "counter", None]]
    assert shown(book)["R1", "31"] == "stick/R1/a.jpg"
    heard.clear()
    report = book.load(plan, progress=heard.append)
    assert not any("counters" in step for step in heard)
    assert report.files["loaded"].sum() == 0


def test_a_stick_without_a_plan_becomes_a_draft(tmp_path, town, files: Path) -> None:
    """The draft has a row for each picture with its reading, time and run; finished by hand it loads; nothing is overwritten."""
    rendered(files / "R9" / "b.jpg", "9.9 ft", "2024:05:01 09:02:00")
    rendered(files / "R9" / "a.jpg", "4.5 ft", "2024:05:01 09:01:00")
    snap(files / "DCIM" / "100MEDIA" / "c.JPG", "2024:05:03 09:00:00")
    film(files / "R9" / "run.mp4", "2024-05-01 09:00:00")
    (files / "R9" / "cut.jpg").write_text("no picture")
    out = tmp_path / "draft" / "SOURCES.toml"
    told = draft_of_stick(files, out)
    log, runs = (pd.read_csv(out.parent / name, dtype="str") for name in ("draft-log.csv", "draft-runs.csv"))
    assert log["run"].tolist() == ["2024-05-03", "R9", "R9"]
    assert log["reading"].tolist()[1:] == ["4.5", "9.9"]
    assert log["kind"].isna().all()
    assert pd.isna(log["reading"][0])
    assert log["doubt"].notna().tolist() == [True, False, False]
    assert runs[["run", "ran_on", "unit"]].fillna("").to_numpy().tolist() == [
        ["2024-05-03", "2024-05-03", ""],
        ["R9", "2024-05-01", "ft"],
    ]
    assert runs["film"][1].endswith("stick/R9/run.mp4")
    assert any("it is no picture" in line for line in told)
    with pytest.raises(SourceError, match="is there already"):
        draft_of_stick(files, out)
    runs.assign(lateral="L1", unit="ft").to_csv(out.parent / "draft-runs.csv", index=False)
    log.assign(kind="crack").to_csv(out.parent / "draft-log.csv", index=False)
    book = sewermap.create(str(tmp_path / "town.gpkg"), "EPSG:26910")
    book.load(town.toml(PLAN.partition("[runs]")[0]))
    report = book.load(out)
    assert report.files.groupby("table")["loaded"].sum().to_dict() == {"observations": 2, "pictures": 4, "runs": 2}
    assert shown(book)["R9", "9.9"] == log["picture"][2]


def test_a_film_is_read_and_held_against_the_log(tmp_path, town, files: Path) -> None:
    """A film that its run names gives a curve, and a reading that it does not show is told; nothing is read a second time."""
    rng = np.random.default_rng(7)
    camera = Camera("DejaVuSans.ttf", "bottom right", "ft", 24, 1, (255, 255, 255))
    images = [picture(rng, camera, 2.0 + second, (4, 0.3, 0), (480, 272)) for second in range(16)]
    files.mkdir()
    filmed(files / "run1.mp4", images, each=5, rate=5)
    town.csv("seen.csv", "run,reading,kind,film_time", "R1,8,crack,00:06", "R1,14.5,roots,00:10")
    book = sewermap.create(str(tmp_path / "town.gpkg"), "EPSG:26910")
    plan = town.toml(PLAN + PICTURES + "read_counters = true\n")
    heard: list[str] = []
    report = book.load(plan, progress=heard.append)
    assert warned(report, "8") == []
    assert warned(report, "14.5")[0].startswith("the film shows 12.")
    assert any(step.startswith("reading the counters of run1.mp4") for step in heard)
    heard.clear()
    assert book.load(plan, progress=heard.append).files["loaded"].sum() == 0
    assert not any("counters" in step for step in heard)


def test_the_command_drafts_and_tells(tmp_path, files: Path) -> None:
    """`load --draft` writes to -o alone, says what to do next, and refuses what is no stick or would overwrite."""
    snap(files / "R1" / "a.jpg", "2024:05:01 10:00:00")
    out = tmp_path / "draft" / "SOURCES.toml"
    done = run("load", "--draft", files, "-o", out, "--lateral", "L1")
    assert (done.status, done.out) == (0, "")
    assert f"wrote {out}; correct it, then: sewermap load" in done.err
    assert pd.read_csv(out.parent / "draft-runs.csv")["lateral"].tolist() == ["L1"]
    assert run("load", "--draft", files, "-o", out).is_one_line_error
    assert run("load", "--draft", files).status == 2
    (tmp_path / "empty").mkdir()
    assert run("load", "--draft", tmp_path / "empty", "-o", tmp_path / "new" / "SOURCES.toml").is_one_line_error
    assert not (tmp_path / "new").exists()
