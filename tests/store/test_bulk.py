"""Whole columns into tables and out of them, on both engines alike."""

import datetime as dt
import sqlite3

import numpy as np
import pandas as pd
import psycopg
import pytest
import shapely
import sqlalchemy as sa
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pandas.testing import assert_frame_equal

from sewermap.errors import StoreError
from sewermap.store import bulk
from sewermap.store.check import check
from sewermap.store.session import Store
from sewermap.store.tables import issues, lateral_states, laterals, observations, parcels, placed_observations, source_files

HARD_TEXTS = ['it\'s "so"', "two\nlines\r\n", "tab\there", "back\\slash \\N \\.", "𝄞 Röhre 管", "", " ", "=1+1", "NULL", "\\n"]


def stored(store: Store, table: sa.Table) -> pd.DataFrame:
    """All rows of a table."""
    with store.reading() as conn:
        return bulk.read(conn, table)


def put(store: Store, table: sa.Table, frame: pd.DataFrame) -> None:
    """Insert in a transaction of its own."""
    with store.writing() as conn:
        bulk.insert(conn, table, frame)


@pytest.mark.parametrize("number", [1, 400, 1500])
def test_rows_come_back_typed(store: Store, points, number: int) -> None:
    """What goes in comes back in order, typed, with missing values missing and columns not given empty."""
    frame = points(number)
    put(store, placed_observations, frame)
    back = stored(store, placed_observations)
    assert_frame_equal(back[frame.columns.tolist()], frame)
    assert back["id"].dtype == np.int64
    assert back["ran_on"].dtype == "datetime64[s]"
    assert back["street"].isna().all()
    assert back["street"].dtype == "str"
    assert back["source_row"].isna().all()
    assert back["source_row"].dtype == np.float64
    assert check(store) == []


def test_an_empty_table_reads_typed(store: Store) -> None:
    """Without rows the columns have their types all the same, and writing nothing does nothing."""
    put(store, placed_observations, pd.DataFrame({"id": []}))
    back = stored(store, placed_observations)
    assert len(back) == 0
    assert list(back.columns) == [column.name for column in placed_observations.c]
    assert back["id"].dtype == np.int64
    assert back["measure_m"].dtype == np.float64
    assert back["kind"].dtype == "str"
    assert back["ran_on"].dtype == "datetime64[s]"
    assert back["accuracy_assumed"].dtype == "boolean"
    assert back["geometry"].dtype == object


def test_hard_texts_survive(store: Store) -> None:
    """Quotes, line ends, tabs, backslashes, signs beyond the first plane and COPY's own signs come back as they went in."""
    frame = pd.DataFrame({"id": range(1, len(HARD_TEXTS) + 1), "remark": pd.Series(HARD_TEXTS, dtype="str")})
    put(store, placed_observations, frame)
    assert stored(store, placed_observations)["remark"].tolist() == HARD_TEXTS


def test_texts_sort_alike(store: Store) -> None:
    """ORDER BY gives the same order on both engines: that of code points, whatever the server's language."""
    texts = ["b", "a", "B", "ä", "Z", "z", "-1", "10", "9", "a b", "ab"]
    put(store, placed_observations, pd.DataFrame({"id": range(1, len(texts) + 1), "remark": pd.Series(texts, dtype="str")}))
    with store.reading() as conn:
        query = sa.select(placed_observations.c.remark).order_by(placed_observations.c.remark)
        assert bulk.read(conn, query)["remark"].tolist() == sorted(texts)


def test_lines_keep_their_height(store: Store) -> None:
    """Z is kept where it is, M is dropped, an empty line and no line at all come back as they were."""
    shapes = shapely.from_wkt(
        ["LINESTRING Z (0 0 1, 3 4 2)", "LINESTRING (0 0, 3 4)", "LINESTRING EMPTY", None, "LINESTRING ZM (0 0 1 7, 3 4 2 8)"]
    )
    frame = pd.DataFrame({"id": range(1, 6), "lateral": pd.Series(list("abcde"), dtype="str"), "geometry": shapes})
    put(store, laterals, frame)
    back = stored(store, laterals)["geometry"].tolist()
    assert back[:4] == shapes[:4].tolist()
    assert shapely.to_wkt(back[4]) == "LINESTRING Z (0 0 1, 3 4 2)"
    assert [shapely.has_z(shape) for shape in back[:2]] == [True, False]
    assert check(store) == []


def test_single_parts_become_multi(store: Store) -> None:
    """A layer of multi-polygons takes polygons too."""
    put(store, source_files, pd.DataFrame({"id": [1], "path": ["a.gpkg"], "section": ["parcels"], "sha256": ["0"]}))
    frame = pd.DataFrame(
        {"id": [1], "property": ["12"], "content": ["c"], "loaded_in": [1], "geometry": [shapely.box(0, 0, 2, 1)]}
    )
    put(store, parcels, frame)
    assert stored(store, parcels)["geometry"][0] == shapely.MultiPolygon([shapely.box(0, 0, 2, 1)])
    assert check(store) == []


