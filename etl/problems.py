"""What is wrong with the input: in which file, row and field, in a plumber's words. Kept as columns, never raised.

A *finding* speaks of some rows of one batch (one section's rows of all its files); the list of problems gathers findings
with the file and row that each is about. A rejected row is not loaded; a warning is loaded all the same.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

COLUMNS = ["file", "table", "row", "field", "value", "reason"]
"""Columns of a table of problems. ``table`` is the section's name; rows are counted from 1, a sheet's header being row 1."""

Mask = NDArray[np.bool_]


@dataclass(frozen=True)
class Finding:
    """Rows of a batch (``where``), the field that is wrong, and why: one sentence for all, or one for each row of the batch.

    ``value`` is what was written; without it, the cell of that field as it stood in the file.
    """

    where: Mask
    field: str
    reason: "str | pd.Series[str]"
    warning: bool = False
    value: "pd.Series[str] | None" = None


def finding(
    where: "Mask | pd.Series[bool]", field: str, reason: "str | pd.Series[str]", value: "pd.Series[str] | None" = None
) -> Finding:
    """A finding that rejects rows."""
    return Finding(np.asarray(where, dtype=bool), field, reason, value=value)


def warning(
    where: "Mask | pd.Series[bool]", field: str, reason: "str | pd.Series[str]", value: "pd.Series[str] | None" = None
) -> Finding:
    """A finding that lets rows pass."""
    return Finding(np.asarray(where, dtype=bool), field, reason, warning=True, value=value)


@dataclass
class Problems:
    """All rejects and warnings of one load, in the order of sections, files and rows."""

    _rejects: list[pd.DataFrame] = field(default_factory=list)
    _warnings: list[pd.DataFrame] = field(default_factory=list)
    _told_by: dict[tuple[str, str], Callable[[pd.DataFrame], pd.DataFrame]] = field(default_factory=dict)

    def tell_by(self, section: str, file: str, told: Callable[[pd.DataFrame], pd.DataFrame]) -> None:
        """From now on every problem of a section's rows of a file goes through ``told``, which names its cell."""
        self._told_by[section, file] = told

    def add(self, section: str, places: pd.DataFrame, written: pd.DataFrame, findings: Iterable[Finding]) -> Mask:
        """Take the findings about one batch and tell which of its rows are rejected.

        ``places`` has columns source_file and source_row, ``written`` the cells by field, both with a row for each row of
        the batch.
        """
        findings = [one for one in findings if one.where.any()]
        rejected = np.zeros(len(places), dtype=bool)
        for one in findings:
            rejected |= one.where & (not one.warning)
        # What is odd about a row that is not loaded would only hide why it is not.
        told = [replace(one, where=one.where & ~rejected) if one.warning else one for one in findings]
        for warns, kept in ((False, self._rejects), (True, self._warnings)):
            tables = [_table(section, places, written, one) for one in told if one.warning is warns and one.where.any()]
            kept.extend(self._named(section, table) for table in _sorted(tables))
        return rejected

    def add_broken(self, section: str, file: str, broken: pd.DataFrame) -> None:
        """Take rows that could not even be read; ``broken`` has columns row, field, value and reason."""
        if len(broken):
            self._rejects.append(self._named(section, broken.assign(file=file, table=section)[COLUMNS]))

    def add_aside(self, section: str, file: str, aside: pd.DataFrame) -> None:
        """Take what stands beside the rows of a file or is odd about its cells; columns as of ``add_broken``."""
        if len(aside):
            self._warnings.append(self._named(section, aside.assign(file=file, table=section)[COLUMNS]))

    def _named(self, section: str, table: pd.DataFrame) -> pd.DataFrame:
        """Problems with the names of their cells, where their files have such."""
        if not any(of == section for of, _ in self._told_by):
            return table
        parts = [
            self._told_by[section, str(file)](rows) if (section, file) in self._told_by else rows
            for file, rows in table.groupby("file", sort=False)
        ]
        return pd.concat(parts)

    def rejects(self) -> pd.DataFrame:
        """One line for each problem of a rejected row; a row may have several."""
        return _joined(self._rejects)

    def warnings(self) -> pd.DataFrame:
        """One line for each oddity of a row that is loaded all the same."""
        return _joined(self._warnings)


def empty_broken() -> pd.DataFrame:
    """No broken rows, with the columns that ``add_broken`` wants."""
    return pd.DataFrame({"row": np.array([], dtype=np.int64), **{name: pd.Series([], dtype="str") for name in COLUMNS[3:]}})


def _table(section: str, places: pd.DataFrame, written: pd.DataFrame, one: Finding) -> pd.DataFrame:
    at = np.flatnonzero(one.where)
    if one.value is not None:
        value = one.value.iloc[at].to_numpy(dtype=object)
    elif one.field in written:
        value = written[one.field].iloc[at].to_numpy(dtype=object)
    else:
        value = np.full(len(at), np.nan, dtype=object)
    reason = one.reason if isinstance(one.reason, str) else one.reason.iloc[at].to_numpy(dtype=object)
    found = pd.DataFrame({"file": places["source_file"].iloc[at].to_numpy(), "row": places["source_row"].iloc[at].to_numpy()})
    texts = {"value": pd.Series(value, dtype="str"), "reason": pd.Series(reason, index=found.index, dtype="str")}
    return found.assign(table=section, field=one.field, **texts)[COLUMNS]


def _sorted(tables: list[pd.DataFrame]) -> list[pd.DataFrame]:
    if not tables:
        return []
    return [pd.concat(tables, ignore_index=True).sort_values(["file", "row"], kind="stable")]


def _joined(tables: list[pd.DataFrame]) -> pd.DataFrame:
    if tables:
        return pd.concat(tables, ignore_index=True)
    return empty_broken().assign(file=pd.Series([], dtype="str"), table=pd.Series([], dtype="str"))[COLUMNS]
