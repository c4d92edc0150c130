"""A handful of rows that are wrong on purpose, so that a first load shows what happens to them."""

from dataclasses import dataclass, replace

import pandas as pd

from sample_gis.crews import ALL, Crew
from sample_gis.logs import FIRST_DATA_ROW, Sheet

REJECTED, WARNED = "rejected", "warning"


@dataclass(frozen=True)
class BadRow:
    """A wrong row: in which crew's newest file of a section, our fields, which field is wrong, and what becomes of it."""

    crew: str
    section: str
    field: str
    expect: str
    why: str
    cells: dict[str, str]


def _run(name: str, lateral: str, day: str, **more: str) -> dict[str, str]:
    return {"run": name, "lateral": lateral, "ran_on": day, "launch": "building", "reason": "complaint"} | more


def bad_rows(good_run: dict[str, str], address: str) -> list[BadRow]:
    """The wrong rows. ``good_run`` names one loaded run a crew (by folder); ``address`` is of a house that exists."""
    first, second, third = good_run["brindlefold"], good_run["brumelaine"], good_run["fennimole"]
    return [
        BadRow("brindlefold", "runs", "lateral", REJECTED, "no such lateral", _run("BF-9001", "L-7777", "05/14/2025")),
        BadRow("brindlefold", "observations", "run", REJECTED, "its run was rejected",
               {"run": "BF-9001", "reading": "12.5", "kind": "roots", "percent": "20"}),
        BadRow("brindlefold", "runs", "ran_on", REJECTED, "a month has no 31st of February",
               _run("BF-9002", "L-0003", "02/31/2025")),
        BadRow("brindlefold", "observations", "reading", REJECTED, "a reading below nothing",
               {"run": first, "reading": "-3.5", "kind": "crack", "clock_from": "4"}),
        BadRow("brindlefold", "observations", "kind", REJECTED, "a word that nobody knows",
               {"run": first, "reading": "21.0", "kind": "gremlin"}),
        BadRow("brindlefold", "observations", "referent", WARNED, "no such known point",
               {"run": first, "reading": "9.9", "kind": "bend", "referent": "B77"}),
        BadRow("brindlefold", "observations", "remark", "loaded", "looks like a formula, is text",
               {"run": first, "reading": "10.3", "kind": "joint", "remark": "=1+1 joints, see film"}),
        BadRow("brumelaine", "runs", "ran_on", REJECTED, "no day", _run("BR-9001", "L-0005", "")),
        BadRow("brumelaine", "observations", "reading", REJECTED, "over 300 m",
               {"run": second, "reading": "1482,00", "kind": "sag"}),
        BadRow("brumelaine", "observations", "percent", REJECTED, "more than all",
               {"run": second, "reading": "6,10", "kind": "grease", "percent": "140"}),
        BadRow("fennimole", "runs", "run", REJECTED, "the same name twice, for two days", _run("FM 9001", address, "2025-03-04")),
        BadRow("fennimole", "runs", "run", REJECTED, "the same name twice, for two days", _run("FM 9001", address, "2025-03-11")),
        BadRow("fennimole", "observations", "reading", REJECTED, "no length",
               {"run": third, "reading": "half way", "kind": "deposits"}),
    ]  # fmt: skip


def with_bad_rows(sheets: list[Sheet], rows: list[BadRow]) -> tuple[list[Sheet], pd.DataFrame]:
    """The sheets with the wrong rows at the end of each crew's newest file of the section.

    Also returns what a load must say of them: file, row, section, field, expect (``rejected``, ``warning``, ``loaded``), why.
    """
    newest = {(sheet.crew.folder, sheet.section): at for at, sheet in enumerate(sheets)}
    sheets, told = list(sheets), []
    crews = {crew.folder: crew for crew in ALL}
    for row in rows:
        at = newest[row.crew, row.section]
        sheet = sheets[at]
        cells = pd.DataFrame([_cells(crews[row.crew], row)], columns=sheet.cells.columns, dtype=object)
        told.append((sheet.path, len(sheet.cells) + FIRST_DATA_ROW, row.section, row.field, row.expect, row.why))
        sheets[at] = replace(sheet, cells=pd.concat([sheet.cells.astype(object), cells], ignore_index=True))
    return sheets, pd.DataFrame(told, columns=["file", "row", "section", "field", "expect", "why"])


def _cells(crew: Crew, row: BadRow) -> dict[str, str]:
    names = crew.runs if row.section == "runs" else crew.observations
    words = {"kind": crew.kinds} | dict(crew.words)
    return {names[field]: words.get(field, {}).get(text, text) for field, text in row.cells.items() if text}
