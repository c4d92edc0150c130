"""Their columns to our fields, their words to ours, and what fills empty cells."""

from collections.abc import Mapping, Sequence
from pathlib import PurePath

import numpy as np
import pandas as pd

from etl.catalogue import POINTS, Field, names_lateral
from etl.plan import NO_COLUMN, Section
from etl.vocabulary import fold, near, plain
from sewermap.errors import SourceError

_DBF_NAME = 10
"""Column names of a Shapefile are cut to ten characters."""


def mapped(section: Section, fields: Sequence[Field], cells: pd.DataFrame, file: str) -> pd.DataFrame:
    """The cells of a file by our names of fields, as they stand; a field the file does not have is not among the columns.

    A column that bears our name (without regard to case, blanks and low lines) is taken without a mapping, but
    ``section.fields`` goes first. Raises SourceError for a mapping to a column that the file lacks, for two columns that
    bear the same name of ours, and for needed fields that are neither mapped, present nor given by a default.
    """
    columns = columns_by_field(section, fields, list(cells.columns), file)
    _check_needed(section, fields, columns, list(cells.columns), file)
    return pd.DataFrame({ours: cells[theirs] for ours, theirs in columns.items()}, index=cells.index)


def columns_by_field(section: Section, fields: Sequence[Field], columns: Sequence[str], file: str) -> dict[str, str]:
    """Which of a file's columns holds which field. Raises SourceError as ``mapped`` does."""
    chosen = {}
    for field in fields:
        theirs = (section.fields or {}).get(field.name)
        if theirs == NO_COLUMN:
            continue
        column = _bearing(field.name, columns, file) if theirs is None else _named(theirs, columns, file, section.name, field)
        if column is not None:
            chosen[field.name] = column
    return chosen


def filled(section: Section, fields: Sequence[Field], written: pd.DataFrame) -> pd.DataFrame:
    """All fields as columns of text: their words replaced by ours, then empty cells filled from the defaults."""
    ours = {}
    words_of = section.values or {}  # noqa: PD011 (a section's, no frame's)
    for field in fields:
        column = written.get(field.name)
        if column is None:
            column = pd.Series(np.nan, index=written.index, dtype="str")
        words = words_of.get(field.name)
        default = _default(section, field)
        column = replaced(column, words) if words else column
        ours[field.name] = column if default is None else column.fillna(default)
    return pd.DataFrame(ours, index=written.index)


def replaced(column: "pd.Series[str]", words: Mapping[str, str]) -> "pd.Series[str]":
    """A column with words replaced, without regard to case and blanks; ``words`` has folded keys.

    >>> replaced(pd.Series(["Root  MASS", "crack"]), {"root mass": "roots"}).tolist()
    ['roots', 'crack']
    """
    codes, unique = pd.factorize(column)
    ours = pd.array([words.get(fold(word), word) for word in unique], dtype="str")
    return pd.Series(ours.take(codes, allow_fill=True), index=column.index, dtype="str")


def _default(section: Section, field: Field) -> str | None:
    said = (section.defaults or {}).get(field.name)
    if said is None and field.reader == "unit":
        said = section.unit
    if said is None and field.reader == "crs":
        said = section.crs
    return field.default if said is None else said


def _bearing(ours: str, columns: Sequence[str], file: str) -> str | None:
    bearers = [column for column in columns if plain(column) == plain(ours)]
    if len(bearers) > 1:
        raise SourceError(f"{file} has the columns {' and '.join(bearers)}, both of which are {ours}; say one in .fields")
    if not bearers and len(ours) > _DBF_NAME and PurePath(file).suffix.casefold() in {".shp", ".zip", ".dbf"}:
        bearers = [column for column in columns if column.casefold() == ours[:_DBF_NAME]]
    return bearers[0] if bearers else None


def _named(theirs: str, columns: Sequence[str], file: str, section: str, field: Field) -> str:
    if theirs in columns:
        return theirs
    alike = [column for column in columns if plain(column) == plain(theirs)]
    if len(alike) == 1:
        return alike[0]
    raise SourceError(f"{file} has no column {theirs!r}, which [{section}.fields] {field.name} names; {near(theirs, columns)}")


def _check_needed(section: Section, fields: Sequence[Field], chosen: Mapping[str, str], columns: list[str], file: str) -> None:
    have = {*chosen, *(field.name for field in fields if _default(section, field) is not None)}
    if names_lateral(section.name) and "address" in have:
        have.add("lateral")
    have.update(POINTS.get(section.name, ()))  # a layer of points has them, and the check of needed cells sees to the rest
    if section.name == "observations" and "note" in have:
        have |= {"reading", "kind"}  # may stand in the note
    missing = [field.name for field in fields if field.needed and field.name not in have]
    if missing:
        raise SourceError(
            f"{file} has no column for {', '.join(missing)}, which [{section.name}] needs; its columns are {', '.join(columns)};"
            f' say which is which in [{section.name}.fields], as in {missing[0]} = "{columns[0] if columns else "A"}"'
        )
