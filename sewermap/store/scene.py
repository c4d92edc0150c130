"""Everything that readings are placed by, read out of the recorded tables."""

from collections.abc import Collection
from dataclasses import replace

import numpy as np
import pandas as pd
import pyproj
import sqlalchemy as sa
from numpy.typing import NDArray

from sewermap.line.known_points import ALWAYS_KNOWN, Ground
from sewermap.line.lines_taken import lines_taken
from sewermap.line.place_rules import rules_from_texts
from sewermap.line.scene import OF_OWNER, Scene, scene_of, with_push
from sewermap.store import bulk, recorded
from sewermap.store import tables as schema
from sewermap.store.session import Store
from sewermap.store.sketches import current_lines, read_sketches


def read_scene(store: Store, conn: sa.Connection, located: pd.DataFrame) -> Scene:
    """The whole database's laterals, known points and runs; of laterals without a drawn line with the best that was sketched.

    ``located`` as ``read_located`` gives them.
    """
    ground = Ground(*(recorded.current(conn, table) for table in (schema.parcels, schema.buildings, schema.referents)))
    lines = current_lines(conn)
    sketches = read_sketches(store, conn, lines, ground, located)
    taken = lines_taken(lines, sketches)
    scene = scene_of(
        rules_from_texts(recorded.rules(conn)),
        taken,
        ground,
        recorded.with_source(conn, schema.runs),
        metres_per_unit=store.metres_per_unit,
    )
    nowhere = lines.loc[~lines["lateral"].isin(taken["lateral"]), list(OF_OWNER)]
    return replace(scene, sketches=sketches, nowhere=nowhere)


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
    xy = _in_the_maps_crs(observations[["located_x", "located_y"]], observations["located_crs"], crs)
    return observations.assign(located_map_x=xy[:, 0], located_map_y=xy[:, 1])


def read_located(conn: sa.Connection, crs: pyproj.CRS, lateral: str | None = None) -> pd.DataFrame:
    """Current rows of located_points (all, or of one lateral) with their source, and with map_x and map_y: x and y out of their
    own CRS into the map's.
    """
    rows = recorded.with_source(conn, schema.located_points)
    rows = rows if lateral is None else rows[(rows["lateral"] == lateral).to_numpy()].reset_index(drop=True)
    xy = _in_the_maps_crs(rows[["x", "y"]], rows["crs"], crs)
    return rows.assign(map_x=xy[:, 0], map_y=xy[:, 1])


def _in_the_maps_crs(written: pd.DataFrame, written_in: pd.Series, crs: pyproj.CRS) -> NDArray[np.float64]:
    """Two columns of coordinates (N, 2) out of the CRS that each row names (missing: the map's) into the map's."""
    xy = written.to_numpy(float).copy()
    for name in written_in[np.isfinite(xy).all(axis=1)].dropna().unique():
        rows = (written_in == name).to_numpy()
        turn = pyproj.Transformer.from_crs(pyproj.CRS.from_user_input(name), crs, always_xy=True)
        xy[rows, 0], xy[rows, 1] = turn.transform(xy[rows, 0], xy[rows, 1])
    return xy
