"""What the store's tests share: a small store on each engine, and frames to put in."""

from pathlib import Path

import numpy as np
import pandas as pd
import pyproj
import pytest
import shapely

from sewermap.store.session import Store, create, open_store

CRS = "EPSG:32633"


@pytest.fixture
def store(engine_where: str) -> Store:
    """An empty store, once on each engine."""
    create(engine_where, pyproj.CRS(CRS))
    return open_store(engine_where, patience_s=0.2)


@pytest.fixture
def gpkg(tmp_path: Path) -> Store:
    """An empty store in a GeoPackage."""
    where = tmp_path / "file.gpkg"
    create(where, pyproj.CRS(CRS))
    return open_store(where, patience_s=0.2)


@pytest.fixture
def postgis(postgis_url: str) -> Store:
    """An empty store in PostGIS."""
    create(postgis_url, pyproj.CRS(CRS))
    return open_store(postgis_url, patience_s=0.2)


@pytest.fixture
def points():
    """A maker of frames for placed_observations: ``points(n, first_id)``."""
    return points_frame


def points_frame(number: int, first_id: int = 1) -> pd.DataFrame:
    """Rows for placed_observations; every seventh has no geometry. Coordinates as in a UTM zone."""
    ids = np.arange(first_id, first_id + number)
    rng = np.random.default_rng(first_id)
    xy = rng.random((number, 2)) * [3_000, 2_000] + [500_000, 5_400_000]
    geometry = np.empty(number, dtype=object)
    geometry[:] = shapely.points(xy)
    geometry[::7] = None
    return pd.DataFrame(
        {
            "id": ids,
            "run": pd.Series([f"R-{number // 5}" for number in ids], dtype="str"),
            "ran_on": np.datetime64("2019-03-01", "s") + (ids % 900) * np.timedelta64(86_400, "s"),
            "kind": pd.Series(["roots", None, "crack", "grease"] * (number // 4 + 1), dtype="str")[:number],
            "measure_m": rng.random(number) * 30,
            "grade": np.where(ids % 3 == 0, np.nan, ids % 5 + 1.0),
            "accuracy_assumed": pd.array(ids % 2 == 0, dtype="boolean"),
            "geometry": geometry,
        }
    )
