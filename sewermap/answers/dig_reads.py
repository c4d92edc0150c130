"""What dig sheets are made of, read for many issues at once: each table once, however many issues there are."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
import shapely
import sqlalchemy as sa
from numpy.typing import NDArray

from sewermap.answers.names import issue_row
from sewermap.line.reference import Lines, measure_of
from sewermap.store import bulk, recorded
from sewermap.store import tables as schema
from sewermap.store.scene import with_located_points
from sewermap.store.session import Store

OFF_LINE_M = 2.0
"""A point located from above farther than this from the line belongs to another one."""

OF_SIGHTING = (
    "ran_on", "run", "kind", "reading", "unit", "to_reading", "measure_m", "to_measure_m", "sigma_m", "grade", "percent",
    "clock_from", "clock_to", "remark", "picture", "source_file", "source_row",
)  # fmt: skip
OF_RUN = ("run", "crew", "reason", "launch", "direction")
Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Layer:
    """Rows of a layer with the boxes (N, 4) of their shapes."""

    rows: pd.DataFrame
    boxes: Floats

    def within(self, box: Floats) -> pd.DataFrame:
        """The rows whose boxes touch a box (west, south, east, north), edges included."""
        return self.rows.iloc[_touching(self.boxes, box)].reset_index(drop=True)


def _touching(boxes: Floats, box: Floats) -> NDArray[np.int64]:
    west, south, east, north = boxes.T
    return np.flatnonzero((west <= box[2]) & (east >= box[0]) & (south <= box[3]) & (north >= box[1]))


def layer_in(
    conn: sa.Connection, table: sa.Table, columns: Sequence[str], boxes: Floats, where: sa.ColumnElement[bool], order: str = "id"
) -> Layer:
    """Rows of a layer that have a shape in any of the boxes (N, 4), those of neighbouring boxes asked for as one."""
    wanted = [table.c[name] for name in (*columns, "geometry")]
    rows = bulk.read(conn, sa.select(*wanted).where(where, asked_boxes(conn, table, boxes)).order_by(table.c[order]))
    rows = rows.dropna(subset="geometry").reset_index(drop=True)
    return Layer(rows, shapely.bounds(rows["geometry"].to_numpy()))


def issue_rows(conn: sa.Connection, typed: Sequence[str]) -> pd.DataFrame:
    """The rows of issues in the order of their names, whatever the case these were typed in. Raises UnknownNameError."""
    table = schema.issues
    rows = bulk.read(conn, sa.select(table).where(bulk.any_of(conn, table.c.issue, list(dict.fromkeys(typed)))))
    other = [name for name in typed if name not in set(rows["issue"])]
    rows = pd.concat([rows, *(issue_row(conn, name).to_frame().T.astype(rows.dtypes) for name in other)], ignore_index=True)
    names = dict(zip(other, rows["issue"].iloc[len(rows) - len(other) :], strict=True))
    found: pd.DataFrame = (
        rows.drop_duplicates("issue").set_index("issue", drop=False).loc[[names.get(name, name) for name in typed]]
    )
    return found.reset_index(drop=True)


def named(conn: sa.Connection, table: sa.Table, laterals: Sequence[str] | pd.Series) -> sa.ColumnElement[bool]:
    """The condition that a row is one of these laterals'."""
    return bulk.any_of(conn, table.c.lateral, pd.Series(laterals).dropna().unique().tolist())


def asked_boxes(conn: sa.Connection, table: sa.Table, boxes: Floats) -> sa.ColumnElement[bool]:
    """The condition that a shape may touch one of the boxes (N, 4); boxes that touch one another are asked for as one."""
    asked = shapely.bounds(shapely.get_parts(shapely.union_all(shapely.box(*boxes.T))))
    return sa.or_(*(bulk.in_box(conn, table, box) for box in asked.tolist()))


def kind_near(conn: sa.Connection, kind: str, laterals: pd.Series, boxes: Floats) -> pd.DataFrame:
    """Issues of a kind on some laterals or in some boxes (N, 4), in order of name: issue, lateral, geometry."""
    table = schema.issues
    near = sa.or_(named(conn, table, laterals), asked_boxes(conn, table, boxes))
    columns = (table.c.issue, table.c.lateral, table.c.geometry)
    return bulk.read(conn, sa.select(*columns).where(table.c.kind == kind, near).order_by(table.c.issue))


