"""One log in whatever format people keep it gives the same rows: CSV, Excel, OpenDocument, Parquet, JSON lines."""

import csv as csv_module
import datetime as dt
import json
import shutil
import subprocess
from pathlib import Path

import geopandas as gpd
import odf.office
import odf.opendocument
import odf.table
import odf.text
import openpyxl
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
import shapely

import sewermap
from etl.sources import read_file
from sewermap.errors import SourceError

RUNS = [("R1", "L1", dt.date(2024, 5, 31), "ft", "tie-in", 0.5), ("R 2", "L1", dt.date(2025, 6, 1), "m", "building", 0)]
SEEN = [
    ("R1", 3.5, "roots", 30, 'joint, "left"', None), ("R1", 21, "crack", None, None, 4),
    ("R1", 44.25, "building", None, "é ß", None),
    ("R 2", 1.25, "crack", None, None, None), ("R 2", 12, "roots", 45.5, "worse", 2),
]  # fmt: skip
COLUMNS = {
    "runs": ("run", "lateral", "ran_on", "unit", "launch", "launch_reading"),
    "observations": ("run", "reading", "kind", "percent", "remark", "grade"),
}
ROWS = {"runs": RUNS, "observations": SEEN}
X, Y = 500_000.0, 4_000_000.0


def frame(section: str) -> pd.DataFrame:
    """A section as a table with types of its own."""
    return pd.DataFrame(ROWS[section], columns=list(COLUMNS[section]))


def csv(folder: Path, section: str) -> str:
    """By the standard library, numbers in their shortest form as the other formats have them."""
    with (folder / f"{section}.csv").open("w", encoding="utf-8", newline="") as file:
        csv_module.writer(file).writerows([COLUMNS[section], *ROWS[section]])
    return f'from = "{section}.csv"\n'


def xlsx(folder: Path, section: str) -> str:
    """By openpyxl, both sheets in one workbook."""
    path = folder / "log.xlsx"
    book = openpyxl.load_workbook(path) if path.exists() else openpyxl.Workbook()
    sheet = book.create_sheet(section)
    sheet.append(COLUMNS[section])
    for row in ROWS[section]:
        sheet.append(row)
    book.save(path)
    return f'from = "log.xlsx"\nlayer = "{section}"\n'


def typed_cell(value: object) -> odf.table.TableCell:
    """A cell of an OpenDocument sheet with its type."""
    if value is None:
        return odf.table.TableCell()
    if isinstance(value, dt.date):
        cell = odf.table.TableCell(valuetype="date", datevalue=value.isoformat())
    elif isinstance(value, (int, float)):
        cell = odf.table.TableCell(valuetype="float", value=value)
    else:
        cell = odf.table.TableCell(valuetype="string")
    cell.addElement(odf.text.P(text=str(value)))
    return cell


def ods(folder: Path, section: str) -> str:
    """By odfpy, each section a workbook of its own, with the million empty rows that programs write at the end."""
    book = odf.opendocument.OpenDocumentSpreadsheet()
    sheet = odf.table.Table(name=section)
    for row in (COLUMNS[section], *ROWS[section]):
        line = odf.table.TableRow()
        for value in row:
            line.addElement(typed_cell(value))
        line.addElement(odf.table.TableCell(numbercolumnsrepeated=1000))
        sheet.addElement(line)
    rest = odf.table.TableRow(numberrowsrepeated=1_048_000)
    rest.addElement(odf.table.TableCell(numbercolumnsrepeated=1024))
    sheet.addElement(rest)
    book.spreadsheet.addElement(sheet)
    book.save(folder / f"{section}.ods")
    return f'from = "{section}.ods"\n'


def parquet(folder: Path, section: str) -> str:
    """By pandas and pyarrow, typed."""
    frame(section).to_parquet(folder / f"{section}.parquet", index=False)
    return f'from = "{section}.parquet"\n'


