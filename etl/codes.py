"""Gives the observations of a plan the codes of its crosswalk file, and of the exchange form the codes of EN 13508-2."""

from dataclasses import replace

import pandas as pd

from etl.crosswalk import Crosswalk, crosswalk_of, standard_codes
from etl.plan import Plan, Section
from etl.sources import read_file
from etl.sources.exchange import SUFFIXES as EXCHANGE
from etl.sources.rows import Rows
from sewermap.errors import SourceError
from sewermap.history.kinds import Vocabulary


def with_codes(plan: Plan, vocabulary: Vocabulary) -> Plan:
    """The plan with ``codes`` in its section of observations, where it has any beside the words that stand in it.

    What the section says of a word goes first, then ``[crosswalk]``, then its file, then (for the exchange form) the main codes
    that one kind alone bears. Raises SourceError for a crosswalk file that cannot be read as one.
    """
    crosswalk = None if plan.crosswalk is None else _of_file(plan, vocabulary)
    sections = tuple(_with(one, crosswalk, vocabulary) if one.name == "observations" else one for one in plan.sections)
    return replace(plan, sections=sections)


def _of_file(plan: Plan, vocabulary: Vocabulary) -> Crosswalk:
    assert plan.crosswalk is not None  # noqa: S101 (for the type checker)
    try:
        rows = read_file(plan.crosswalk)
        return crosswalk_of(_whole(rows, plan.crosswalk.name), rows.row.tolist(), plan.crosswalk.name, vocabulary)
    except SourceError as error:
        raise SourceError(f"{plan.path.name}, [crosswalk]: {error}") from None


def _whole(rows: Rows, file: str) -> pd.DataFrame:
    """The cells of a file all of whose rows could be read."""
    if len(rows.broken):
        first = rows.broken.iloc[0]
        raise SourceError(f"{file}, row {first['row']}: {first['reason']}")
    return rows.cells


def _with(section: Section, crosswalk: Crosswalk | None, vocabulary: Vocabulary) -> Section:
    is_exchange = any(path.suffix.casefold() in EXCHANGE for path in section.files)
    if crosswalk is None and not is_exchange:
        return section
    codes = crosswalk or Crosswalk({})
    if is_exchange:
        codes = codes.over(standard_codes(vocabulary))
    values = dict(section.values or {})  # noqa: PD011 (a section's, no frame's)
    codes = codes.under(values.get("kind", {}))
    return replace(section, codes=codes, values={**values, "kind": codes})
