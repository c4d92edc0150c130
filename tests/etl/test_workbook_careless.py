"""The workbook filled by a careless person: every cell is loaded or named. What people do is common practice, no source."""

import datetime as dt
import re

import openpyxl
import pandas as pd
import pytest

from etl.known import Known
from etl.template import write_template
from etl.template.words import NOT_LOADED
from etl.vocabulary import VOCABULARY, our_word
from sewermap.errors import LengthError, SourceError, UnknownNameError
from sewermap.history.kinds import kind_of
from sewermap.units import length_m, unit_of
from tests.etl.careless import LOADED, REJECTED, SLIPS, TOLD, fill, write

LATERALS = pd.DataFrame({"lateral": ["L1", "L2"], "address": ["14", "16"], "street": ["Alder Street", "Alder Street"]})


@pytest.fixture
def log(town):
    """The empty workbook, with its own SOURCES.toml."""
    return write_template(town.folder / "log.xlsx")[0]


def read(town, log):
    """What the workbook's own SOURCES.toml makes of it, in a town that has two laterals."""
    return town.gather((log.parent / "SOURCES.toml").read_text(encoding="utf-8"), Known(laterals=LATERALS))


def filled_cells(log):
    """Every cell that somebody filled, read in openpyxl's other way, as (sheet, row, address, text)."""
    book = openpyxl.load_workbook(log, data_only=False)
    for sheet in book.worksheets:
        if sheet.title in NOT_LOADED:
            continue
        for row in sheet.iter_rows(min_row=2 if sheet.title != "more from Friday" else 1):
            for cell in row:
                if cell.value is not None and str(cell.value).strip():
                    yield sheet.title, cell.row, cell.coordinate, cell


def held(row, cell):
    """Whether a loaded row holds what a cell says: the same text (but for case and blanks), or what it means."""
    values = [value for value in row.to_dict().values() if not pd.isna(value)]
    texts = {" ".join(str(value).split()).casefold() for value in values}
    said = " ".join(str(cell.value).split()).casefold()
    return said in texts or any(one in values for one in meant(cell, said))


def meant(cell, said):
    """All that a cell can mean to a plumber."""
    if isinstance(cell.value, dt.date):
        yield pd.Timestamp(cell.value).normalize()
    elif isinstance(cell.value, dt.time):
        yield cell.value.hour + cell.value.minute / 60
    elif isinstance(cell.value, float | int):
        yield from (cell.value, cell.value * 100, f"{cell.value:g}")
    else:
        yield from meant_by_text(said)


def meant_by_text(said):
    """All that a text can mean: a day, a number with something behind it, a length, a word of ours, an address."""
    for order in ("%m/%d/%Y", "%d.%m.%Y", "%d %B %Y"):
        yield pd.to_datetime(said, errors="coerce", format=order)
    if number := re.fullmatch(r"([0-9.]+)( %| days| o'clock)", said):
        yield float(number[1])
    for read in (lambda: length_m(said, "ft"), lambda: unit_of(said), lambda: kind_of(said)):
        try:
            yield read()
        except (LengthError, UnknownNameError):
            continue
    yield from filter(None, (our_word(words, said) for words in VOCABULARY))
    yield {"14 alder street": "L1"}.get(said)


def test_there_are_thirty_slips_and_each_meets_its_fate(town, log, is_accounted):
    """Each slip's rows are loaded, loaded with a word on it, or rejected, as its line says; and no row is lost."""
    assert len({slip.name for slip in SLIPS}) >= 30
    places = fill(log)
    gathered = read(town, log)
    assert is_accounted(gathered)
    for (sheet, row), slip in places.items():
        rejects, warnings = (
            frame[(frame["table"] == sheet) & (frame["row"] == row)] for frame in (gathered.rejects, gathered.warnings)
        )
        loaded = gathered.tables[sheet].query("source_row == @row")
        fate = REJECTED if len(rejects) else TOLD if len(warnings) else LOADED
        beside = warnings["reason"].str.contains("none of this section's fields|stands for row").all() if len(warnings) else True
        assert fate == slip.fate or (slip.fate == LOADED and fate == TOLD and beside), (slip.name, rejects, warnings)
        assert (len(loaded) == 1) == (slip.fate != REJECTED), slip.name
        if slip.column:
            value = loaded[slip.column].iloc[0]
            told = str(value.date()) if isinstance(value, pd.Timestamp) else value
            assert told == pytest.approx(slip.value) if isinstance(slip.value, float) else told == slip.value, slip.name
        assert rejects["reason"].str.match(rf"sheet {sheet}, cell [A-Z]+{row}: ").all()