def test_another_kind_of_geometry_is_refused(store: Store) -> None:
    """A point is no lateral."""
    frame = pd.DataFrame({"id": [1], "lateral": ["a"], "geometry": [shapely.Point(0, 0)]})
    with pytest.raises(StoreError, match="holds LINESTRING geometries, not POINT"):
        put(store, laterals, frame)


def test_a_broken_whole_number_is_refused(store: Store) -> None:
    """SQLite would keep 3.5 in a column of whole numbers, PostgreSQL would not: neither gets it."""
    with pytest.raises(ValueError, match=r"holds whole numbers, not 3.5"):
        put(store, placed_observations, pd.DataFrame({"id": [1], "grade": [3.5]}))


def test_a_strange_column_is_refused(store: Store) -> None:
    """A column that the table does not have would be lost, so it is refused."""
    with pytest.raises(KeyError, match="has no column colour"):
        put(store, placed_observations, pd.DataFrame({"id": [1], "colour": ["red"]}))


def test_foreign_keys_hold(store: Store) -> None:
    """A row that points to nothing is refused on both engines."""
    frame = pd.DataFrame({"id": [1], "run": ["R"], "kind": ["roots"], "content": ["c"], "loaded_in": [77]})
    with pytest.raises((sqlite3.IntegrityError, psycopg.IntegrityError)):
        put(store, observations, frame)


def test_next_id(store: Store, points) -> None:
    """Numbers go on from the highest there is."""
    with store.writing() as conn:
        assert bulk.next_id(conn, placed_observations) == 1
        bulk.insert(conn, placed_observations, points(3, 40))
        assert bulk.next_id(conn, placed_observations) == 43


@pytest.mark.parametrize(("number", "gone"), [(20, 5), (3000, 5), (3000, 2000), (3000, 3000)])
def test_deleting_by_ids(store: Store, points, number: int, gone: int) -> None:
    """What is deleted is gone from table and index, however much of it; the rest stays."""
    put(store, placed_observations, points(number))
    with store.writing() as conn:
        bulk.delete_ids(conn, placed_observations, range(1, gone + 1))
        bulk.delete_ids(conn, placed_observations, [])
    assert stored(store, placed_observations)["id"].tolist() == list(range(gone + 1, number + 1))
    assert check(store) == []


def test_deleting_by_condition_and_name(store: Store, points) -> None:
    """Deleting takes a condition or None for all; delete_named a list of names, quotes in them or not."""
    put(store, placed_observations, points(1000))
    with store.writing() as conn:
        bulk.delete_named(conn, placed_observations, placed_observations.c.run, ["R-1", "R-2", "it's"])
        bulk.delete(conn, placed_observations, placed_observations.c.id > 100)
    assert stored(store, placed_observations)["id"].tolist() == [1, 2, 3, 4, *range(15, 101)]
    assert check(store) == []
    with store.writing() as conn:
        bulk.delete(conn, placed_observations, None)
    assert len(stored(store, placed_observations)) == 0
    assert check(store) == []


@pytest.mark.parametrize(("number", "touched"), [(30, 10), (3000, 2500)])
def test_setting_columns(store: Store, points, number: int, touched: int) -> None:
    """Columns, geometries among them, are written by id; what does not exist is passed over; the rest stays as it was."""
    before = points(number)
    put(store, placed_observations, before)
    ids = np.arange(touched, 0, -1)
    moved = np.empty(touched + 1, dtype=object)
    moved[:-1] = shapely.points(np.column_stack([ids + 600_000.25, ids + 5_500_000.75]))
    moved[-1] = shapely.Point(1e6, 1e6)
    with store.writing() as conn:
        bulk.set_columns(conn, placed_observations, [*ids, 10**6], geometry=moved, reason="it's moved", grade=np.nan)
        bulk.set_columns(conn, placed_observations, [], grade=1.0)
    after = stored(store, placed_observations)
    assert after["geometry"].tolist()[:touched] == moved[:-1][::-1].tolist()
    assert after["geometry"].tolist()[touched:] == before["geometry"].tolist()[touched:]
    assert (after["reason"][:touched] == "it's moved").all()
    assert after["reason"][touched:].isna().all()
    assert after["grade"][:touched].isna().all()
    assert after["run"].tolist() == before["run"].tolist()
    assert check(store) == []


def test_single_rows_through_sqlalchemy(store: Store) -> None:
    """The column type itself takes and gives shapely geometries, one by one."""
    line = shapely.LineString([(0, 0, 1), (3, 4, 2)])
    with store.writing() as conn:
        conn.execute(
            sa.insert(laterals), [{"id": 1, "lateral": "a", "geometry": line}, {"id": 2, "lateral": "b", "geometry": None}]
        )
        assert conn.execute(sa.select(laterals.c.geometry).order_by(laterals.c.id)).scalars().all() == [line, None]


def test_rows_come_in_the_order_of_the_query(store: Store, points) -> None:
    """A query's order is kept, its labels are the names, joins and counts work."""
    put(store, placed_observations, points(50))
    table = placed_observations
    with store.reading() as conn:
        query = sa.select(table.c.id.label("number"), sa.func.count().over().label("all")).order_by(table.c.id.desc()).limit(3)
        frame = bulk.read(conn, query)
    assert frame.to_dict("list") == {"number": [50, 49, 48], "all": [50.0, 50.0, 50.0]}


