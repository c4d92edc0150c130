"""The workbook itself: sheets with headings that are protected, cells that are not, drop-downs and hints."""

from openpyxl import Workbook
from openpyxl.comments import Comment
from openpyxl.styles import Alignment, Font, PatternFill, Protection
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.datavalidation import DataValidation
from openpyxl.worksheet.properties import PageSetupProperties
from openpyxl.worksheet.worksheet import Worksheet

from etl.catalogue import LENGTHS, Field
from etl.template.choices import Choice, choice_of
from etl.template.examples import EXAMPLES
from etl.template.words import ABOUT, NOT_LOADED, READ_ME, SHEETS, columns, heading, hint
from sewermap.history.kinds import Vocabulary

_LAST = 1_048_576
"""The last row that the format has; rules hold for whole columns."""

_INK, _NEEDED, _PALE = "1F2A37", "33566E", "DCE6EC"
_FACE = "Calibri"
_DAY, _TEXT = "yyyy-mm-dd", "@"
_AS_TEXT = LENGTHS | {"text", "term", "notice", "crs"}
"""Cells that a spreadsheet must not make a number or a day of: 44-6, 007, 1/2."""

_WIDE, _NARROW = 34, 10


def workbook(vocabulary: Vocabulary) -> Workbook:
    """The empty workbook: "read me", a sheet a section, "examples", and the hidden "lists"."""
    book = Workbook()
    read_me, examples, lists = NOT_LOADED
    _read_me(book.create_sheet(read_me))
    del book["Sheet"]  # a new workbook has it
    sheets = {section: book.create_sheet(section) for section in SHEETS}
    _examples(book.create_sheet(examples))
    words = book.create_sheet(lists)
    for section, sheet in sheets.items():
        _headings(sheet, section)
        for at, field in enumerate(columns(section), start=1):
            _column(sheet, at, field)
            choice = choice_of(section, field, vocabulary)
            if choice is not None:
                _drop_down(sheet, at, field, choice, words)
            elif field.reader in {"day", "percent"}:
                _limits(sheet, at, field)
        _protect(sheet)
    words.sheet_state = "hidden"
    _protect(words)
    book.active = book.index(sheets["runs"])
    return book


def _read_me(sheet: Worksheet) -> None:
    sheet.column_dimensions["A"].width = 120
    for row, line in enumerate(READ_ME, start=1):
        cell = sheet.cell(row, 1, line)
        cell.font = Font(name=_FACE, bold=row == 1, size=14 if row == 1 else 11, color=_INK)
        cell.alignment = Alignment(wrap_text=True, vertical="top")
    for row, section in enumerate(SHEETS, start=len(READ_ME) + 2):
        sheet.cell(row, 1, f"{section}: {ABOUT[section]}")
    _protect(sheet)


def _headings(sheet: Worksheet, section: str) -> None:
    for at, field in enumerate(columns(section), start=1):
        cell = sheet.cell(1, at, heading(field))
        cell.font = Font(name=_FACE, bold=True, color="FFFFFF" if field.needed else _INK)
        cell.fill = PatternFill("solid", fgColor=_NEEDED if field.needed else _PALE)
        cell.alignment = Alignment(wrap_text=True, vertical="top")
        comment = Comment(hint(section, field) + (". Needed." if field.needed else "."), "sewermap")
        comment.width, comment.height = 260, 90
        cell.comment = comment
    sheet.freeze_panes = "B2"


def _column(sheet: Worksheet, at: int, field: Field) -> None:
    column = sheet.column_dimensions[get_column_letter(at)]
    column.width = _WIDE if field.name in {"remark", "note"} else max(_NARROW, len(heading(field)) + 4)
    column.protection = Protection(locked=False)
    column.number_format = _DAY if field.reader == "day" else _TEXT if field.reader in _AS_TEXT else "General"


def _drop_down(sheet: Worksheet, at: int, field: Field, choice: Choice, lists: Worksheet) -> None:
    rule = DataValidation(type="list", formula1=_formula(choice, lists), allow_blank=True, showDropDown=False)
    rule.errorStyle = "stop" if choice.closed else "warning"
    rule.errorTitle, rule.error = "Not in the list", f"{heading(field)}: pick a word from the list, or leave the cell empty."
    if not choice.closed:
        rule.error = f"{heading(field)}: this is not in the list. Keep it if it is meant so; the load tells what it cannot read."
    _add(sheet, at, rule)


def _limits(sheet: Worksheet, at: int, field: Field) -> None:
    if field.reader == "day":
        rule = DataValidation(type="date", operator="greaterThan", formula1="1", allow_blank=True)
        rule.error = "Write the day as 2024-05-31."
    else:
        rule = DataValidation(type="decimal", operator="between", formula1="0", formula2="100", allow_blank=True)
        rule.error = "Write a number from 0 to 100, without a sign."
    rule.errorStyle, rule.errorTitle = "warning", heading(field)
    _add(sheet, at, rule)


def _add(sheet: Worksheet, at: int, rule: DataValidation) -> None:
    rule.showErrorMessage = True
    letter = get_column_letter(at)
    rule.add(f"{letter}2:{letter}{_LAST}")
    sheet.add_data_validation(rule)


def _formula(choice: Choice, lists: Worksheet) -> str:
    if choice.names_of is not None:
        section, name = choice.names_of
        letter = get_column_letter([field.name for field in columns(section)].index(name) + 1)
        return f"{section}!${letter}$2:${letter}$5000"
    if not choice.is_long:
        return '"' + ",".join(choice.words) + '"'
    at = lists.max_column + 1 if lists.cell(1, 1).value else 1
    for row, word in enumerate(choice.words, start=1):
        lists.cell(row, at, word)
    letter = get_column_letter(at)
    return f"{lists.title}!${letter}$1:${letter}${len(choice.words)}"


def _examples(sheet: Worksheet) -> None:
    sheet.cell(1, 1, "Examples only, of an invented town: this sheet is never loaded").font = Font(name=_FACE, bold=True, size=14)
    row = 3
    for section in SHEETS:
        sheet.cell(row, 1, f"sheet {section}").font = Font(name=_FACE, bold=True, color=_INK)
        used = [field for field in columns(section) if any(field.name in example for example in EXAMPLES[section])]
        for at, field in enumerate(used, start=1):
            sheet.cell(row + 1, at, heading(field)).fill = PatternFill("solid", fgColor=_PALE)
            for below, example in enumerate(EXAMPLES[section], start=2):
                cell = sheet.cell(row + below, at, example.get(field.name))
                cell.number_format = _DAY if field.reader == "day" else "General"
                cell.font = Font(name=_FACE, italic=True, color="5B6B77")
        row += len(EXAMPLES[section]) + 3
    for at in range(1, 12):
        sheet.column_dimensions[get_column_letter(at)].width = 16
    _protect(sheet)


def _protect(sheet: Worksheet) -> None:
    """Keep headings from being changed by a slip; anybody may lift it, there is no password. Printed it is one page wide."""
    sheet.page_setup.orientation = "landscape"
    sheet.page_setup.fitToHeight = 0
    sheet.sheet_properties.pageSetUpPr = PageSetupProperties(fitToPage=True)
    rights = sheet.protection
    rights.sheet = True
    for allowed in ("formatCells", "formatColumns", "formatRows", "insertRows", "deleteRows", "sort", "autoFilter"):
        setattr(rights, allowed, False)  # the format says what is locked
