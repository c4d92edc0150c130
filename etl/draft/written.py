"""One section of a draft as TOML: what was found as lines that hold, what is open as comments, each with its reason."""

import json
import re

import pandas as pd

from etl.catalogue import FIELDS, POINTS, SHAPES, Field, names_lateral
from etl.draft.columns import Columns, bearing_our_names
from etl.draft.content import unknown_words
from etl.draft.orders import Said, bare_diameters, counter_unit, day_order, length_unit
from etl.draft.sections import Guess

_MOST_WORDS = 40
_AT = 34
"""Where reasons begin in a line, if there is room."""

_NO_SIGN = re.compile(r"[\x00-\x1f\x7f\u0085\u2028\u2029]")
_LONGEST = {"x": 180.0, "y": 90.0}


def quoted(text: str) -> str:
    r"""A text as a basic string of TOML, which is that of JSON but for one sign.

    >>> quoted('Dist "ft"')
    '"Dist \\"ft\\""'
    """
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def comment(text: str) -> str:
    r"""A text of one or more lines as comments; signs that TOML forbids there become blanks.

    >>> comment("a\tb")
    '# a b'
    """
    return "\n".join("# " + _NO_SIGN.sub(" ", line) for line in text.split("\n"))


def _line(key: str, value: str, why: str) -> str:
    told = f"{key} = {quoted(value)}"
    return f"{told:<{_AT}}  {comment(why)}" if why else told


def _open(text: str, why: str) -> str:
    """A line that is left to people."""
    return comment(f"{text:<{_AT - 2}}  # {' '.join(why.split())}")


def section_text(columns: Columns, guess: Guess, source: str, stem: str) -> str:
    """A section as the text of a SOURCES.toml. ``source`` is the file as ``from`` names it, ``stem`` a name for its only run."""
    cells = guess.table.rows.cells
    parts = [f"[{columns.section}]", f"from = {quoted(source)}"]
    if guess.table.layer is not None:
        parts.append(f"layer = {quoted(guess.table.layer)}")
    parts += _options(columns, guess)
    parts += _fields(columns, cells)
    parts += _lacking(columns, guess, stem)
    parts += _defaults(columns, guess, stem)
    parts += _values(columns, cells)
    return "\n".join(parts) + "\n"


def _options(columns: Columns, guess: Guess) -> list[str]:
    rows, section = guess.table.rows, columns.section
    parts = []
    if section == "laterals" and rows.geometry is not None:
        parts.append(
            _open('tie_in = "start"', "undecided: which end of a drawn line is at the main? start, end, or main ([mains])")
        )
    if rows.geometry is not None and rows.crs is None and (section in SHAPES or section in POINTS):
        parts.append(_open('crs = "EPSG:…"', "the layer does not say its coordinate system; write it here"))
    if rows.geometry is None and section == "located" and _degrees(columns, rows.cells):
        parts.append(_line("crs", "EPSG:4326", "x and y are within 180 and 90: taken for longitude and latitude"))
    order = day_order(guess.sections, rows.cells)
    if order.why and any(one.reader == "day" for one in FIELDS[section] if one.name in columns.taken):
        parts.append(
            _line("dates", order.value, order.why) if order.value else _open('dates = "mdy"', f"{order.why}; mdy or dmy?")
        )
    unit = length_unit(columns)
    if unit.why:
        parts.append(_line("unit", unit.value, unit.why) if unit.value else comment(unit.why))
    return parts


def _degrees(columns: Columns, cells: pd.DataFrame) -> bool:
    values = {name: pd.to_numeric(cells[columns.taken[name].column], errors="coerce").abs() for name in _LONGEST}
    return all(bool((value <= _LONGEST[name]).all()) for name, value in values.items())


def _fields(columns: Columns, cells: pd.DataFrame) -> list[str]:
    parts = [f"[{columns.section}.fields]"]
    parts += [_line(one.name, columns.taken[one.name].column, columns.taken[one.name].why) for one in _taken(columns)]
    if columns.has("grade"):
        parts.append(comment(f"grade: 1 best to 5 worst is assumed; is {columns.column('grade')} meant so?"))
    own = bearing_our_names(columns, cells)
    parts += [f"{f'{name} = false':<{_AT}}  {comment('the column of this name is not taken for it')}" for name in own]
    parts += [comment(f"{name}: {why}") for name, why in columns.refused.items()]
    return parts


