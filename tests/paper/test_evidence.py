"""The evidence folder: complete, checkable, the same from the same facts, and never outside or over what is there."""

import csv
import datetime as dt
import hashlib
import io
import shutil
import subprocess
from pathlib import Path

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sewermap.cautions import STOP
from sewermap.errors import SewermapError, UnknownNameError
from sewermap.paper.evidence_files import find_pictures, safe_name
from sewermap.paper.evidence_tables import csv_bytes
from sewermap.plain import as_written, shielded
from tests.cli.running import good
from tests.cli.running import sewermap as run
from tests.paper.warranty_town import FORMULA, OBSERVATIONS, WARRANTIES, PaperTown, paper_town

DAY = dt.date(2025, 2, 10)
FILES = {"SHA256SUMS", "evidence.txt", "runs.csv", "sightings.csv", "works.csv", "pictures/0001-roots.jpg"}


@pytest.fixture(scope="module")
def loaded(tmp_path_factory: pytest.TempPathFactory) -> PaperTown:
    """The small town, loaded once."""
    folder = tmp_path_factory.mktemp("evidence")
    return paper_town(str(folder / "town.gpkg"), folder / "town")


@pytest.fixture
def town(loaded: PaperTown, tmp_path: Path) -> PaperTown:
    """The same with files of one's own, and a picture beside them that no evidence may hold."""
    (tmp_path / "secret.jpg").write_bytes(b"nobody's business")
    shutil.copytree(loaded.folder, tmp_path / "town")
    return PaperTown(loaded.book, tmp_path / "town")


def make(town: PaperTown, name: str = "G-1", folder: str = "evidence", day: dt.date = DAY) -> tuple[Path, list[str]]:
    """The folder of evidence, and the pictures that are missing."""
    outdir = town.folder.parent / folder
    _, missing = town.book.evidence(name, outdir, day, pictures=town.folder)
    return outdir, missing


def contents(folder: Path) -> dict[str, bytes]:
    """All files of a folder."""
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def rows_of(folder: Path, name: str) -> list[dict[str, str]]:
    """A table of the folder, each cell as it was written."""
    with (folder / name).open(encoding="utf-8", newline="") as file:
        return [{key: as_written(value) for key, value in row.items()} for row in csv.DictReader(file)]


def test_the_folder_passes_its_own_checksums(town: PaperTown) -> None:
    """``sha256sum -c`` (GNU coreutils) finds every file as it is listed, and lists all; a file that was altered fails."""
    folder, _ = make(town)
    assert set(contents(folder)) == FILES
    done = subprocess.run(["sha256sum", "-c", "--strict", "SHA256SUMS"], cwd=folder, capture_output=True, text=True, check=True)
    assert {line.removesuffix(": OK") for line in done.stdout.splitlines()} == FILES - {"SHA256SUMS"}
    (folder / "runs.csv").write_bytes(b"altered")
    assert subprocess.run(["sha256sum", "-c", "SHA256SUMS"], cwd=folder, capture_output=True, check=False).returncode == 1


def test_sightings_are_what_the_source_file_says(town: PaperTown) -> None:
    """Each sighting's file and row, opened with Python's csv, holds the reading, kind and remark that it tells."""
    folder, _ = make(town)
    rows = rows_of(folder, "sightings.csv")
    assert len(rows) == len(OBSERVATIONS) - 1
    for row in rows:
        source = town.folder / row["source_file"]
        with source.open(encoding="utf-8", newline="") as file:
            said = dict(zip(OBSERVATIONS[0], list(csv.reader(file))[int(row["source_row"]) - 1], strict=True))
        told = {"run": row["run"], "reading": row["reading"], "kind": row["kind_as_written"], "remark": row["remark"]}
        assert told == {name: said[name] for name in told}
        assert (row["unit"], row["crs"]) == ("m", "EPSG:26910")
        assert row["source_sha256"] == hashlib.sha256(source.read_bytes()).hexdigest()


def test_places_are_those_of_the_layer(town: PaperTown) -> None:
    """Places are those of placed_observations; lon and lat those that geopandas' own reprojection gives."""
    folder, _ = make(town)
    rows = pd.read_csv(folder / "sightings.csv").set_index(["run", "measure_m"]).sort_index()
    placed = town.book.layer("placed_observations")
    placed = placed[placed["issue"].notna()].set_index(["run", "measure_m"]).sort_index()
    names = ["sigma_m", "within_m", "x", "y"]
    pd.testing.assert_frame_equal(rows[names], pd.DataFrame(placed[names]), check_like=True)
    globe = placed.geometry.to_crs(4326)
    assert abs(rows["lon"] - globe.x).max() < 1e-8
    assert abs(rows["lat"] - globe.y).max() < 1e-8


