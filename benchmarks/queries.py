"""The planner's questions at the size of a city, beside the same SQL by hand, and beside geopandas reading all and filtering.

Run it as ``python benchmarks/queries.py [--issues N] [--postgis URL]`` (default 500,000 issues of 100,000 laterals). For each
question: milliseconds of our condition sent as SQL, of the same SQL written by hand, of the whole answer as a GeoDataFrame, and
of geopandas (the GeoPackage read by pyogrio, before it filters). Medians.
"""

import argparse
import statistics
import tempfile
import time
from collections.abc import Callable
from datetime import date
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pyproj
import shapely
import sqlalchemy as sa

from sewermap.answers import defects as answer
from sewermap.store import bulk
from sewermap.store.session import Store, create, open_store
from sewermap.store.tables import issues, lateral_states

CRS = "EPSG:26910"
STREETS = 2_000
SINCE = date(2023, 9, 1)
BOX = shapely.box(510_000, 4_510_000, 510_100, 4_510_100)
BY_HAND = {
    "street": "street = 'Street 0777' AND state <> 'mended'",
    "street, kind, grade, since": "street = 'Street 0777' AND kind = 'roots' AND grade >= 4 AND last_seen >= '2023-09-01'"
    " AND state <> 'mended'",
    "kind, grade, since": "kind = 'collapse' AND grade >= 5 AND last_seen >= '2025-12-20' AND state <> 'mended'",
}
FILTERS = {
    "street": answer.Filters(street="Street 0777"),
    "street, kind, grade, since": answer.Filters(street="Street 0777", kind="roots", grade=4, since=SINCE),
    "kind, grade, since": answer.Filters(kind="collapse", grade=5, since=date(2025, 12, 20)),
    "box of 100 m": answer.Filters(area=gpd.GeoDataFrame(geometry=[BOX], crs=CRS)),
}


def rows_of(count: int) -> pd.DataFrame:
    """Invented issues all over a city."""
    rng = np.random.default_rng(11)
    xy = rng.random((count, 2)) * [20_000, 20_000] + [500_000, 4_500_000]
    kinds = np.array(["roots", "crack", "grease", "sag", "offset joint", "collapse"], dtype=object)
    days = np.datetime64("2019-01-01", "s") + rng.integers(0, 2557, count).astype("timedelta64[D]")
    number = np.arange(1, count + 1)
    return pd.DataFrame(
        {
            "id": number,
            "issue": pd.Series(number, dtype="str"),
            "lateral": pd.Series(number // 5, dtype="str"),
            "street": "Street " + pd.Series(rng.integers(0, STREETS, count), dtype="str").str.zfill(4),
            "kind": kinds[rng.integers(0, len(kinds), count)],
            "grade": rng.integers(1, 6, count).astype(float),
            "state": np.array(["same", "new", "mended"], dtype=object)[rng.integers(0, 3, count)],
            "measure_m": rng.random(count) * 20,
            "first_seen": days,
            "last_seen": days,
            "geometry": pd.Series(list(shapely.points(xy)), dtype=object),
        }
    )


def made(where: str, rows: pd.DataFrame) -> Store:
    """A store that holds the issues and their streets."""
    create(where, pyproj.CRS(CRS))
    store = open_store(where)
    with store.writing() as conn:
        bulk.insert(conn, issues, rows)
        first = rows.drop_duplicates("lateral")
        bulk.insert(conn, lateral_states, first[["id", "lateral", "street"]])
        conn.exec_driver_sql("ANALYZE")
    return open_store(where, read_only=True)


def milliseconds(job: Callable[[], object], times: int = 15) -> float:
    """The median of some trials, after one that does not count."""
    job()
    seconds = []
    for _ in range(times):
        begin = time.perf_counter()
        job()
        seconds.append(time.perf_counter() - begin)
    return statistics.median(seconds) * 1000


def sql_ms(store: Store, name: str) -> tuple[float, float]:
    """Our conditions as SQL, and the same by hand; both fetch all columns of the answer."""
    with store.reading() as conn:
        conditions = answer.conditions(store, FILTERS[name])
        if FILTERS[name].area is not None:
            conditions.append(bulk.in_box(conn, issues, BOX.bounds))
        ours = sa.select(*(issues.c[column] for column in answer.COLUMNS)).where(*conditions)
        text = str(ours.compile(conn, compile_kwargs={"literal_binds": True})).replace("%%", "%")
        hand = text.split("WHERE")[0] + f"WHERE {BY_HAND[name]}" if name in BY_HAND else text
        cursor = conn.connection.cursor()
        return tuple(milliseconds(lambda query=query: cursor.execute(query).fetchall()) for query in (text, hand))


def main() -> None:
    """Print a line a question and engine."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--issues", type=int, default=500_000)
    options.add_argument("--postgis", metavar="URL", help="an empty database with PostGIS, to be filled")
    asked = options.parse_args()
    rows = rows_of(asked.issues)
    with tempfile.TemporaryDirectory() as folder:
        file = str(Path(folder) / "city.gpkg")
        stores = {"GeoPackage": made(file, rows)} | ({"PostGIS": made(asked.postgis, rows)} if asked.postgis else {})
        reading = milliseconds(lambda: gpd.read_file(file, layer="issues", engine="pyogrio"), times=1)
        print(f"{asked.issues} issues; geopandas reads them all in {reading:.0f} ms (filtering comes on top)")
        for engine, store in stores.items():
            for name, filters in FILTERS.items():
                ours, hand = sql_ms(store, name)
                whole = milliseconds(lambda: answer.defects(store, filters))  # noqa: B023 - called at once
                found = len(answer.defects(store, filters))
                print(
                    f"{engine:10}  {name:27} {found:6} rows  SQL {ours:7.2f} ms, by hand {hand:7.2f} ms"
                    f" (ratio {ours / hand:4.2f})  whole answer {whole:7.1f} ms; reading all / SQL {reading / ours:7.0f}"
                )


if __name__ == "__main__":
    main()
