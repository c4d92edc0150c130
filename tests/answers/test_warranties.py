"""Warranties through the Python door: facts of one, houses in order, streets, and what is asked of a day."""

import datetime as dt

import pandas as pd
import pytest

from sewermap.answers.addresses import in_order_of_houses
from sewermap.book import Book
from sewermap.errors import UnknownNameError

BUSY = dt.date(2024, 6, 1)


def test_houses_stand_as_a_van_meets_them() -> None:
    """Streets by name whatever the case, numbers by value, letters after them, whichever stands first; nothing said, last."""
    rows = [
        ("2nd Avenue", "2nd Avenue 12"), ("10th Avenue", "3 10th Avenue"), ("2nd Avenue", "7"), ("2nd Avenue", "12a 2nd Avenue"),
        ("alder Street", "100 alder Street"), ("Birch Lane", None), ("Birch Lane", "1 Birch Lane, unit 10"),
        ("Birch Lane", "1 Birch Lane, unit 2"), (None, "5"), ("Alder street", "21"), (None, None),
    ]  # fmt: skip
    table = pd.DataFrame(rows, columns=["street", "address"]).assign(lateral=[f"L-{at}" for at in range(len(rows))])
    for seed in range(3):
        told = in_order_of_houses(table.sample(frac=1, random_state=seed))
        assert told["lateral"].tolist() == [f"L-{at}" for at in (2, 0, 3, 1, 9, 4, 7, 6, 5, 8, 10)]


def test_facts_of_each_warranty_are_those_of_the_answers(book: Book) -> None:
    """State and days as ``due`` tells them, claims as ``claims``, runs and works as the lateral's history until the day."""
    told = book.due(BUSY, all_states=True).set_index("warranty")
    claimed = book.claims(BUSY, returned=True)
    states = set()
    for name, row in told.iterrows():
        facts = book.warranty_facts(name, BUSY)
        states.add(row["state"])
        assert [facts["warranty"][key] for key in ("lateral", "state", "days_left")] == row[
            ["lateral", "state", "days_left"]
        ].tolist()
        assert facts["warranty"]["check_by"] == f"{row['check_by']:%Y-%m-%d}"
        assert facts["lateral"]["lateral"] == row["lateral"]
        assert [claim["issue"] for claim in facts["claims"]] == claimed.loc[claimed["warranty"] == name, "issue"].tolist()
        story = book.history(row["lateral"])
        assert [run["run"] for run in facts["runs"]] == [run["run"] for run in story["runs"] if run["ran_on"] <= str(BUSY)]
        assert [work["work"] for work in facts["works"]] == [w["work"] for w in story["works"] if w["done_on"] <= str(BUSY)]
        assert bool(facts["checks"]) == (row["state"] == "checked")
        assert all(run["in_window"] and run in facts["runs"] for run in facts["checks"])
    assert states == {"not yet", "due", "checked", "lapsed"}


def test_a_warranty_may_be_typed_plainly(book: Book) -> None:
    """Case and spaces do not matter, nor the dot of a warranty that a work opened."""
    names = book.due(dt.date(2026, 1, 1), all_states=True)["warranty"]
    own = names[names.str.endswith("·own")].iloc[0]
    facts = book.warranty_facts(own, dt.date(2026, 1, 1))
    for typed in (own.lower(), own.replace("·", " "), own.replace("·", ".")):
        assert book.warranty_facts(typed, dt.date(2026, 1, 1)) == facts


@pytest.mark.parametrize(
    ("name", "day", "sentence"),
    [
        ("G-9999", None, "no warranty is called 'G-9999'; the nearest are G-"),
        ("quite another", BUSY, "no warranty is called 'quite another'; "),
        ("G-105", dt.date(2023, 1, 1), "warranty 'G-105' begins on 2023-02-07, after 2023-01-01"),
    ],
)
def test_a_warranty_that_is_not_there_is_refused(book: Book, name: str, day, sentence: str) -> None:
    """By one sentence that says what to do about it."""
    with pytest.raises(UnknownNameError, match=sentence):
        book.warranty_facts(name, day)


def test_what_is_dated_later_is_left_out(book: Book) -> None:
    """Of no row of a day's answers is any day later than it, but the days that lie ahead by the terms."""
    for day in (dt.date(2023, 9, 1), BUSY, dt.date(2025, 2, 28)):
        due, claims = book.due(day, all_states=True), book.claims(day, returned=True)
        for column in (due["begins_on"], due["last_run_on"], due["checked_on"], claims["first_seen"]):
            assert not (column > pd.Timestamp(day)).any()


def test_the_middle_of_the_lateral_is_where_the_van_goes(book: Book) -> None:
    """Each row's point lies halfway along its lateral (shapely measures it), and x and y are its own."""
    told = book.due(BUSY, all_states=True)
    lines = book.layer("laterals").set_index("lateral").geometry
    along = lines.loc[told["lateral"]].reset_index(drop=True)
    assert (along.project(told.geometry) / along.length).to_numpy() == pytest.approx(0.5)
    assert (told.geometry.x == told["x"]).all()
    assert (told.geometry.y == told["y"]).all()
    assert told.crs == book.store.crs