def test_runs_that_saw_nothing_are_told_too(town: PaperTown) -> None:
    """The acceptance run, which did not see the issues, is there with what it passed; works are there with who did them."""
    folder, _ = make(town)
    runs = {row["run"]: row for row in rows_of(folder, "runs.csv")}
    assert list(runs) == ["A-1", "A-2", "A-3"]
    assert (runs["A-1"]["reason"], runs["A-1"]["from_measure_m"], runs["A-2"]["crew"]) == ("acceptance", "0.0", "-Southcrew")
    assert [(row["work"], row["by"], row["source_row"]) for row in rows_of(folder, "works.csv")] == [("W-1", "Northlight", "2")]


def test_no_cell_runs_as_a_formula(town: PaperTown) -> None:
    """No text cell begins as a formula does, in any table; the text comes back as written."""
    folder, _ = make(town)
    for name in ("sightings.csv", "runs.csv", "works.csv"):
        with (folder / name).open(encoding="utf-8", newline="") as file:
            cells = [cell for row in csv.reader(file) for cell in row]
        assert not [cell for cell in cells if cell[:1] in ("=", "@") or (cell[:1] in ("+", "-") and not is_number(cell))]
    remarks = {row["remark"] for row in rows_of(folder, "sightings.csv")}
    assert {FORMULA, "@SUM(A1)"} <= remarks


def is_number(cell: str) -> bool:
    """Whether Python reads a cell as a number."""
    try:
        float(cell)
    except ValueError:
        return False
    return True


@given(st.text(st.one_of(st.sampled_from("=+-@'\t\r\n 1.,＝"), st.characters(codec="utf-8")), max_size=20))
def test_shielding_loses_nothing(text: str) -> None:
    """Any text comes back; what a spreadsheet would run is never left bare."""
    cell = shielded(text)
    assert as_written(cell) == text
    assert cell.lstrip()[:1] not in ("=", "@") or cell[:1] == "'"
    frame = pd.DataFrame({"remark": pd.Series([text], dtype="str")})
    read = list(csv.reader(io.StringIO(csv_bytes(frame).decode(), newline="")))
    assert [[as_written(cell) for cell in row] for row in read] == [["remark"], [text]]


def test_pictures_are_copied_unaltered_and_missing_ones_told(town: PaperTown) -> None:
    """A picture is the same byte for byte; those that are not there, or lie outside, are listed with the reason."""
    folder, missing = make(town)
    assert (folder / "pictures" / "0001-roots.jpg").read_bytes() == (town.folder / "office" / "shots" / "roots.jpg").read_bytes()
    told = (folder / "evidence.txt").read_text(encoding="utf-8")
    assert len(missing) == 3
    assert "../../secret.jpg: its path leads out of the folders that were searched, so it was not followed" in missing
    assert "MISSING shots/gone.jpg: not found in the folders that were searched" in told
    assert b"nobody's business" not in b"".join(contents(folder).values())


def test_names_that_differ_in_case_alone_stay_apart(town: PaperTown) -> None:
    """shots/roots.jpg and shots/ROOTS.JPG are two files here, and in the folder also where case does not count."""
    (town.folder / "office" / "shots" / "ROOTS.JPG").write_bytes(b"another")
    folder, _ = make(town)
    names = [name for name in contents(folder) if name.startswith("pictures/")]
    assert len({name.casefold() for name in names}) == 2
    by_name = {row["picture"]: row["picture_file"] for row in rows_of(folder, "sightings.csv") if row["picture_file"]}
    assert (folder / by_name["shots/ROOTS.JPG"]).read_bytes() == b"another"


@pytest.mark.parametrize("name", ["../secret.jpg", "/etc/hostname", "link/secret.jpg", "..\\secret.jpg", "x\0y", "a" * 5000, "."])
def test_no_picture_is_taken_from_outside(tmp_path: Path, name: str) -> None:
    """Paths that go up, absolute ones, links that lead out, and names no file can have find nothing, and say why."""
    inside = tmp_path / "inside"
    inside.mkdir()
    (tmp_path / "secret.jpg").write_bytes(b"secret")
    (inside / "link").symlink_to(tmp_path)
    picture = find_pictures([(name, "logs/seen.csv")], [inside])[name, "logs/seen.csv"]
    assert (picture.file, picture.target) == (None, "")
    assert picture.why


@given(st.text(max_size=300))
def test_any_name_is_one_that_every_system_takes(name: str) -> None:
    """After a number and a hyphen it is one part of a path, without signs that Windows forbids (its manual, from memory)."""
    safe = safe_name(name)
    assert safe
    assert not set('<>:"/\\|?*\n\r\t\0') & set(safe)
    assert not safe.endswith((".", " "))
    assert len(safe.encode()) <= 100


def test_the_same_facts_give_the_same_bytes(town: PaperTown) -> None:
    """Made twice, into two folders, all files are equal; made again in place, nothing changes."""
    (one, _), (other, _) = make(town), make(town, folder="other")
    first = contents(one)
    assert first == contents(other)
    make(town)
    assert contents(one) == first


