"""The workbook that crews fill: what it offers, what it protects, that it loads as it is, and that LibreOffice keeps it."""

import shutil
import subprocess
import tomllib

import openpyxl
import pytest
from openpyxl.utils import get_column_letter

from etl.catalogue import FIELDS
from etl.template import plan_text, write_template
from etl.template.examples import EXAMPLES
from etl.template.words import NOT_LOADED, SHEETS, columns, heading, hint
from etl.vocabulary import VOCABULARY
from sewermap.errors import SourceError
from sewermap.history.kinds import roles

SECONDS = 60


@pytest.fixture
def log(town):
    """The empty workbook, with its own SOURCES.toml."""
    return write_template(town.folder / "log.xlsx")[0]


def offered(path):
    """The words that each column's drop-down offers, by sheet and heading; a reference to another sheet as it stands."""
    book = openpyxl.load_workbook(path)
    told = {}
    for sheet in book.worksheets:
        headings = {get_column_letter(cell.column): cell.value for cell in sheet[1]}
        for rule in sheet.data_validations.dataValidation:
            if rule.type == "list":
                letter = str(rule.sqref).split(":")[0].rstrip("0123456789")
                told[sheet.title, headings[letter]] = words_of(book, str(rule.formula1))
    return told


def words_of(book, formula):
    """The words of a list's formula: those in it, or those in the cells of the sheet of lists."""
    if formula.startswith('"'):
        return tuple(formula.strip('"').split(","))
    sheet, area = formula.replace("$", "").split("!")
    if sheet == NOT_LOADED[-1]:
        return tuple(cell[0].value for cell in book[sheet][area])
    return (formula.replace("$", ""),)


def test_an_empty_workbook_loads_nothing_and_complains_of_nothing(town, log):
    """Its own SOURCES.toml reads every sheet: no row, no reject, no warning."""
    gathered = town.gather((town.folder / "SOURCES.toml").read_text(encoding="utf-8"))
    assert gathered.files["table"].tolist() == list(gathered.tables)
    assert set(gathered.tables) == set(SHEETS)
    assert gathered.files["read"].sum() == len(gathered.rejects) == len(gathered.warnings) == 0
    assert log.name == "log.xlsx"


def test_the_examples_are_right_and_are_not_loaded(town, log):
    """Copied into their sheets the examples load without a reject or warning; on their own sheet nobody reads them."""
    book = openpyxl.load_workbook(log)
    for section in SHEETS:
        columns = {cell.value: cell.column for cell in book[section][1]}
        for row, example in enumerate(EXAMPLES[section], start=2):
            for field in FIELDS[section]:
                if field.name in example:
                    book[section].cell(row, columns[heading(field)], example[field.name])
    book.save(log)
    gathered = town.gather((town.folder / "SOURCES.toml").read_text(encoding="utf-8"))
    assert len(gathered.rejects) == len(gathered.warnings) == 0
    assert {section: len(rows) for section, rows in gathered.tables.items()} == {
        section: len(rows) for section, rows in EXAMPLES.items()
    }


def test_drop_downs_offer_the_vocabulary(log):
    """Each field of a closed list offers our words for it, kinds and units too; runs offers names for observations."""
    told = offered(log)
    for section in SHEETS:
        for field in FIELDS[section]:
            if field.reader in VOCABULARY:
                assert told[section, heading(field)] == tuple(VOCABULARY[field.reader])
            if field.reader == "unit":
                assert told[section, heading(field)] == ("ft", "m")
    assert told["observations", "kind"] == tuple(roles())
    assert set(told["warranties", "kinds"]) == {kind for kind, role in roles().items() if role == "defect"}
    assert told["observations", "run"] == ("runs!A2:A5000",)


def test_every_field_has_its_column_and_a_hint(log):
    """The sheets hold every field of their sections, each heading with a comment that says what goes there and its unit."""
    book = openpyxl.load_workbook(log)
    for section in SHEETS:
        headings = book[section][1]
        assert {cell.value for cell in headings} == {heading(field) for field in FIELDS[section]}
        for cell, field in zip(headings, columns(section), strict=True):
            assert cell.comment.text.startswith(hint(section, field))
            assert ("Needed" in cell.comment.text) == field.needed
            assert hint(section, field).casefold() != heading(field), "etl/template/words.py says nothing of this field"


def test_headings_are_protected_and_cells_are_not(log):
    """Without a password: headings and the sheets that explain are locked; cells below headings are free, days typed as days."""
    book = openpyxl.load_workbook(log)
    for sheet in book.worksheets:
        assert sheet.protection.sheet
        assert sheet.protection.password is None
        if sheet.title in NOT_LOADED:
            continue
        assert sheet.freeze_panes == "B2"
        for cell, field in zip(sheet[1], columns(sheet.title), strict=True):
            column = sheet.column_dimensions[cell.column_letter]
            assert cell.protection.locked
            assert not column.protection.locked
            assert column.number_format == {"day": "yyyy-mm-dd", "counter": "@", "text": "@"}.get(
                field.reader, column.number_format
            )
            assert column.width >= len(heading(field))


def test_nothing_that_is_there_is_overwritten(town, log):
    """A workbook that is there may be filled; another SOURCES.toml is somebody's: both are left as they are, and told."""
    before = log.read_bytes()
    with pytest.raises(SourceError, match=r"log\.xlsx is there already, and somebody may have filled it"):
        write_template(log)
    with pytest.raises(SourceError, match=r"SOURCES\.toml is there already and says something else"):
        write_template(town.folder / "other.xlsx")
    with pytest.raises(SourceError, match=r"log\.ods must end in \.xlsx"):
        write_template(town.folder / "log.ods")
    assert log.read_bytes() == before
    assert not (town.folder / "other.xlsx").exists()
    log.unlink()
    assert write_template(log)[0].exists()


def test_a_name_with_quotation_marks_is_written_so_that_it_is_read():
    """Whatever a workbook is called, its SOURCES.toml names it."""
    name = 'log "of" May\\June.xlsx'
    assert tomllib.loads(plan_text(name))["runs"]["from"] == name


def converted(path, suffix, folder):
    """What LibreOffice makes of a file, in a profile of its own."""
    program = shutil.which("soffice")
    if program is None:
        pytest.fail("this test needs the Debian package libreoffice-calc-nogui")
    profile = (folder / "profile").as_uri()
    command = [
        program,
        f"-env:UserInstallation={profile}",
        "--headless",
        "--convert-to",
        suffix,
        "--outdir",
        folder / suffix,
        path,
    ]
    subprocess.run(command, check=True, capture_output=True, timeout=SECONDS)
    return folder / suffix / f"{path.stem}.{suffix}"


def test_libreoffice_keeps_the_drop_downs(town, log, tmp_path):
    """Opened by LibreOffice, saved as OpenDocument and back: the same drop-downs with the same words, and it still loads."""
    again = converted(converted(log, "ods", tmp_path), "xlsx", tmp_path)
    assert offered(again) == offered(log)
    assert len(offered(again)) >= 20
    shutil.copy(again, log)
    gathered = town.gather((town.folder / "SOURCES.toml").read_text(encoding="utf-8"))
    assert gathered.files["read"].sum() == len(gathered.rejects) == len(gathered.warnings) == 0
