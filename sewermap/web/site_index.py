"""The one numbering that all files of a site share: streets, laterals, issues and kinds by number, days since 1990.

It follows from content alone: the order of rows in the tables means nothing.
"""

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sewermap.errors import SewermapError
from sewermap.history.life import STATES
from sewermap.web.site_tables import SiteTables

Whole = NDArray[np.int64]

EPOCH = np.datetime64("1990-01-01", "D")
"""Days are told as whole days since then, 0 for none."""

LAST_DAY = 65_535
SIDES = ("unknown", "public", "undetermined", "private")
MOST_STREETS = 65_535
MOST_KINDS = 127


@dataclass(frozen=True, eq=False)
class SiteIndex:
    """Names in their order; the index of a name is its number in every file.

    ``streets``: sorted, the first is empty (no street). ``laterals`` and ``issues``: the tables' frames in this order, numbered
    from 0. ``lateral_street``: by lateral, its street. ``issue_lateral``: by issue, its lateral. ``first_issue``: by lateral,
    its first issue, and one more for the end (shape N + 1): lateral i has the issues first_issue[i] up to first_issue[i + 1].
    ``kinds``: the kinds of issues, sorted. ``states`` and ``sides``: fixed lists.
    """

    streets: tuple[str, ...]
    laterals: pd.DataFrame
    issues: pd.DataFrame
    lateral_street: Whole
    issue_lateral: Whole
    first_issue: Whole
    kinds: tuple[str, ...]
    states: tuple[str, ...] = STATES
    sides: tuple[str, ...] = SIDES

    @cached_property
    def _lateral_names(self) -> "pd.Index[Any]":
        return pd.Index(plain_texts(self.laterals["lateral"]))

    @cached_property
    def _issue_names(self) -> "pd.Index[Any]":
        return pd.Index(plain_texts(self.issues["issue"]))

    def lateral_rows(self, names: "pd.Series[Any]") -> Whole:
        """The numbers of laterals by name, −1 for a name that is none."""
        return _numbers(self._lateral_names, names)

    def issue_rows(self, names: "pd.Series[Any]") -> Whole:
        """The numbers of issues by name, −1 for a name that is none."""
        return _numbers(self._issue_names, names)

    def street_rows(self, names: "pd.Series[Any]") -> Whole:
        """The numbers of streets by name; 0 for what is missing or unknown."""
        return np.maximum(_numbers(pd.Index(self.streets, dtype="str"), names), 0)


def site_index(tables: SiteTables) -> SiteIndex:
    """The numbering of a site. An issue of a lateral that is not in the table is left out: it has no place in any list.

    Raises SewermapError for a name given twice, or for more streets or kinds than the files can number.
    """
    laterals, issues = tables.laterals, tables.issues
    _refuse_twice(laterals["lateral"], "lateral")
    _refuse_twice(issues["issue"], "issue")
    street = plain_texts(laterals["street"])
    streets = ("", *sorted({*street.unique(), *plain_texts(tables.streets["street"]).unique()} - {""}))
    laterals, lateral_street = _laterals_in_order(laterals, _numbers(pd.Index(streets, dtype="str"), street))
    issues, issue_lateral = _issues_in_order(issues, _numbers(pd.Index(plain_texts(laterals["lateral"])), issues["lateral"]))
    kinds = tuple(sorted(plain_texts(issues["kind"]).unique()))
    if len(streets) > MOST_STREETS or len(kinds) > MOST_KINDS:
        raise SewermapError(
            f"a site numbers up to {MOST_STREETS} streets and {MOST_KINDS} kinds; here are {len(streets)} and {len(kinds)}"
        )
    return SiteIndex(
        streets=streets,
        laterals=laterals,
        issues=issues,
        lateral_street=lateral_street,
        issue_lateral=issue_lateral,
        first_issue=np.searchsorted(issue_lateral, np.arange(len(laterals) + 1)).astype(np.int64),
        kinds=kinds,
    )


def days_since_epoch(days: "pd.Series[Any]") -> NDArray[np.uint16]:
    """Days as whole days since 1990; 0 for none. What is earlier is told as 1, what is later than a u16 holds as the last.

    >>> days_since_epoch(pd.Series(pd.to_datetime(["1990-01-02", "1989-05-05", None]))).tolist()
    [1, 1, 0]
    """
    there = pd.to_datetime(days, errors="coerce").to_numpy("datetime64[D]")
    known = ~np.isnat(there)
    since = np.where(known, (there - EPOCH).astype(np.int64), 0)
    return np.where(known, np.clip(since, 1, LAST_DAY), 0).astype(np.uint16)


def plain_texts(column: "pd.Series[Any]") -> "pd.Series[str]":
    """A column's texts, blanks at the ends cut off; what is missing is an empty text."""
    return column.astype("str").where(column.notna(), "").str.strip()


def natural(column: "pd.Series[Any]") -> "pd.Series[str]":
    """Texts whose order is that of a person: every number in them padded to ten digits.

    >>> natural(pd.Series(["12 Elm", "2 Elm"])).sort_values().index.tolist()
    [1, 0]
    """
    return plain_texts(column).str.replace(r"\d+", lambda digits: digits.group().zfill(10), regex=True)


def _laterals_in_order(laterals: pd.DataFrame, street: Whole) -> tuple[pd.DataFrame, Whole]:
    """By street, then house, then lateral."""
    keys = pd.DataFrame(
        {
            "street": street,
            "house": natural(laterals["address"]).to_numpy(),
            "natural": natural(laterals["lateral"]).to_numpy(),
            "lateral": plain_texts(laterals["lateral"]).to_numpy(),
        }
    )
    order = keys.sort_values(list(keys.columns), kind="stable").index.to_numpy()
    return laterals.iloc[order].reset_index(drop=True), street[order]


def _issues_in_order(issues: pd.DataFrame, lateral: Whole) -> tuple[pd.DataFrame, Whole]:
    """By lateral, then measure (those without one last), then name."""
    keys = pd.DataFrame(
        {
            "lateral": lateral,
            "measure": pd.to_numeric(issues["measure_m"], errors="coerce").to_numpy(np.float64),
            "issue": plain_texts(issues["issue"]).to_numpy(),
        }
    )
    keys = keys[lateral >= 0].sort_values(list(keys.columns), kind="stable", na_position="last")
    order = keys.index.to_numpy()
    return issues.iloc[order].reset_index(drop=True), lateral[order]


def _numbers(known: "pd.Index[Any]", names: "pd.Series[Any]") -> Whole:
    """Where each name stands among the known ones, −1 where it does not."""
    return known.get_indexer(pd.Index(plain_texts(names))).astype(np.int64)


def _refuse_twice(names: "pd.Series[Any]", what: str) -> None:
    again = names[names.duplicated()]
    if len(again):
        raise SewermapError(f"the {what} '{again.iloc[0]}' stands twice in the tables; names of a {what} must differ")
