"""The workbook as a careless person fills it: each slip a few rows, and what must become of them."""

import datetime as dt
import zipfile
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import openpyxl
from openpyxl.cell.cell import Cell
from openpyxl.worksheet.worksheet import Worksheet

DAY = dt.date(2024, 6, 1)
MORNING = dt.datetime.fromisoformat("2024-05-31T08:15")
LOADED, TOLD, REJECTED = "loaded", "loaded, and told", "rejected"


@dataclass(frozen=True)
class Slip:
    """Rows by heading; a value with a number format is a pair. ``value`` is what the cell in question becomes, where loaded."""

    name: str
    sheet: str
    fate: str
    rows: tuple[dict[str, Any], ...]
    column: str = ""
    value: Any = None


def _seen(name: str, fate: str, *rows: dict[str, Any], column: str = "", value: Any = None) -> Slip:
    """Rows of observations, of run R 1 at 12 with roots where they say nothing else."""
    whole = tuple({"run": "R 1", "reading": "12", "kind": "roots"} | row for row in rows)
    return Slip(name, "observations", fate, whole, column, value)


def _ran(name: str, fate: str, *rows: dict[str, Any], column: str = "", value: Any = None) -> Slip:
    whole = tuple({"lateral": "L1", "ran on": dt.date(2024, 5, 1), "unit": "ft"} | row for row in rows)
    return Slip(name, "runs", fate, whole, column, value)


SLIPS = (
    _ran("all is well", LOADED, {"run": "R 1", "end reading": "60"}),
    _ran("a day as text, month first", LOADED, {"run": "R2", "ran on": "5/31/2024"}, column="ran_on", value="2024-05-31"),
    _ran("a day that only the others explain", LOADED,
         {"run": "R3", "ran on": "5/6/2024"}, column="ran_on", value="2024-05-06"),
    _ran("a day with dots", LOADED, {"run": "R4", "ran on": "31.05.2024"}, column="ran_on", value="2024-05-31"),
    _ran("a day in words", LOADED, {"run": "R5", "ran on": "31 May 2024"}, column="ran_on", value="2024-05-31"),
    _ran("a day with a time", LOADED, {"run": "R6", "ran on": MORNING}, column="ran_on", value="2024-05-31"),
    _ran("a day that is none", REJECTED, {"run": "R7", "ran on": "2024-02-31"}),
    _ran("a day that lost its format", REJECTED, {"run": "R8", "ran on": 45443}),
    _ran("a unit in words", LOADED, {"run": "R9", "unit": "Feet"}, column="unit", value="ft"),
    _ran("a unit that no counter has", REJECTED, {"run": "R10", "unit": "yards"}),
    _ran("a lateral by its address", LOADED,
         {"run": "R11", "lateral": None, "address": "14 alder  STREET"}, column="lateral", value="L1"),
    _ran("a lateral that nobody knows", REJECTED, {"run": "R12", "lateral": "L 99"}),
    _ran("one name for two runs", REJECTED, {"run": "R13"}, {"run": "R13", "unit": "m"}),
    _ran("a name that is a number", LOADED, {"run": 105.0}, column="run", value="105"),
    _ran("yes where a word should be", REJECTED, {"run": "R14", "reason": True}),
    _seen("a unit in the cell", LOADED, {"reading": "31.5 ft"}, column="reading_m", value=9.6012),
    _seen("another unit in the cell", LOADED, {"reading": "9.6 m"}, column="reading_m", value=9.6),
    _seen("feet and inches", LOADED, {"reading": "44' 6\""}, column="reading_m", value=13.5636),
    _seen("a decimal comma", LOADED, {"reading": "31,5"}, column="reading_m", value=9.6012),
    _seen("a comma that could be two things", REJECTED, {"reading": "1,234"}),
    _seen("a number with a tail", LOADED, {"reading": 31.49999999999}, column="reading", value="31.49999999999"),
    _seen("a negative reading", REJECTED, {"reading": -3}),
    _seen("a reading that became a time", REJECTED, {"reading": dt.time(4, 30)}),
    _seen("a reading that became a day", REJECTED, {"reading": dt.date(2026, 6, 4)}),
    _seen("a reading with a word", REJECTED, {"reading": "about 30"}),
    _seen("a formula that was never worked out", REJECTED, {"reading": "=30+2"}),
    _seen("a formula that was", LOADED, {"reading": "=30+1.5"}, column="reading", value="31.5"),
    _seen("an error", REJECTED, {"percent": "#DIV/0!"}),
    _seen("capitals and blanks around", LOADED, {"kind": "  ROOTS\n"}, column="kind", value="roots"),
    _seen("a word of the trade", LOADED, {"kind": "belly"}, column="kind", value="sag"),
    _seen("a word that is misspelt", REJECTED, {"kind": "rootz"}),
    _seen("a share shown as percent", LOADED, {"percent": (0.3, "0%")}, column="percent", value=30.0),
    _seen("a percent with its sign", LOADED, {"percent": "30 %"}, column="percent", value=30.0),
    _seen("more than all", REJECTED, {"percent": 130}),
    _seen("text where a number should be", REJECTED, {"percent": "n/a"}),
    _seen("half past three as a time", LOADED, {"clock from": dt.time(3, 30)}, column="clock_from", value=3.5),
    _seen("o'clock in the cell", LOADED, {"clock from": "3 o'clock"}, column="clock_from", value=3.0),
    _seen("an hour that no clock has", REJECTED, {"clock from": 13}),
    _seen("half a grade", REJECTED, {"grade": 3.5}),
    _seen("the same twice", LOADED, {"reading": "20"}, {"reading": "20"}),
    _seen("a stretch the wrong way round", TOLD, {"reading": "30", "to reading": "28"}),
    _seen("past the end of its run", TOLD, {"reading": "70"}),
    _seen("the run's name with other blanks", LOADED, {"run": " r  1 "}, column="run", value="R 1"),
    _seen("a hard blank behind the name", LOADED, {"run": "R 1\u00a0"}, column="run", value="R 1"),
    _seen("a run that nobody knows", REJECTED, {"run": "R 77"}),
    _seen("no run", REJECTED, {"run": None}),
    _seen("a run whose own row is bad", REJECTED, {"run": "R10"}),
    _seen("blanks in an empty cell", LOADED, {"remark": "   "}),
    _seen("a dash for nothing", LOADED, {"remark": "-"}, column="remark", value="-"),
    _seen("text that looks like a formula", LOADED, {"remark": "'=see film"}, column="remark", value="'=see film"),
    _seen("a note in its place", LOADED,
         {"reading": None, "kind": None, "note": "31.5 roots 30% at joint, 4 o'clock"}, column="percent", value=30.0),
    _seen("a note that is not sure", TOLD,
         {"reading": None, "kind": None, "note": "31.5 not sure"}, column="kind", value="remark"),
    _seen("a note without a reading", REJECTED, {"reading": None, "kind": None, "note": "roots at the joint"}),
    _seen("a note in the wrong column", REJECTED, {"reading": None, "kind": None, "remark": "31.5 roots 30%"}),
    _seen("a note in the reading's cell", REJECTED, {"reading": "31.5 roots", "kind": None}),
    Slip("a word that the list does not have", "works", REJECTED,
         ({"work": "W1", "lateral": "L1", "done on": DAY, "kind": "fixed it"},)),
    Slip("another word for it", "works", LOADED,
         ({"work": "W2", "lateral": "L1", "done on": DAY, "kind": "Jetting"},), "kind", "cleaning"),
    Slip("a term in words", "warranties", REJECTED,
         ({"warranty": "G1", "lateral": "L1", "begins on": DAY, "term": "one year"},)),
    Slip("days in the cell", "warranties", LOADED,
         ({"warranty": "G2", "lateral": "L1", "begins on": DAY, "cure": "14 days"},), "cure", 14.0),
    Slip("x without y", "referents", REJECTED, ({"lateral": "L1", "name": "CO-1", "kind": "cleanout", "x": 500010},)),
    Slip("a total below the rows", "observations", REJECTED, ({}, {"run": "Total", "reading": "412.5"})),
)  # fmt: skip


