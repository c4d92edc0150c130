"""What was known on a day: told again from what had happened until then, by the functions that loading uses."""

import datetime as dt

import pandas as pd
import pytest

import sewermap
from sewermap.answers.as_of import issues_on, issues_told_again, last_day, sightings_on
from sewermap.book import Book

LAST = dt.date(2025, 12, 31)
PLAN = """
crs = "EPSG:26910"
[laterals]
from = "laterals.gpkg"
tie_in = "start"
[runs]
from = "runs-*.csv"
[runs.defaults]
unit = "ft"
[observations]
from = "seen-*.csv"
[works]
from = "works-*.csv"
"""
HAPPENED = {
    "2023-05-01": ("run", ["12.0,roots,40", "30.1,crack,"]),
    "2024-05-02": ("run", ["12.2,roots,60", "30.0,crack,"]),
    "2024-06-01": ("work", ["root cutting"]),
    "2024-07-03": ("run", ["30.0,crack,", "45.0,grease,20"]),
    "2025-05-03": ("run", ["11.9,roots,30"]),
}
TOLD = ["kind", "state", "grade", "own_grade", "percent", "first_seen", "last_seen", "times_seen", "is_repeat", "days_after_work"]


def by_name(rows: pd.DataFrame) -> pd.DataFrame:
    """Rows in order of names, without ids and shapes."""
    return pd.DataFrame(rows.drop(columns="geometry")).sort_values("issue", ignore_index=True)


def test_on_the_last_day_the_stored_rows_are_told_again(book: Book) -> None:
    """All columns of all issues of the sample town, told from sightings, runs and works, are those that loading stored."""
    with book.store.reading() as conn:
        assert last_day(conn) == LAST
        stored = issues_on(book.store, conn, LAST)
        told = issues_told_again(book.store, conn, LAST, None)
        some = stored["lateral"].unique()[:7].tolist()
        of_some = issues_told_again(book.store, conn, LAST, some)
    pd.testing.assert_frame_equal(by_name(told), by_name(stored), check_dtype=False)
    assert [shape and shape.wkb for shape in told.sort_values("issue")["geometry"]] == [
        shape and shape.wkb for shape in stored.sort_values("issue")["geometry"]
    ]
    mine = stored[stored["lateral"].isin(some)]
    pd.testing.assert_frame_equal(by_name(of_some), by_name(mine), check_dtype=False)


def test_the_later_the_day_the_more_was_seen(book: Book) -> None:
    """Before anything there is nothing; then issues only come, and each has its first sighting by then and none after."""
    with book.store.reading() as conn:
        known: set[str] = set()
        for day in [dt.date(2022, 1, 1), *pd.date_range("2023-03-01", "2025-12-01", freq="150D").date]:
            issues = issues_on(book.store, conn, day)
            assert known <= set(issues["issue"])
            known = set(issues["issue"])
            assert known == set(sightings_on(conn, day)["issue"])
            assert (issues["last_seen"] <= pd.Timestamp(day)).all()
        assert len(known) > 80


@pytest.mark.parametrize("until", HAPPENED)
def test_it_is_what_a_database_would_say_that_ends_on_the_day(town_of_one, until: str) -> None:
    """A town told as of a day, and a database that was only loaded up to it, say the same of each issue."""
    whole = town_of_one("whole", list(HAPPENED))
    with whole.store.reading() as conn:
        now = issues_on(whole.store, conn, dt.date.fromisoformat(until))
    then = town_of_one("until", [day for day in HAPPENED if day <= until]).layer("issues")
    told, was = (rows.sort_values("first_seen").sort_values("kind")[TOLD] for rows in (now, pd.DataFrame(then)))
    pd.testing.assert_frame_equal(told.reset_index(drop=True), was.reset_index(drop=True), check_dtype=False)


@pytest.fixture
def town_of_one(tmp_path):
    """Makes a database of one lateral in which just these days' runs and works happened."""
    import geopandas as gpd  # noqa: PLC0415 - only here
    import shapely  # noqa: PLC0415

    def make(name: str, days: list[str]) -> Book:
        folder = tmp_path / name
        folder.mkdir()
        line = shapely.LineString([(500_000, 4_000_000), (500_000, 4_000_020)])
        gpd.GeoDataFrame({"lateral": ["L1"]}, geometry=[line], crs="EPSG:26910").to_file(folder / "laterals.gpkg")
        for table, head in (("runs", "run,lateral,ran_on,end_reading"), ("seen", "run,reading,kind,percent"),
                            ("works", "work,lateral,done_on,kind")):  # fmt: skip
            (folder / f"{table}-0.csv").write_text(head + "\n", encoding="utf-8")
        for day in days:
            what, rows = HAPPENED[day]
            if what == "work":
                (folder / f"works-{day}.csv").write_text(f"work,lateral,done_on,kind\nW,L1,{day},{rows[0]}\n", encoding="utf-8")
                continue
            text = "\n".join(["run,reading,kind,percent", *(f"R{day},{row}" for row in rows)])
            (folder / f"seen-{day}.csv").write_text(text, encoding="utf-8")
            text = f"run,lateral,ran_on,end_reading\nR{day},L1,{day},60\n"
            (folder / f"runs-{day}.csv").write_text(text, encoding="utf-8")
        (folder / "SOURCES.toml").write_text(PLAN, encoding="utf-8")
        book = sewermap.create(tmp_path / f"{name}.gpkg", "EPSG:26910")
        assert book.load(folder / "SOURCES.toml").rejects.empty
        return book

    return make
