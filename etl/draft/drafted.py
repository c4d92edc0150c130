"""The draft as a whole: the tables of a file, what each is taken for, written as TOML with its reasons beside it."""

import os
from pathlib import Path

from etl.draft.sections import Guess, guessed
from etl.draft.tables import tables_of
from etl.draft.written import comment, quoted, section_text
from etl.sources.exchange import SUFFIXES as EXCHANGE
from sewermap.errors import SourceError

_HEAD = """Drafted from {name}. A guess, with a reason behind each line: read it, correct it, then try it by
sewermap load --check {plan}
What is undecided or not known stands behind a #. Fields and options: docs/input.md."""


def draft(path: Path, out: Path | None = None) -> str:
    """A SOURCES.toml for a strange file: a sheet, a workbook, a layer or a file of layers; written to ``out`` where it is given.

    What it reads is told from the folder of ``out`` (None: from the folder where the program runs). Raises SourceError for a file
    that is not there or cannot be read, and where ``out`` is there already.
    """
    if out is not None and out.exists():
        raise SourceError(f"'{out}' is there already; move it away, or name another file by -o")
    if not path.exists():
        raise SourceError(f"there is no file {path}")
    if path.suffix.casefold() == ".toml":
        raise SourceError(f"{path} is no table or layer; a SOURCES.toml is loaded without --draft")
    text = _text(path, out or Path("SOURCES.toml"))
    if out is not None:
        try:
            out.parent.mkdir(parents=True, exist_ok=True)
            out.write_text(text, encoding="utf-8")
        except OSError as error:
            raise SourceError(f"'{out}' cannot be written: {error.strerror}") from None
    return text


def _text(path: Path, out: Path) -> str:
    source = _relative(path, out)
    parts = [comment(_HEAD.format(name=path.name, plan=out.name))]
    if path.suffix.casefold() in EXCHANGE:
        of = "the exchange form of EN 13508-2: its letters are known, see docs/exchange.md"
        parts += [f"\n{comment(of)}\n[{name}]\nfrom = {quoted(source)}" for name in ("runs", "observations")]
        return "\n".join(parts) + "\n"
    tables, told = tables_of(path)
    parts += [comment(one) for one in told]
    taken: dict[str, str] = {}
    for guess in (guessed(table) for table in tables):
        parts.append(_of_table(guess, source, taken, stem=path.stem))
        taken |= {columns.section: guess.table.what for columns in guess.sections if columns.section not in taken}
    return "\n".join(parts) + "\n"


def _of_table(guess: Guess, source: str, taken: dict[str, str], stem: str) -> str:
    """The sections of one table. A SOURCES.toml has each section once, so a second table of the same section is told only."""
    parts = [f"\n{comment(f'--- {guess.table.what}: {guess.why}' if guess.why else f'--- {guess.table.what}')}"]
    parts += [comment(one) for one in guess.told]
    for columns in guess.sections:
        if columns.section in taken:
            other = taken[columns.section]
            parts.append(comment(f"also like {columns.section}, which {other} is already: load it by a SOURCES.toml of its own"))
        else:
            parts.append(section_text(columns, guess, source, stem))
    return "\n".join(parts)


def _relative(path: Path, out: Path) -> str:
    return Path(os.path.relpath(path.resolve(), out.resolve().parent)).as_posix()