def current_of(conn: sa.Connection, table: sa.Table, laterals: Sequence[str]) -> pd.DataFrame:
    """The current rows of some laterals in a recorded table, in order of id."""
    return bulk.read(conn, sa.select(table).where(named(conn, table, laterals), recorded.is_current(table)).order_by(table.c.id))


def split(rows: pd.DataFrame, column: str, names: Sequence[str]) -> dict[str, pd.DataFrame]:
    """The rows of each name, numbered anew, in their order; none where a name has none."""
    places = rows.groupby(column, sort=False).indices
    nowhere = np.empty(0, dtype=np.int64)
    return {name: rows.iloc[places.get(name, nowhere)].reset_index(drop=True) for name in dict.fromkeys(names)}


def sightings_of(conn: sa.Connection, issues: Sequence[str]) -> dict[str, pd.DataFrame]:
    """What saw each issue, in order of time. Sightings and placed rows bear the id of the observation that they come from."""
    seen, of = schema.placed_observations, schema.issue_sightings
    columns = [of.c.issue, *(seen.c[name] for name in OF_SIGHTING), seen.c.reason]
    mine = bulk.any_of(conn, of.c.issue, list(issues))
    rows = bulk.read(conn, sa.select(*columns).join_from(of, seen, of.c.id == seen.c.id).where(mine).order_by(seen.c.id))
    known = bulk.any_of(conn, schema.runs.c.run, list(rows["run"].dropna().unique()))
    wanted = [schema.runs.c[name] for name in OF_RUN]
    runs = bulk.read(conn, sa.select(*wanted).where(recorded.is_current(schema.runs), known))
    rows = rows.rename(columns={"reason": "placed_why"}).merge(runs, on="run", how="left")
    told = split(rows.sort_values(["ran_on", "run", "measure_m"], kind="stable"), "issue", issues)
    return {name: of_it.drop(columns="issue") for name, of_it in told.items()}


def located_depths(store: Store, conn: sa.Connection, names: pd.Series, lines: Lines) -> dict[str, pd.DataFrame]:
    """Depths that were found from above on laterals (names and lines): measure_m, depth_m, how."""
    seen, said = schema.placed_observations, schema.observations
    of_heads = bulk.read(
        conn,
        sa.select(seen.c.lateral, seen.c.run, seen.c.ran_on, seen.c.measure_m, said.c.depth_m)
        .join_from(seen, said, seen.c.id == said.c.id)
        .where(bulk.any_of(conn, seen.c.lateral, names.tolist()), said.c.depth_m.is_not(None), seen.c.measure_m.is_not(None))
        .order_by(seen.c.ran_on, seen.c.id),
    )
    of_heads["how"] = "the camera's head as located by run " + of_heads["run"] + of_heads["ran_on"].dt.strftime(" on %Y-%m-%d")
    points = current_of(conn, schema.located_points, names.tolist()).dropna(subset=["x", "y", "depth_m"])
    points = points.rename(columns={"x": "located_x", "y": "located_y", "crs": "located_crs"}).reset_index(drop=True)
    xy = with_located_points(points, store.crs)[["located_map_x", "located_map_y"]].to_numpy(float)
    measure, off = measure_of(lines, pd.Index(names).get_indexer(points["lateral"]), xy)
    points = points.assign(measure_m=measure, how="a point located from above")[off <= OFF_LINE_M]
    columns = ["lateral", "measure_m", "depth_m", "how"]
    return split(pd.concat([of_heads[columns], points[columns]], ignore_index=True), "lateral", names.tolist())


def which_near(issues: pd.DataFrame, rows: pd.DataFrame, views: Floats) -> list[tuple[str, ...]]:
    """Of some issues (issue, lateral, geometry; in order), those on the lateral of each row or within its view (N, 4)."""
    boxes = shapely.bounds(issues["geometry"].to_numpy()).reshape(-1, 4)
    lateral, name = issues["lateral"].to_numpy(object), issues["issue"].to_numpy(object)
    near = [
        (lateral == own) | np.isin(np.arange(len(boxes)), _touching(boxes, view))
        for own, view in zip(rows["lateral"], views, strict=True)
    ]
    return [tuple(name[here].tolist()) for here in near]
