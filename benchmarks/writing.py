"""Writing points with their spatial index: sewermap's store beside pyogrio (GDAL), the same rows, in turns.

Run it as ``python benchmarks/writing.py [ROWS]`` (default 150,000; also try 1,000,000). Both write a GeoPackage with an R-tree,
pyogrio without Arrow. The ratio is sewermap's time through pyogrio's: below 1 sewermap is faster. The store also keeps
foreign keys and ordinary indexes, and one transaction over all tables; a second figure leaves the ordinary indexes out, as
pyogrio makes none.
"""

import statistics
import sys
import tempfile
import time
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import pyproj
import shapely

from sewermap.store import bulk
from sewermap.store.session import create, open_store
from sewermap.store.tables import placed_observations

ROUNDS = 3
CRS = "EPSG:32633"


def rows_of(number: int) -> pd.DataFrame:
    """Observations as a load leaves them, ``number`` of them."""
    rng = np.random.default_rng(7)
    xy = rng.random((number, 2)) * [30_000, 20_000] + [500_000, 5_400_000]
    ids = np.arange(1, number + 1)
    geometry = np.empty(number, dtype=object)
    geometry[:] = shapely.points(xy)
    words = {"kind": ("roots", "crack", "grease", "joint"), "side": ("private", "public"), "street": ("Mill Lane", "Dyers Row")}
    return pd.DataFrame(
        {
            "id": ids,
            "run": pd.Series(np.char.add("R-", (ids // 5).astype(str)), dtype="str"),
            "ran_on": np.datetime64("2012-01-01", "s") + (ids % 4_000) * np.timedelta64(86_400, "s"),
            **{name: pd.Series(np.array(some)[ids % len(some)], dtype="str") for name, some in words.items()},
            **{name: rng.random(number) * 30 for name in ("measure_m", "sigma_m", "within_m")},
            "x": xy[:, 0],
            "y": xy[:, 1],
            "grade": ids % 5 + 1.0,
            "geometry": geometry,
        }
    )


def seconds_of_store(rows: pd.DataFrame, folder: Path, *, plain_indexes: bool) -> float:
    """Seconds that the store takes for the rows, commit included."""
    where = folder / "ours.gpkg"
    create(where, pyproj.CRS(CRS))
    store = open_store(where)
    if not plain_indexes:
        with store.writing() as conn:
            for index in placed_observations.indexes:
                index.drop(conn)
    start = time.perf_counter()
    with store.writing() as conn:
        bulk.insert(conn, placed_observations, rows)
    return time.perf_counter() - start


def seconds_of_pyogrio(rows: pd.DataFrame, folder: Path) -> float:
    """Seconds that pyogrio takes for the same rows, commit included."""
    frame = gpd.GeoDataFrame(rows, geometry="geometry", crs=CRS)
    start = time.perf_counter()
    pyogrio.write_dataframe(frame, folder / "theirs.gpkg", layer="placed_observations", use_arrow=False)
    return time.perf_counter() - start


def seconds_of_reading(folder: Path) -> float:
    """Seconds that reading all rows back takes, typed and with geometries."""
    start = time.perf_counter()
    with open_store(folder / "ours.gpkg").reading() as conn:
        bulk.read(conn, placed_observations)
    return time.perf_counter() - start


def main(number: int) -> None:
    """Measure both in turns and print the medians."""
    rows = rows_of(number)
    taken: dict[str, list[float]] = {"store": [], "store without plain indexes": [], "pyogrio": [], "reading back": []}
    for _ in range(ROUNDS):
        for plain_indexes, name in ((False, "store without plain indexes"), (True, "store")):
            with tempfile.TemporaryDirectory() as folder:
                taken[name].append(seconds_of_store(rows, Path(folder), plain_indexes=plain_indexes))
                if plain_indexes:
                    taken["reading back"].append(seconds_of_reading(Path(folder)))
        with tempfile.TemporaryDirectory() as folder:
            taken["pyogrio"].append(seconds_of_pyogrio(rows, Path(folder)))
    middle = {name: statistics.median(times) for name, times in taken.items()}
    for name, seconds in middle.items():
        print(f"{name:28} {seconds:7.2f} s {number / seconds / 1000:9.0f} thousand rows/s")
    for name in ("store", "store without plain indexes"):
        print(f"ratio {name} / pyogrio: {middle[name] / middle['pyogrio']:.2f}")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 150_000)