def fill(path: Path) -> dict[tuple[str, int], Slip]:
    """Write all slips into the workbook at ``path``, a blank row between them; gives the slip of each sheet's row.

    Beside them: a row that is hidden, a run's name merged over two rows, cells that stand under no heading, a column of its
    own, a remark far below, and a sheet of its own.
    """
    book = openpyxl.load_workbook(path)
    places: dict[tuple[str, int], Slip] = {}
    last: dict[str, int] = {}
    for slip in SLIPS:
        for row in slip.rows:
            last[slip.sheet] = last.get(slip.sheet, 2) + (2 if row is slip.rows[0] else 1)
            if row:
                write(book[slip.sheet], last[slip.sheet], row)
                places[slip.sheet, last[slip.sheet]] = slip
    seen = book["observations"]
    row = last["observations"] + 2
    for at, reading in enumerate(("41", "42", "43")):
        write(seen, row + at, {"run": "R 1" if at != 1 else None, "reading": reading, "kind": "roots"})
    seen.merge_cells(start_row=row, end_row=row + 1, start_column=1, end_column=1)
    seen.row_dimensions[row + 2].hidden = True
    beyond = seen.max_column + 1
    for place, text in (((1, beyond), "weather"), ((4, beyond), "rain"), ((row, beyond), "#REF!"), ((6, beyond + 2), "ask Ann")):
        seen.cell(*place, text)
    seen.cell(row + 40, 2, "call the owner of number 14")
    more = book.create_sheet("more from Friday")
    more.append(["run", "reading", "kind"])
    more.append(["R 1", 51.5, "grease"])
    more.sheet_state = "hidden"
    book.save(path)
    _work_out(path, "30+1.5", "31.5")
    return places


def write(sheet: Worksheet, row: int, cells: dict[str, Any]) -> None:
    """Cells of a row by heading."""
    columns = {str(cell.value): cell.column for cell in sheet[1]}
    for heading, given in cells.items():
        value, number_format = given if isinstance(given, tuple) else (given, None)
        if value is None:
            continue
        cell = sheet.cell(row, columns[heading])
        assert isinstance(cell, Cell)
        cell.value = value
        cell.number_format = number_format or cell.number_format


def _work_out(path: Path, formula: str, result: str) -> None:
    """Put the result of a formula into the file, as a spreadsheet does and openpyxl does not."""
    with zipfile.ZipFile(path) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    before, after = f"<f>{formula}</f><v/>".encode(), f"<f>{formula}</f><v>{result}</v>".encode()
    parts = {name: part.replace(b"<v />", b"<v/>").replace(before, after) for name, part in parts.items()}
    assert any(after in part for part in parts.values())
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, part in parts.items():
            archive.writestr(name, part)
