"""Computed columns whose text is written in another way now: they are empty until they are computed again."""

from collections.abc import Callable

import sqlalchemy as sa

from sewermap.store.tables import metadata


def forgotten(column: str, *tables: str) -> Callable[[sa.Connection], None]:
    """A change that empties a computed column of these tables."""

    def change(conn: sa.Connection) -> None:
        for name in tables:
            conn.execute(sa.update(metadata.tables[name]).values({column: None}))

    return change
