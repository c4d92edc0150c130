"""A small town for what goes on paper: two lines, a warranty of each sort, hostile texts, pictures; loaded on either engine."""

import csv
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import geopandas as gpd
import shapely

import sewermap
from sewermap.book import Book

UTM = "EPSG:26910"
HOSTILE_STREET = 'Rue "d\'Été"; 日本, back\\slash'
FORMULA = '=HYPERLINK("http://x.invalid","see")'
TWO_LINES = "roots,\nand 2024-05-05, run FALSE-1 (nobody): never"

PLAN = """
crs = "EPSG:26910"
[laterals]
from = "laterals.gpkg"
tie_in = "start"
[runs]
from = "office/runs.csv"
[runs.defaults]
unit = "m"
[observations]
from = "office/observations.csv"
[observations.values.kind]
"=weird roots" = "roots"
[works]
from = "office/works.csv"
[warranties]
from = "office/warranties.csv"
"""

RUNS = (
    ("run", "lateral", "ran_on", "reason", "end_reading", "crew"),
    ("A-1", "L-1", "2024-03-01", "acceptance", "20", "Northlight"),
    ("A-2", "L-1", "2025-01-10", "check", "20", "-Southcrew"),
    ("A-3", "L-1", "2025-02-01", "complaint", "20", "Northlight"),
    ("B-1", "L-2", "2024-06-10", "acceptance", "12", "Northlight"),
)
OBSERVATIONS = (
    ("run", "reading", "kind", "percent", "remark", "picture"),
    ("A-2", "5.0", "=weird roots", "40", FORMULA, "shots/roots.jpg"),
    ("A-2", "12.0", "crack", "", TWO_LINES, "../../secret.jpg"),
    ("A-2", "16.0", "cross-bore", "", "", "shots/gone.jpg"),
    ("A-3", "5.0", "roots", "45", "@SUM(A1)", "shots/ROOTS.JPG"),
    ("A-3", "16.0", "cross-bore", "", "", ""),
)
WORKS = (
    ("work", "lateral", "done_on", "kind", "from_measure", "to_measure", "by"),
    ("W-1", "L-1", "2025-01-20", "spot repair", "7", "9", "Northlight"),
)
WARRANTIES = (
    ("warranty", "lateral", "begins_on", "term", "check_lead", "cure", "answerable", "start_event"),
    ("G-1", "L-1", "2024-02-29", "P1Y", "60", "10", "Northlight; & Sons, Ltd.", "final inspection"),
    ("G-2", "L-2", "2024-06-01", "P1Y", "60", "21", "", "acceptance"),
    ("G-3", "L-2", "2022-01-01", "P1Y", "60", "10", "Northlight", "acceptance"),
)


@dataclass(frozen=True)
class PaperTown:
    """An open book, and the folder its files came from."""

    book: Book
    folder: Path

    def load(self, warranties: Sequence[Sequence[str]] = WARRANTIES) -> None:
        """Load the town's files, with these warranties."""
        write_csv(self.folder / "office" / "warranties.csv", warranties)
        report = self.book.load(self.folder / "SOURCES.toml")
        assert len(report.rejects) == 0, report.rejects


def paper_town(where: str, folder: Path) -> PaperTown:
    """Make the files of the town in a folder, and load them into a new database."""
    (folder / "office" / "shots").mkdir(parents=True)
    (folder / "office" / "shots" / "roots.jpg").write_bytes(b"\xff\xd8\xff roots \r\n")
    lines = [shapely.LineString([(500000, y), (500020, y)]) for y in (4700000, 4700030)]
    frame = gpd.GeoDataFrame(
        {"lateral": ["L-1", "L-2"], "address": ["12 Elm Lane", "7"], "street": ["Elm Lane", HOSTILE_STREET]},
        geometry=lines,
        crs=UTM,
    )
    frame.to_file(folder / "laterals.gpkg")
    for name, rows in (("runs", RUNS), ("observations", OBSERVATIONS), ("works", WORKS)):
        write_csv(folder / "office" / f"{name}.csv", rows)
    (folder / "SOURCES.toml").write_text(PLAN, encoding="utf-8")
    town = PaperTown(sewermap.create(where, UTM), folder)
    town.load()
    return town


def write_csv(path: Path, rows: Sequence[Sequence[str]]) -> None:
    """Write a sheet."""
    with path.open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows(rows)