def test_every_cell_is_loaded_or_named(town, log):
    """Each cell that was filled is in the row that was loaded from it, or its row is rejected, or the cell is named."""
    fill(log)
    gathered = read(town, log)
    told = " ".join([*gathered.rejects["reason"], *gathered.warnings["reason"]])
    lost = []
    count = 0
    for sheet, row, address, cell in filled_cells(log):
        count += 1
        loaded = gathered.tables[sheet].query("source_row == @row") if sheet in gathered.tables else pd.DataFrame()
        rejected = ((gathered.rejects["table"] == sheet) & (gathered.rejects["row"] == row)).any()
        shown = re.search(rf"\b{address} '{re.escape(str(cell.value))}'", told) is not None
        is_held = len(loaded) == 1 and (held(loaded.iloc[0], cell) or cell.value == "=30+1.5")
        if not (rejected or shown or is_held):
            lost.append((sheet, address, cell.value))
    assert lost == []
    assert count > 200


def test_what_stands_beside_the_rows_is_told(town, log):
    """A column of one's own, cells under no heading, a sheet of one's own, and a merged cell: each is told with its cells."""
    fill(log)
    gathered = read(town, log)
    told = "\n".join(gathered.warnings["reason"])
    assert re.search(
        r"sheet observations: column [A-Z]+ is none of this section's fields, .*[A-Z]4 'rain', [A-Z]+\d+ '#REF!'", told
    )
    assert re.search(r"[A-Z]6 'ask Ann'", told)
    assert re.search(r"no section reads sheet more from Friday, .*A2 'R 1', B2 '51.5', C2 'grease'", told)
    assert re.search(r"sheet observations, cell A\d+: is merged over A\d+:A\d+, and stands for row \d+ too", told)
    seen = gathered.tables["observations"].set_index("reading")
    assert seen.loc[["41", "42", "43"], "run"].tolist() == ["R 1", "R 1", "R 1"]
    stray = gathered.rejects[gathered.rejects["row"] == gathered.rejects["row"].max()]
    assert stray["reason"].str.contains(r"cell A\d+: run is needed, and it is empty").any()


def test_columns_may_be_moved(town, log):
    """Columns are known by their headings, wherever they stand, and problems name the cell where it stands now."""
    book = openpyxl.load_workbook(log)
    runs = book["runs"]
    write(runs, 2, {"run": "R1", "lateral": "L1", "ran on": "2024-05-31", "unit": "miles"})
    runs.move_range("A1:A2", cols=runs.max_column)
    book.save(log)
    gathered = read(town, log)
    assert gathered.rejects["value"].tolist() == ["miles"]
    assert gathered.rejects["reason"].iloc[0].startswith("sheet runs, cell E2: ")


def test_a_heading_that_was_renamed(town, log):
    """Where a needed heading is gone the load says which; one that is not needed is told with its cells."""
    book = openpyxl.load_workbook(log)
    columns = {cell.value: cell for cell in book["runs"][1]}
    write(book["runs"], 2, {"run": "R1", "lateral": "L1", "ran on": "2024-05-31", "unit": "ft", "crew": "Ann"})
    columns["crew"].value = "who"
    book.save(log)
    gathered = read(town, log)
    assert len(gathered.tables["runs"]) == 1
    assert re.search(
        r"column [A-Z] is none of this section's fields, so it is not loaded: [A-Z]2 'Ann'", gathered.warnings["reason"].iloc[0]
    )
    columns["unit"].value = "measured in"
    book.save(log)
    with pytest.raises(SourceError, match=r"log\.xlsx has no column for unit, which \[runs\] needs; .*measured in"):
        read(town, log)


def test_a_title_above_the_headings(town, log):
    """Rows put above the headings shift them; the title is told, and rows keep the numbers that the sheet shows."""
    book = openpyxl.load_workbook(log)
    write(book["runs"], 2, {"run": "R1", "lateral": "L1", "ran on": "2024-05-31", "unit": "ft"})
    book["runs"].insert_rows(1, 2)
    book["runs"]["A1"] = "Spring of 2024"
    book.save(log)
    gathered = read(town, log)
    assert gathered.tables["runs"]["source_row"].tolist() == [4]
    assert gathered.warnings["reason"].tolist() == [
        "sheet runs: cell A1 stands above the heading, which is row 3, and is not loaded"
    ]


def test_a_sheet_that_was_renamed_or_taken_away(town, log):
    """Other blanks or capitals in a sheet's name do not matter; without the sheet the load says what there is."""
    book = openpyxl.load_workbook(log)
    book["works"].title = "Works "
    book.save(log)
    assert len(read(town, log).tables["works"]) == 0
    del book["Works "]
    book.save(log)
    with pytest.raises(SourceError, match=r"log\.xlsx has the sheets read me, .*, and no sheet works"):
        read(town, log)