def test_many_values_in_a_condition(store: Store, points) -> None:
    """any_of takes more values than SQLite takes parameters."""
    put(store, placed_observations, points(20))
    with store.reading() as conn:
        ids = [3, *range(1000, 60_000)]
        query = sa.select(placed_observations.c.id).where(bulk.any_of(conn, placed_observations.c.id, ids))
        assert bulk.read(conn, query)["id"].tolist() == [3]


def test_server_programs_see_the_layers(postgis: Store, points) -> None:
    """PostGIS's own list of layers knows kind and SRID from our CHECKs, and the CHECKs hold."""
    put(postgis, placed_observations, points(2))
    with psycopg.connect(postgis.where) as conn:
        rows = conn.execute("SELECT type, srid FROM geometry_columns WHERE f_table_name = 'placed_observations'").fetchall()
        assert rows == [("POINT", 32633)]
        with pytest.raises(psycopg.errors.CheckViolation):
            conn.execute("UPDATE placed_observations SET geometry = ST_SetSRID(geometry, 4326)")


TEXT = st.text(st.characters(codec="utf-8", exclude_characters="\0"))
NUMBER = st.floats(allow_nan=True, allow_infinity=False)
DAY = st.dates(dt.date(1, 1, 1), dt.date(9999, 12, 31))
COORDINATE = st.floats(-1e7, 1e7)
ROW = st.tuples(
    st.none() | TEXT,
    NUMBER,
    st.none() | st.integers(-(2**31), 2**31 - 1),
    st.none() | st.booleans(),
    st.none() | DAY,
    st.none() | st.tuples(COORDINATE, COORDINATE, st.none() | COORDINATE),
)


def frame_of(rows: list[tuple]) -> pd.DataFrame:
    """A frame for placed_observations of text, number, whole number, yes/no, day and place."""
    texts, numbers, wholes, flags, days, places = zip(*rows, strict=True)
    shapes = np.empty(len(rows), dtype=object)
    shapes[:] = [None if place is None else shapely.Point(*(part for part in place if part is not None)) for place in places]
    return pd.DataFrame(
        {
            "id": range(1, len(rows) + 1),
            "ran_on": np.array(days, dtype="datetime64[D]").astype("datetime64[s]"),
            "measure_m": np.array(numbers, dtype=float),
            "grade": np.array(wholes, dtype=float),
            "accuracy_assumed": pd.array(flags, dtype="boolean"),
            "remark": pd.Series(texts, dtype="str"),
            "geometry": shapes,
        }
    )


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None, max_examples=25)
@given(st.lists(ROW, min_size=1, max_size=20))
def test_any_values_survive(store: Store, rows: list[tuple]) -> None:
    """Whatever text, number, day, yes/no and place goes in comes back the same, on both engines."""
    frame = frame_of(rows)
    with store.writing() as conn:
        bulk.delete(conn, placed_observations, None)
        bulk.insert(conn, placed_observations, frame)
        back = bulk.read(
            conn, sa.select(*(placed_observations.c[name] for name in frame.columns)).order_by(placed_observations.c.id)
        )
    assert_frame_equal(back, frame, check_exact=True)
    assert [shapely.to_wkt(shape, -1) for shape in back["geometry"]] == [shapely.to_wkt(shape, -1) for shape in frame["geometry"]]
    assert check(store) == []


def test_a_box_finds_what_may_lie_in_it(store: Store) -> None:
    """By the spatial index, never fewer rows than the exact test finds; the same on both engines for boxes a metre apart."""
    xy = np.array([(x, y) for x in range(500_000, 500_100, 10) for y in range(4_000_000, 4_000_100, 10)], dtype=float)
    with store.writing() as conn:
        geometry = pd.Series(list(shapely.points(xy)), dtype=object)
        bulk.insert(conn, issues, pd.DataFrame({"id": range(1, 101), "issue": "x", "geometry": geometry}))
    with store.reading() as conn:
        box = (500_011.0, 4_000_011.0, 500_049.0, 4_000_029.0)
        found = bulk.read(conn, sa.select(issues.c.id).where(bulk.in_box(conn, issues, box)).order_by(issues.c.id))
    inside = ((xy > (500_011, 4_000_011)) & (xy < (500_049, 4_000_029))).all(axis=1)
    assert found["id"].tolist() == (np.flatnonzero(inside) + 1).tolist()


def test_values_of_a_column_are_told_in_order(store: Store) -> None:
    """Each once, without the missing ones; of an empty table none."""
    with store.writing() as conn:
        assert bulk.values_of(conn, lateral_states.c.street) == []
        streets = pd.Series(["Mill Row", None, "Dyers Row", "Mill Row"], dtype="str")
        bulk.insert(conn, lateral_states, pd.DataFrame({"id": [1, 2, 3, 4], "lateral": list("abcd"), "street": streets}))
        assert bulk.values_of(conn, lateral_states.c.street) == ["Dyers Row", "Mill Row"]