def jsonl(folder: Path, section: str) -> str:
    """By the standard library, empty values left out or null."""
    lines = []
    for row in ROWS[section]:
        told = {
            name: str(value) if isinstance(value, dt.date) else value for name, value in zip(COLUMNS[section], row, strict=True)
        }
        lines.append(json.dumps(told, ensure_ascii=False))
    (folder / f"{section}.jsonl").write_text("\n\n".join(lines) + "\n", encoding="utf-8")
    return f'from = "{section}.jsonl"\n'


FORMATS = {"csv": csv, "xlsx": xlsx, "ods": ods, "parquet": parquet, "jsonl": jsonl}


def placed(folder: Path, made: dict[str, str]) -> pd.DataFrame:
    """All observations of the log, loaded and placed, but for the file and row they stood in."""
    folder.mkdir(exist_ok=True)
    line = shapely.LineString([(X, Y), (X, Y + 15)])
    gpd.GeoDataFrame({"lateral": ["L1"]}, geometry=[line], crs="EPSG:26910").to_file(folder / "laterals.gpkg")
    plan = '[laterals]\nfrom = "laterals.gpkg"\ntie_in = "start"\n'
    (folder / "SOURCES.toml").write_text(plan + "".join(f"[{section}]\n{text}" for section, text in made.items()))
    book = sewermap.create(folder / "town.gpkg", "EPSG:26910")
    assert book.load(folder / "SOURCES.toml").rejects.empty
    return book.layer("placed_observations").drop(columns=["source_file", "source_row"])


@pytest.mark.parametrize("kind", [name for name in FORMATS if name != "csv"])
def test_a_log_gives_the_same_rows_in_any_format(tmp_path: Path, kind: str) -> None:
    """Readings as written, kinds, grades, remarks, places: letter by letter those of the CSV file."""
    wanted, got = (
        placed(tmp_path / name, {section: FORMATS[name](_made(tmp_path / name), section) for section in COLUMNS})
        for name in ("csv", kind)
    )
    assert len(got) == len(SEEN)
    assert got.equals(wanted), got.compare(wanted)


def _made(folder: Path) -> Path:
    folder.mkdir(exist_ok=True)
    return folder


def test_the_exchange_form_gives_the_same_rows(tmp_path: Path) -> None:
    """What the exchange form keeps of a log (docs/exchange.md) is placed as the log itself: kinds with a code."""
    coded = [row for row in SEEN if row[2] == "roots"]
    folder = _made(tmp_path / "csv")
    frame("runs").to_csv(folder / "runs.csv", index=False)
    pd.DataFrame(coded, columns=list(COLUMNS["observations"])).to_csv(folder / "observations.csv", index=False)
    wanted = placed(folder, {"runs": 'from = "runs.csv"\n', "observations": 'from = "observations.csv"\n'})
    other = _made(tmp_path / "xml")
    assert sewermap.open(folder / "town.gpkg").export_exchange(other / "log.xml") == {}
    got = placed(other, {"runs": 'from = "log.xml"\n', "observations": 'from = "log.xml"\n'})
    assert got.equals(wanted), got.compare(wanted)


def test_what_libreoffice_writes_is_read_alike(tmp_path: Path) -> None:
    """A workbook of openpyxl, saved by LibreOffice in the other format: every cell of both sheets has the same text."""
    for section in COLUMNS:
        xlsx(tmp_path, section)
    program = shutil.which("soffice")
    assert program is not None, "this test needs the Debian package libreoffice-calc-nogui"
    words = [program, f"-env:UserInstallation={(tmp_path / 'profile').as_uri()}", "--headless", "--convert-to", "ods", "--outdir"]
    subprocess.run([*words, tmp_path, tmp_path / "log.xlsx"], check=True, capture_output=True, timeout=60)
    for section in COLUMNS:
        wanted, got = (read_file(tmp_path / f"log.{suffix}", layer=section) for suffix in ("xlsx", "ods"))
        assert len(got.cells) == len(ROWS[section])
        assert got.cells.equals(wanted.cells), got.cells.compare(wanted.cells)
        assert got.row.tolist() == wanted.row.tolist()