def test_both_engines_give_the_same_folder(town: PaperTown, postgis_url: str, tmp_path: Path) -> None:
    """The evidence does not depend on where the town is kept."""
    other = paper_town(postgis_url, tmp_path / "other" / "town")
    assert contents(make(other)[0]) == contents(make(town)[0])


def test_what_is_dated_later_is_left_out(town: PaperTown) -> None:
    """As of a day before them, later runs, sightings and works are not in the folder."""
    folder, _ = make(town, day=dt.date(2025, 1, 15))
    assert {row["run"] for row in rows_of(folder, "sightings.csv")} == {"A-2"}
    assert [row["run"] for row in rows_of(folder, "runs.csv")] == ["A-1", "A-2"]
    assert rows_of(folder, "works.csv") == []


def test_an_issue_has_a_folder_of_its_own(town: PaperTown) -> None:
    """By an issue's name the folder holds its sightings alone; a suspected cross-bore on the line says stop."""
    issues = town.book.layer("issues").set_index("kind")["issue"]
    folder, missing = make(town, issues["roots"])
    assert {row["issue"] for row in rows_of(folder, "sightings.csv")} == {issues["roots"]}
    assert [name.partition(":")[0] for name in missing] == ["shots/ROOTS.JPG"]
    told = (folder / "evidence.txt").read_text(encoding="utf-8")
    assert told.startswith(f"Evidence for issue {issues['roots']}\n")
    assert STOP in " ".join(told.replace("***", " ").split())


def test_a_name_of_both_is_asked_about(engine_where: str, tmp_path: Path) -> None:
    """Where a warranty and an issue bear one name, the user is asked which is meant, and either can be had."""
    town = paper_town(engine_where, tmp_path / "town")
    name = str(town.book.layer("issues")["issue"].iloc[0])
    town.load([*WARRANTIES, (name, *WARRANTIES[1][1:])])
    with pytest.raises(UnknownNameError, match="is the name of a warranty and of an issue"):
        town.book.evidence_of(name, DAY)
    assert {town.book.evidence_of(name, DAY, what=what).what for what in ("warranty", "issue")} == {"warranty", "issue"}


def test_a_name_of_neither_tells_both_nearest(town: PaperTown) -> None:
    """An unknown name is refused with what is near among warranties and issues."""
    with pytest.raises(UnknownNameError, match=r"no warranty is called 'G-9'.*no issue is called 'G-9'"):
        town.book.evidence_of("G-9", DAY)


def refused(town: PaperTown, folder: Path, name: str = "G-1") -> None:
    """The folder is refused, and nothing in it changes."""
    before = contents(folder)
    with pytest.raises(SewermapError, match="will not be touched"):
        town.book.evidence(name, folder, DAY)
    assert contents(folder) == before


def test_a_folder_with_anything_else_is_never_touched(town: PaperTown) -> None:
    """A folder of anything else, of another warranty, with a file more, a file altered or a link in it, is refused untouched."""
    refused(town, town.folder)
    folder, _ = make(town)
    refused(town, folder, "G-2")
    whole = contents(folder)
    for name, content in (
        ("notes.txt", b"mine"),
        ("evidence.txt", whole["evidence.txt"] + b"my notes"),
        ("pictures/mine.jpg", b"x"),
    ):
        (folder / name).write_bytes(content)
        refused(town, folder)
        (folder / name).write_bytes(whole[name]) if name in whole else (folder / name).unlink()
    shutil.move(folder / "runs.csv", town.folder / "runs.csv")
    (folder / "runs.csv").symlink_to(town.folder / "runs.csv")
    refused(town, folder)


def test_an_earlier_folder_is_replaced_whole(town: PaperTown) -> None:
    """An untouched folder of the same warranty becomes that of the later day: a picture that is gone is gone from it as well."""
    folder, _ = make(town, day=dt.date(2025, 1, 15))
    (town.folder / "office" / "shots" / "roots.jpg").unlink()
    make(town)
    assert set(contents(folder)) == FILES - {"pictures/0001-roots.jpg"}
    assert not (folder / "pictures").exists()
    assert "up to 2025-02-10" in (folder / "evidence.txt").read_text(encoding="utf-8")


def test_the_command_finds_pictures_beside_the_sources(town: PaperTown, tmp_path: Path) -> None:
    """Without --pictures they are looked for beside the database and there beside the source file; missing ones are told."""
    where = tmp_path / "town" / "town.gpkg"
    shutil.copyfile(town.book.store.where, where)
    asked = ("evidence", "G-1", tmp_path / "out", "--as-of", DAY, "--db", where)
    done = good(run(*asked))
    assert (tmp_path / "out" / "pictures" / "0001-roots.jpg").exists()
    assert done.err.startswith(f"6 files in {tmp_path / 'out'}; read ")
    assert "picture missing: shots/gone.jpg: not found" in done.err
    assert run("evidence", "G-1", where, "--db", where).status == 2
    assert run("evidence", "G-2", *asked[2:]).is_one_line_error
