"""The lines that no map drew, made of what is recorded of them; and for each lateral the line it was last drawn with."""

import numpy as np
import pandas as pd
import sqlalchemy as sa

from sewermap.line.ground import Ground
from sewermap.line.lines_taken import accuracy_texts, with_taken
from sewermap.line.sketching import sketches_of
from sewermap.store import bulk, recorded
from sewermap.store import tables as schema
from sewermap.store.session import Store

OF_LINE = ("geometry", "method", "map_accuracy_m")


def current_lines(conn: sa.Connection) -> pd.DataFrame:
    """Current rows of lateral_lines with their source; one that says no line keeps the line of the newest version that does."""
    rows = recorded.with_source(conn, schema.lateral_lines)
    lacking = rows.loc[rows["geometry"].isna(), "lateral"]
    if lacking.empty:
        return rows
    table = schema.lateral_lines
    query = sa.select(table.c.id, table.c.lateral, *(table.c[name] for name in OF_LINE)).where(table.c.method == "drawn")
    older = bulk.read(conn, query.order_by(table.c.id))
    older = older[older["lateral"].isin(lacking) & older["geometry"].notna()]
    older = older.drop_duplicates("lateral", keep="last").set_index("lateral")
    kept = rows["geometry"].isna() & rows["lateral"].isin(older.index)
    for name in OF_LINE:
        values = older[name].reindex(rows.loc[kept, "lateral"]).to_numpy()
        rows.loc[kept, name] = (
            rows.loc[kept, name].fillna(pd.Series(values, rows.index[kept])) if name == "map_accuracy_m" else values
        )
    return rows


def read_sketches(store: Store, conn: sa.Connection, lines: pd.DataFrame, ground: Ground, located: pd.DataFrame) -> pd.DataFrame:
    """Candidates for the lines of all laterals that lack one, and of those that have legs or located points beside a drawn one.

    ``lines`` as ``current_lines`` gives them, ``located`` as ``scene.read_located`` does. Columns as ``sketches_of``, and taken.
    """
    legs = recorded.current(conn, schema.legs)
    without = lines["geometry"].isna()
    told = lines["lateral"].isin(legs["lateral"]) | lines["lateral"].isin(located["lateral"])
    wanted = lines[without | told]
    # A city whose lines are all drawn does without its mains.
    mains = (
        recorded.current(conn, schema.mains, ["main", "geometry"]) if len(wanted) else pd.DataFrame({"main": [], "geometry": []})
    )
    columns = ["lateral", "property", "main", "tie_in_distance_m", "tie_in_from"]
    found = sketches_of(
        wanted[columns].reset_index(drop=True), legs, located, ground, mains, metres_per_unit=store.metres_per_unit
    )
    drawn = lines.loc[~without, "lateral"]
    # Where a map draws the line nobody asks for a guess.
    found = found[~(found["method"].eq("guessed") & found["lateral"].isin(drawn))].reset_index(drop=True)
    return with_taken(found, drawn)


def sketch_rows(sketches: pd.DataFrame) -> pd.DataFrame:
    """Rows of the table ``sketches``."""
    rows = sketches.assign(id=np.arange(1, len(sketches) + 1), accuracy_along=accuracy_texts(sketches["accuracy"]))
    for name in ("starts_at", "closed_on", "first_bearing_from", "reason"):
        rows[name] = rows[name].astype("str").where(rows[name].notna() & (rows[name] != ""))
    return rows[[column.name for column in schema.sketches.c]]
