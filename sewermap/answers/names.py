"""Names as users type them, found among those that the database holds."""

import difflib
from collections.abc import Iterable

import numpy as np
import pandas as pd
import sqlalchemy as sa

from sewermap.errors import UnknownNameError
from sewermap.line.lines_taken import NO_LINE
from sewermap.store import bulk, recorded
from sewermap.store.session import Store
from sewermap.store.tables import issues, lateral_lines, lateral_states, laterals, runs, streets


def street_names(store: Store, typed: str) -> list[str]:
    """The written forms of a street's name that differ from the typed one only in case and spaces.

    Raises UnknownNameError, naming the nearest streets, where neither a lateral nor a street layer knows it.
    """
    with store.reading() as conn:
        # Of laterals that lie nobody knows where, only what was seen there tells the street.
        written = sorted({*bulk.values_of(conn, lateral_states.c.street), *bulk.values_of(conn, issues.c.street)})
        found = [name for name in written if _plain(name) == _plain(typed)]
        if not found:
            known = sa.select(streets.c.street).where(recorded.is_current(streets)).distinct()
            written = sorted({*written, *conn.execute(known).scalars()})
            found = [name for name in written if _plain(name) == _plain(typed)]
    if not found:
        raise UnknownNameError(f"no street is called '{typed}'; {_nearest(typed, written)}")
    return found


def lateral_row(store: Store, typed: str) -> pd.Series:
    """The computed row of the lateral that a name, or an address only one lateral has, stands for.

    Raises UnknownNameError.
    """
    columns = [laterals.c[name] for name in ("lateral", "address", "street")]
    with store.reading() as conn:
        rows = bulk.read(conn, sa.select(laterals).where(laterals.c.lateral == typed))
        if len(rows) == 1:
            return rows.iloc[0]
        known = bulk.read(conn, sa.select(*columns).order_by(laterals.c.lateral))
        addresses = known["address"].fillna("").map(_plain)
        whole = (known["address"].fillna("") + " " + known["street"].fillna("")).map(_plain)
        found = known[(known["lateral"].map(_plain) == _plain(typed)) | (addresses == _plain(typed)) | (whole == _plain(typed))]
        if len(found) == 1:
            return bulk.read(conn, sa.select(laterals).where(laterals.c.lateral == found["lateral"].iloc[0])).iloc[0]
    if len(found) > 1:
        raise UnknownNameError(f"'{typed}' could be any of {', '.join(found['lateral'].head(6))}; name the lateral")
    lineless = _lineless(store, typed)
    if lineless is not None:
        raise UnknownNameError(f"'{lineless}' is known, but not where it lies: {NO_LINE}")
    raise UnknownNameError(f"no lateral is called '{typed}'; {_nearest(typed, known['lateral'])}")


def known_lateral(store: Store, typed: str) -> str:
    """The name of the lateral that a name or an address stands for, also of one without a line. Raises UnknownNameError."""
    lineless = _lineless(store, typed)
    return lineless if lineless is not None else str(lateral_row(store, typed)["lateral"])


def _lineless(store: Store, typed: str) -> str | None:
    """The name of the one recorded lateral without a line that is meant, None where none is."""
    table = lateral_lines
    columns = [table.c[name] for name in ("lateral", "address", "street")]
    with store.reading() as conn:
        placed = bulk.values_of(conn, laterals.c.lateral)
        known = bulk.read(conn, sa.select(*columns).where(recorded.is_current(table), table.c.geometry.is_(None)))
    known = known[~known["lateral"].isin(placed)]
    whole = (known["address"].fillna("") + " " + known["street"].fillna("")).map(_plain)
    names = known["lateral"].map(_plain), known["address"].fillna("").map(_plain), whole
    found = known[np.logical_or.reduce([part == _plain(typed) for part in names])]
    return str(found["lateral"].iloc[0]) if len(found) == 1 else None


def run_row(store: Store, typed: str, lateral: str) -> pd.Series:
    """The current row of a run on a lateral. Raises UnknownNameError, naming the lateral's runs."""
    with store.reading() as conn:
        of_lateral = bulk.read(
            conn, sa.select(runs).where(recorded.is_current(runs), runs.c.lateral == lateral).order_by(runs.c.run)
        )
    found = of_lateral[of_lateral["run"].map(_plain) == _plain(typed)]
    if len(found) != 1:
        names = ", ".join(of_lateral["run"]) or "none"
        raise UnknownNameError(f"lateral '{lateral}' has no run '{typed}'; its runs are: {names}")
    return found.iloc[0]


def issue_row(conn: sa.Connection, typed: str) -> pd.Series:
    """The row of the issue of a name, whatever the case it was typed in. Raises UnknownNameError, naming the nearest ones."""
    rows = bulk.read(conn, sa.select(issues).where(issues.c.issue == typed))
    if len(rows) != 1:
        known = bulk.read(conn, sa.select(issues.c.issue).order_by(issues.c.issue))["issue"]
        found = known[known.map(_plain) == _plain(typed)]
        if len(found) != 1:
            raise UnknownNameError(f"no issue is called '{typed}'; {_nearest(typed, known)}")
        rows = bulk.read(conn, sa.select(issues).where(issues.c.issue == found.iloc[0]))
    return rows.iloc[0]


def _plain(name: str) -> str:
    return " ".join(name.split()).casefold()


def _nearest(typed: str, known: Iterable[str]) -> str:
    names = list(known)
    near = difflib.get_close_matches(typed, names, n=3, cutoff=0.5)
    if near:
        return "the nearest are " + ", ".join(near)
    return f"the database holds {len(names)} names, none like it"
