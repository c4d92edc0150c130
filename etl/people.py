"""People's words on matching: recorded, and what they touch told anew, in one transaction."""

import sqlalchemy as sa

from etl.recompute import recompute
from sewermap.errors import UnknownNameError
from sewermap.store import issues as kept
from sewermap.store.session import Store
from sewermap.store.tables import issue_sightings


def join(store: Store, issue: str, other: str, *, who: str, why: str) -> str:
    """Record that two issues are one; returns the name that it bears. Raises UnknownNameError."""
    with store.writing() as conn:
        founders = {name: _founder(conn, name) for name in (issue, other)}
        if issue == other:
            raise UnknownNameError(f"'{issue}' was named twice; name two issues")
        if len({lateral for lateral, _ in founders.values()}) > 1:
            raise UnknownNameError(f"'{issue}' and '{other}' lie on two laterals; one issue lies on one")
        word: dict[str, object] = {"issue": issue, "other_issue": other, "who": who, "why": why}
        word |= {"founder_id": founders[issue][1], "other_founder_id": founders[other][1]}
        kept.record_join(conn, word)
        recompute(store, conn, {founders[issue][0]})
        return _issue_of(conn, founders[issue][1])


def split(store: Store, issue: str, observation: str, *, who: str, why: str) -> str:
    """Record that an observation is none of an issue's; returns the name of the issue it stands for now.

    Raises UnknownNameError, also for the observation that founded the issue: it is what the name stands for.
    """
    with store.writing() as conn:
        lateral, founder = _founder(conn, issue)
        table = issue_sightings
        row = conn.execute(sa.select(table.c.id).where(table.c.issue == issue, table.c.observation == observation)).first()
        if row is None:
            seen = conn.execute(sa.select(table.c.observation).where(table.c.issue == issue)).scalars().all()
            raise UnknownNameError(f"'{observation}' is no sighting of {issue}; its sightings are {', '.join(sorted(seen))}")
        if row.id == founder:
            raise UnknownNameError(f"'{observation}' founded {issue} and keeps its name; split the others from it instead")
        word: dict[str, object] = {"issue": issue, "observation": observation, "who": who, "why": why}
        word |= {"founder_id": founder, "observation_id": row.id}
        kept.record_split(conn, word)
        recompute(store, conn, {lateral})
        return _issue_of(conn, row.id)


def _founder(conn: sa.Connection, issue: str) -> tuple[str, int]:
    """The lateral of an issue and the observation that founded it."""
    known = kept.names(conn)
    row = known[known["issue"] == issue]
    if row.empty or conn.execute(sa.select(issue_sightings.c.id).where(issue_sightings.c.issue == issue)).first() is None:
        raise UnknownNameError(f"no issue is called '{issue}'; `sewermap history LATERAL` and `sewermap defects` name them")
    return str(row["lateral"].iloc[0]), int(row["founder_id"].iloc[0])


def _issue_of(conn: sa.Connection, observation_id: int) -> str:
    query = sa.select(issue_sightings.c.issue).where(issue_sightings.c.id == observation_id)
    return str(conn.execute(query).scalar_one())
