"""Everything that readings are placed by, read out of the recorded tables."""

from collections.abc import Collection

import numpy as np
import pandas as pd
import pyproj
import sqlalchemy as sa

from sewermap.line.known_points import ALWAYS_KNOWN, Ground
from sewermap.line.place_rules import rules_from_texts
from sewermap.line.scene import Scene, scene_of, with_push
from sewermap.store import bulk, recorded
from sewermap.store import tables as schema
from sewermap.store.session import Store


def read_scene(store: Store, conn: sa.Connection) -> Scene:
    """The whole database's laterals, known points and runs."""
    ground = Ground(*(recorded.current(conn, table) for table in (schema.parcels, schema.buildings, schema.referents)))
    return scene_of(
        rules_from_texts(recorded.rules(conn)),
        recorded.with_source(conn, schema.lateral_lines),
        ground,
        recorded.with_source(conn, schema.runs),
        metres_per_unit=store.metres_per_unit,
    )


def read_observations(conn: sa.Connection, scene: Scene, names: Collection[str] | None, crs: pyproj.CRS) -> pd.DataFrame:
    """Current observations of the named laterals' runs (None: of all), with ``push``, the row of their run, and located heads
    in the map's CRS.
    """
    rows = with_push(recorded.with_source(conn, schema.observations), scene)
    if names is not None:
        rows = rows[scene.runs["lateral"].isin(names).to_numpy()[rows["push"]]]
    return with_located_points(rows.reset_index(drop=True), crs)


def read_meant_fixes(conn: sa.Connection, scene: Scene, crs: pyproj.CRS) -> pd.DataFrame:
    """Like ``read_observations``, but only those that could fix a counter: a small part of all."""
    table = schema.observations
    kinds = (*ALWAYS_KNOWN, "material change")
    query = sa.select(table).where(
        recorded.is_current(table), sa.or_(table.c.kind.in_(kinds), table.c.referent.is_not(None), table.c.located_x.is_not(None))
    )
    rows = bulk.read(conn, query.order_by(table.c.id))
    return with_located_points(with_push(rows, scene).reset_index(drop=True), crs)


def with_located_points(observations: pd.DataFrame, crs: pyproj.CRS) -> pd.DataFrame:
    """The observations with located_map_x and located_map_y: located_x, located_y out of their own CRS into the map's."""
    xy = observations[["located_x", "located_y"]].to_numpy(float).copy()
    written_in = observations["located_crs"]
    for name in written_in[np.isfinite(xy).all(axis=1)].dropna().unique():
        rows = (written_in == name).to_numpy()
        turn = pyproj.Transformer.from_crs(pyproj.CRS.from_user_input(name), crs, always_xy=True)
        xy[rows, 0], xy[rows, 1] = turn.transform(xy[rows, 0], xy[rows, 1])
    return observations.assign(located_map_x=xy[:, 0], located_map_y=xy[:, 1])
