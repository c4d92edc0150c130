"""All that is known of one warranty on a day: what a notice and a folder of evidence are made of."""

import difflib
from datetime import date
from typing import Any

import pandas as pd
import sqlalchemy as sa

from sewermap.answers.claims import claims_under
from sewermap.answers.warranties_on import Warranties, today, warranties_on
from sewermap.errors import UnknownNameError
from sewermap.plain import records
from sewermap.store import bulk, recorded
from sewermap.store import tables as schema
from sewermap.store.reference_system import crs_name
from sewermap.store.session import Store

OF_WARRANTY = (
    "warranty", "lateral", "begins_on", "term", "check_lead", "cure", "answerable", "work", "from_measure_m", "to_measure_m",
    "kinds", "start_event", "notice_by", "ends_on", "check_from", "check_by", "note", "work_on", "state", "days_left",
    "checked_on", "checked_by", "looked_share", "left_to_look",
)  # fmt: skip
OF_LATERAL = (
    "lateral", "street", "address", "property", "installed_on", "material", "diameter", "length_m", "map_accuracy_m",
    "accuracy_assumed", "property_line_m", "property_line_sigma_m", "private_ends_m", "private_ends_sigma_m", "private_ends_at",
)  # fmt: skip
OF_RUN = (
    "run", "ran_on", "reason", "crew", "launch", "direction", "unit", "end_reading", "remark", "film", "from_measure_m",
    "to_measure_m", "notes",
)  # fmt: skip
OF_WORK = ("work", "done_on", "kind", "from_measure_m", "to_measure_m", "by", "remark")


def warranty_facts(store: Store, warranty: str, as_of: date | None = None) -> dict[str, Any]:
    """One warranty with all that was known on a day (default today), as plain values.

    Keys: ``as_of``; ``crs``; ``warranty`` (as recorded or opened by a work's rule, with its days and the state of its check);
    ``lateral``; ``claims`` (as ``claims`` has them with ``returned``, the most urgent first); ``runs`` of the lateral until then
    in order of time, each with ``in_window`` (it looked while the check could be made); ``checks``, the runs that count together
    as the check (none unless it is checked); ``works`` of the lateral until then.

    Raises UnknownNameError for a warranty that is not known, or had not begun by then.
    """
    day = as_of or today()
    with store.reading() as conn:
        known = _only(conn, warranties_on(conn, day), warranty, day)
        row = known.table.iloc[0]
        claims = claims_under(store, conn, known, day, returned=True)
        line = bulk.read(conn, sa.select(schema.laterals).where(schema.laterals.c.lateral == row["lateral"]))
        runs = _runs(conn, known)
    in_window = runs["ran_on"].between(max(row["check_from"], row["begins_on"]), row["check_by"])
    runs = runs.assign(in_window=in_window & runs["from_measure_m"].notna())
    made = runs["run"].isin(str(row["checked_by"]).split(", ")) & (runs["ran_on"] == row["checked_on"])
    return {
        "as_of": day.isoformat(),
        "crs": crs_name(store.crs),
        "warranty": records(known.table[list(OF_WARRANTY)])[0],
        "lateral": (records(line[list(OF_LATERAL)]) or [{}])[0],
        "claims": records(claims),
        "checks": records(runs[made]),
        "runs": records(runs),
        "works": records(known.works[list(OF_WORK)].sort_values(["done_on", "work"])),
    }


def _only(conn: sa.Connection, known: Warranties, typed: str, day: date) -> Warranties:
    """The same with one warranty alone."""
    names = known.table["warranty"]
    found = names[names.map(_plain) == _plain(typed)]
    if len(found) != 1:
        raise UnknownNameError(_unknown(conn, names, typed, day))
    table = known.table.loc[found.index]
    mine = table["lateral"].iloc[0]
    return Warranties(
        table=table.reset_index(drop=True),
        laterals=known.laterals[known.laterals.index == mine],
        coverages=known.coverages[known.coverages["lateral"] == mine].reset_index(drop=True),
        works=known.works[known.works["lateral"] == mine].reset_index(drop=True),
        rules=known.rules,
    )


def _unknown(conn: sa.Connection, names: "pd.Series[str]", typed: str, day: date) -> str:
    table = schema.warranties
    later = recorded.current(conn, table, ["warranty", "begins_on"]).set_index("warranty")["begins_on"]
    later = later[later.index.map(_plain) == _plain(typed)]
    if len(later):
        return f"warranty '{typed}' begins on {later.iloc[0].date()}, after {day}, the day that was asked for"
    near = difflib.get_close_matches(typed, names.tolist(), n=3, cutoff=0.5)
    hint = "the nearest are " + ", ".join(near) if near else f"{len(names)} had begun by {day}, none like it"
    return f"no warranty is called '{typed}'; {hint}"


def _runs(conn: sa.Connection, known: Warranties) -> pd.DataFrame:
    """The runs of the lateral until the day, in order of time, with what they passed."""
    table, passed = schema.runs, schema.run_coverages
    columns = [passed.c[name] if name in passed.c and name not in ("run", "ran_on") else table.c[name] for name in OF_RUN]
    query = sa.select(*columns).join_from(passed, table, passed.c.id == table.c.id)
    runs = bulk.read(conn, query.where(bulk.any_of(conn, table.c.run, known.coverages["run"].tolist())))
    return runs.sort_values(["ran_on", "run"], ignore_index=True)


def _plain(name: str) -> str:
    """A name as people may type it: the dot of a warranty that a work opened (``W-1·own``) is on no keyboard."""
    return " ".join(name.replace("·", " ").replace(".own", " own").split()).casefold()