@pytest.mark.parametrize(
    ("line", "reason"),
    [
        ("[1, 2]", "no JSON object"), ('{"run": "R1"', "no JSON object"), ('{"run": {"a": 1}}', "list or an object"),
        ('{"run": "R1", "run": "R2"}', "twice"), ('{"run": "R1", " run": "R2"}', "twice"),
        ('{"run": "\\ud800"}', "half a character"), pytest.param("[" * 100_000, "no JSON object", id="deep"),
    ],
)  # fmt: skip
def test_a_line_that_is_no_row_is_named_and_the_others_are_read(tmp_path: Path, line: str, reason: str) -> None:
    """By its number among all lines of the file, blank ones counted."""
    (tmp_path / "log.jsonl").write_text(f'{{"run": "R1", "reading": 31.50, "percent": NaN}}\n\n{line}\n{{"run": "R2"}}\n')
    rows = read_file(tmp_path / "log.jsonl")
    assert rows.row.tolist() == [1, 4]
    assert rows.cells["reading"].iloc[0] == "31.50"
    assert rows.cells["percent"].isna().all()  # no JSON, but what many programs write for no value
    assert rows.broken["row"].tolist() == [3]
    assert reason in rows.broken["reason"].iloc[0]
    assert rows.read == 3


def test_a_line_ends_where_json_lets_it_end(tmp_path: Path) -> None:
    """RFC 8259, section 7: of the signs that end lines elsewhere, U+2028 and U+0085 may stand in a text as they are."""
    (tmp_path / "log.jsonl").write_bytes('{"remark": "a\u2028b\u0085c"}\r\n{"remark": "d"}\n'.encode())
    rows = read_file(tmp_path / "log.jsonl")
    assert rows.cells["remark"].tolist() == ["a\u2028b\u0085c", "d"]
    assert rows.row.tolist() == [1, 2]
    assert rows.broken.empty


def test_a_comment_on_a_cell_is_not_its_text(tmp_path: Path) -> None:
    """OpenDocument keeps comments inside the cell (ISO/IEC 26300: office:annotation); the cell says what it shows."""
    book = odf.opendocument.OpenDocumentSpreadsheet()
    sheet = odf.table.Table(name="log")
    for row in (("run", "kind", "remark"), ("R1", "roots", None)):
        line = odf.table.TableRow()
        for value in row:
            cell = typed_cell(value)
            note = odf.office.Annotation()
            note.addElement(odf.text.P(text="ask Ann"))
            cell.insertBefore(note, cell.firstChild)
            line.addElement(cell)
        sheet.addElement(line)
    book.spreadsheet.addElement(sheet)
    book.save(tmp_path / "log.ods")
    rows = read_file(tmp_path / "log.ods")
    assert rows.cells["kind"].tolist() == ["roots"]
    assert "remark" in rows.cells
    assert rows.cells["remark"].isna().all()


def test_parquet_values_are_told_as_they_were_meant(tmp_path: Path) -> None:
    """NaN is no value, a number of 32 bits has no digits of a wider one, bytes are text; two columns of one name are refused."""
    columns = {
        "reading": pa.array([3.3, float("nan"), None], pa.float32()),
        "percent": pa.array([0.1, float("nan"), 30.0]),
        "kind": pa.array([b"roots", None, "é".encode()]),
    }
    pq.write_table(pa.table(columns), tmp_path / "log.parquet")
    told = read_file(tmp_path / "log.parquet").cells.fillna("").to_dict("list")
    assert told == {"reading": ["3.3", "", ""], "percent": ["0.1", "", "30"], "kind": ["roots", "", "é"]}
    pq.write_table(pa.Table.from_arrays([pa.array([1]), pa.array([2])], names=["run", "run"]), tmp_path / "twice.parquet")
    with pytest.raises(SourceError, match="two columns named run"):
        read_file(tmp_path / "twice.parquet")


@pytest.mark.parametrize("name", ["old.xls", "broken.ods", "broken.parquet", "empty.jsonl"])
def test_what_cannot_be_read_says_so(tmp_path: Path, name: str) -> None:
    """One sentence with the file's name."""
    (tmp_path / name).write_bytes(b"" if name.startswith("empty") else b"no table")
    with pytest.raises(SourceError, match=name):
        read_file(tmp_path / name)
