"""Sheets of workbooks as rows: typed cells to text, the heading found, formulas, merged cells, spoilt files."""

import datetime as dt
import warnings

import openpyxl
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from etl.sources import read_file
from etl.sources.cells import letters, text_of
from etl.sources.grid import Grid, rows_of
from etl.sources.workbook import read_workbook
from sewermap.errors import SourceError


def saved(town, *sheets, name="log.xlsx"):
    """A workbook of these sheets: a name and its rows each."""
    book = openpyxl.Workbook()
    for title, rows in sheets:
        sheet = book.create_sheet(title)
        for row in rows:
            sheet.append(row)
    del book["Sheet"]
    path = town.folder / name
    book.save(path)
    return path


def test_typed_cells_become_what_a_person_meant(town):
    """Numbers, days, times and booleans read as a person would write them, whatever format shows them."""
    moment = dt.datetime.fromisoformat("2024-05-31T00:00")
    path = saved(town, ("log", [["a", "b", "c", "d", "e", "f"], [14.0, 31.5, moment, True, dt.time(3, 30), "007"]]))
    assert read_file(path).cells.iloc[0].tolist() == ["14", "31.5", "2024-05-31", "yes", "03:30", "007"]


def test_pandas_reads_the_same_cells(town):
    """Against pandas' own reader of workbooks (pandas.read_excel with dtype=object): the same cells at the same rows."""
    rows = [["run", "reading", "day"], ["R1", 31.5, dt.date(2024, 5, 31)], [None, None, None], ["R2", 14, None]]
    path = saved(town, ("log", rows))
    other = pd.read_excel(path, dtype=object).dropna(how="all")
    ours = read_file(path)
    assert ours.row.tolist() == (other.index + 2).tolist() == [2, 4]
    assert ours.cells["run"].tolist() == other["run"].tolist()
    assert ours.cells["reading"].astype(float).tolist() == other["reading"].astype(float).tolist()
    assert pd.to_datetime(ours.cells["day"]).tolist() == pd.to_datetime(other["day"]).tolist()


def test_a_sheet_is_named_where_there_are_several(town):
    """One sheet needs no name; of several one must be said, without regard to case and blanks; errors name them all."""
    rows = [["run"], ["R1"]]
    assert len(read_workbook(saved(town, ("only", rows))).cells) == 1
    path = saved(town, ("Runs ", rows), ("seen", [["run"], ["R2"]]))
    assert read_workbook(path, "runs").cells["run"].tolist() == ["R1"]
    with pytest.raises(SourceError, match=r'log\.xlsx has the sheets Runs , seen; say which one by layer = "…"'):
        read_workbook(path)
    with pytest.raises(SourceError, match="and no sheet sen; did you mean seen"):
        read_workbook(path, "sen")


def test_what_is_no_workbook_is_told_in_one_sentence(town):
    """A text under a workbook's name, a file that breaks off, a sheet without a cell, two columns of one name."""
    (town.folder / "a.xlsx").write_text("no workbook", encoding="utf-8")
    with pytest.raises(SourceError, match=r"a\.xlsx cannot be read as a workbook: "):
        read_workbook(town.folder / "a.xlsx")
    path = saved(town, ("log", [["run"], ["R1"]]))
    path.write_bytes(path.read_bytes()[:-200])
    with pytest.raises(SourceError, match=r"log\.xlsx cannot be read as a workbook"):
        read_workbook(path)
    with pytest.raises(SourceError, match=r"b\.xlsx, sheet log, is empty"):
        read_workbook(saved(town, ("log", [[" "]]), name="b.xlsx"))
    with pytest.raises(SourceError, match=r"c\.xlsx, sheet log, has two columns named run"):
        read_workbook(saved(town, ("log", [["run", "run"], ["R1", "R2"]]), name="c.xlsx"))
    with pytest.raises(SourceError, match=r"d\.xlsx cannot be read"):
        read_workbook(town.folder / "d.xlsx")


def test_the_heading_is_found_below_titles(town):
    """Titles above are no heading; rows keep the sheet's own numbers, and each title's cell is told."""
    rows = [["Log of May", None, None], [], ["run", "reading", "kind"], ["R1", 3, "roots"], [], ["R2", 4, "sag"]]
    read = read_workbook(saved(town, ("log", rows)))
    assert read.row.tolist() == [4, 6]
    assert read.letters == {"run": "A", "reading": "B", "kind": "C"}
    assert read.aside["value"].tolist() == ["Log of May"]


def test_formulas_without_a_result_and_errors_spoil_their_cell_alone(town):
    """The cell is empty and told; where no field takes its column, the row is loaded all the same."""
    path = saved(town, ("log", [["run", "reading", "kind"], ["R1", "=1+1", "roots"], ["R2", 3, "#N/A"]]))
    read = read_workbook(path)
    assert read.spoilt[["row", "field", "value"]].to_numpy().tolist() == [[2, "reading", "=1+1"], [3, "kind", "#N/A"]]
    assert read.cells["reading"].isna().tolist() == [True, False]


def test_a_stray_cell_at_the_edge_costs_nothing(town):
    """A cell in the very last column and row is read like any other: only used rows and columns are kept."""
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.append(["run"])
    sheet.append(["R1"])
    sheet.cell(3000, 16384, "far")
    path = town.folder / "log.xlsx"
    book.save(path)
    read = read_workbook(path)
    assert read.cells.shape == (2, 2)
    assert read.letters["column 16384"] == "XFD"
    assert read.row.tolist() == [2, 3000]


def test_the_lock_of_an_open_workbook_is_no_source(town):
    """What a spreadsheet puts beside a workbook while it is open is not meant by a pattern."""
    saved(town, ("log", [["run", "lateral", "ran on", "unit"]]))
    for name in ("~$log.xlsx", ".~lock.log.xlsx"):
        (town.folder / name).write_text("Ann", encoding="utf-8")
    assert town.gather('[runs]\nfrom = "*.xlsx"\n').files["file"].tolist() == ["log.xlsx"]


def test_reading_warns_of_nothing(town):
    """What openpyxl would say of things it cannot keep is no user's business."""
    path = saved(town, ("log", [["run", "day"], ["R1", dt.date(2024, 5, 31)]]))
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        assert len(read_workbook(path).cells) == 1


@given(st.integers(min_value=1, max_value=16384))
def test_letters_are_the_workbooks(column):
    """Against openpyxl's own: every column of the format has the letters that the program shows."""
    assert letters(column) == openpyxl.utils.get_column_letter(column)


@given(st.floats(allow_nan=False, allow_infinity=False, width=32))
def test_no_number_changes_its_worth(value):
    """The text of a number gives the number back; a whole one has no point."""
    text = text_of(value)
    assert float(text) == value
    assert not (value.is_integer() and "." in text)


cells = st.lists(
    st.tuples(st.integers(2, 9), st.integers(1, 5), st.sampled_from(["a", "7", "x y"])),
    max_size=20,
    unique_by=lambda cell: cell[:2],
)


@given(cells)
def test_no_cell_is_lost(given_cells):
    """Whatever cells are filled below a heading, each is in the rows at its number and column, and nothing else is."""
    grid = Grid("log")
    for column in range(1, 4):
        grid.add(1, column, f"name{column}")
    for row, column, text in given_cells:
        grid.add(row, column, text)
    rows = rows_of(grid, "log.xlsx")
    read = {
        (int(rows.row[at]), rows.letters[name], text)
        for name in rows.cells.columns
        for at, text in enumerate(rows.cells[name])
        if isinstance(text, str)
    }
    told = {(int(row), letters(int(column)), text) for row, column, text in given_cells}
    assert read == told