def _taken(columns: Columns) -> list[Field]:
    return [one for one in FIELDS[columns.section] if one.name in columns.taken]


def _lacking(columns: Columns, guess: Guess, stem: str) -> list[str]:
    """Needed fields that no column is like, and columns that no section of the table takes."""
    cells = guess.table.rows.cells
    given = {*columns.taken, *_given(columns, guess, stem)}
    if guess.table.drawn == "points":
        given.update(POINTS.get(columns.section, ()))
    if names_lateral(columns.section) and columns.has("address"):
        given.add("lateral")
    lost = [one.name for one in FIELDS[columns.section] if one.needed and one.name not in given and one.reader != "unit"]
    told = "needed, and no column is like it: write which one it is, or add it to the file"
    parts = [_open(f'{name} = "…"', told) for name in lost]
    used = {taken.column for one in guess.sections for taken in one.taken.values()}
    left = [name for name in cells.columns if name not in used]
    if left and columns is guess.sections[-1]:
        parts.append(comment(f"not taken, and not loaded: {', '.join(left)}"))
    return parts


def _given(columns: Columns, guess: Guess, stem: str) -> dict[str, Said]:
    """Defaults that hold for all rows: a name for the only run of a file, the unit of its counter."""
    section, cells = columns.section, guess.table.rows.cells
    given = {}
    flat = [one.section for one in guess.sections] == ["runs", "observations"]
    if section in ("runs", "observations") and not columns.has("run") and (flat or (section == "runs" and len(cells) == 1)):
        given["run"] = Said(stem, "no column names the run; one line on one day is taken for one run, called after the file")
    readings = any(one.reader == "counter" for one in FIELDS[section]) and section != "observations"
    if readings and not columns.has("unit"):
        unit = counter_unit(guess.sections, cells)
        if unit.value:
            given["unit"] = unit
    return given


def _defaults(columns: Columns, guess: Guess, stem: str) -> list[str]:
    section, cells = columns.section, guess.table.rows.cells
    given = _given(columns, guess, stem)
    parts = [f"[{section}.defaults]", *(_line(name, said.value, said.why) for name, said in given.items())]
    unit = counter_unit(guess.sections, cells)
    if section in ("runs", "legs", "located") and not columns.has("unit") and "unit" not in given:
        parts.append(_open('unit = "ft"', f"{unit.why}; ft or m?"))
    if section == "observations" and len(guess.sections) == 1:
        told = f"{unit.value}, {unit.why}" if unit.value else unit.why
        parts.append(comment(f"the unit of readings is that of their run, which another file says ([runs] unit); here: {told}"))
    if section == "runs" and not columns.has("launch", "launch_measure"):
        told = "no column says where runs start: the building is assumed; tie-in, or a known point?"
        parts.append(_open('launch = "building"', told))
    return parts if len(parts) > 1 else []


def _values(columns: Columns, cells: pd.DataFrame) -> list[str]:
    """What the words of closed lists mean, and numbers that need a unit."""
    parts: list[str] = []
    for one in _taken(columns):
        column, where = columns.taken[one.name].column, f"[{columns.section}.values.{one.name}]"
        if one.reader == "diameter":
            parts += _diameters(cells[column], column, where)
        elif lost := unknown_words(cells[column], one):
            parts += _proposals(lost, where)
    return parts


def _diameters(cells: "pd.Series[str]", column: str, where: str) -> list[str]:
    said, why = bare_diameters(cells, column)
    lines = [f"{f'{quoted(theirs)} = {quoted(ours)}':<{_AT}}  {comment(why)}" for theirs, ours in said.items()]
    return [where, *lines] if lines else [comment(why)] if why else []


def _proposals(lost: dict[str, tuple[int, str]], where: str) -> list[str]:
    """Words that are none of ours, with the likest of ours as a proposal that somebody must say yes to."""
    lines = [where, comment("words that are not known here; take the # away where the proposal is right")]
    told = list(lost.items())[:_MOST_WORDS]
    lines += [_open(f"{quoted(word)} = {quoted(ours or '…')}", _rows(count, ours)) for word, (count, ours) in told]
    if len(lost) > _MOST_WORDS:
        lines.append(comment(f"and {len(lost) - _MOST_WORDS} more; a crosswalk file can say them all ([crosswalk])"))
    return lines


def _rows(count: int, ours: str) -> str:
    return f"{count} row{'s' if count > 1 else ''}{'' if ours else '; nothing known is like it'}"
