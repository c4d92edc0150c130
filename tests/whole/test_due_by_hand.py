"""The due list beside a list that plain Python makes of the sample town's files alone, day by day."""

import collections
import datetime as dt
import random

import pandas as pd
import pytest

import sewermap
from sewermap.book import Book
from tests.cli.running import load_town
from tests.whole.csv_town import CsvTown, Warranty

DAYS = 200
WITHIN = dt.timedelta(days=60)
ENOUGH, DOUBT = 0.9, 0.05
"""docs/commands.md: 90 % of the stretch. So near to it a counter's own error decides, and a list by hand has nothing to say."""


@pytest.fixture
def town(engine_where: str, tmp_path) -> tuple[Book, CsvTown]:
    """The sample town in a database, and its files read by hand."""
    load_town(engine_where, tmp_path / "sources")
    return sewermap.open(engine_where, read_only=True), CsvTown(tmp_path / "sources")


class ByHand:
    """What the files say of each warranty's check."""

    def __init__(self, files: CsvTown) -> None:
        self.warranties = files.warranties
        self.runs = files.runs
        self.shares = {one.name: files.shares(one) for one in files.warranties}

    def state(self, one: Warranty, day: dt.date) -> str | None:
        """The state of a check on a day; None where the best share until then is too near to what is asked."""
        best = max((share for on, share in self.shares[one.name].items() if on <= day), default=0.0)
        if abs(best - ENOUGH) <= DOUBT:
            return None
        if best > ENOUGH:
            return "checked"
        return "not yet" if day < one.opens else "due" if day <= one.ends else "lapsed"

    def last_run_on(self, lateral: str, day: dt.date) -> dt.date | None:
        """The last day on which a run passed anything of a lateral."""
        return max((run.day for run in self.runs if run.lateral == lateral and run.day <= day and run.low_m >= 0.0), default=None)

    def edges(self) -> dict[str, set[dt.date]]:
        """Days on which something turns, and the day before or after it, by what turns."""
        one_day = dt.timedelta(days=1)
        edges = collections.defaultdict(set)
        for one in self.warranties:
            edges["begins"] |= {one.begins - one_day, one.begins}
            edges["is told"] |= {one.opens - WITHIN - one_day, one.opens - WITHIN}
            edges["opens"] |= {one.opens - one_day, one.opens}
            edges["ends"] |= {one.ends, one.ends + one_day}
            edges["checked"] |= {day - lag for day in self.shares[one.name] for lag in (one_day, 0 * one_day)}
        return edges


def days_of(edges: dict[str, set[dt.date]]) -> list[dt.date]:
    """200 days of all kinds of edges, those of checks all among them."""
    rest = sorted(set().union(*edges.values()) - edges["checked"])
    days = sorted(edges["checked"]) + random.Random(5).sample(rest, DAYS - len(edges["checked"]))
    assert all(len(edges[kind] & set(days)) >= 30 for kind in edges), {kind: len(edges[kind] & set(days)) for kind in edges}
    return sorted(days)


def test_the_due_list_is_the_one_made_by_hand(town: tuple[Book, CsvTown], record_property) -> None:
    """On 200 days, edges of all windows, terms and checks among them: the same warranties, states, days and last looks.

    Left out is only a check whose share lies within 5 % of the limit: of three warranties, about 200 of 8,000 comparisons.
    """
    book, files = town
    by_hand = ByHand(files)
    compared = left_out = listed = 0
    for day in days_of(by_hand.edges()):
        states = {one.name: by_hand.state(one, day) for one in files.warranties if one.begins <= day}
        unsure = {name for name, state in states.items() if state is None}
        wanted = {
            one.name: (
                one.lateral, one.begins, one.ends, one.opens, states[one.name], (one.ends - day).days,
                by_hand.last_run_on(one.lateral, day),
            )
            for one in files.warranties
            if states.get(one.name) == "due" or (states.get(one.name) == "not yet" and one.opens <= day + WITHIN)
        }  # fmt: skip
        told = {row["warranty"]: row for row in book.due(day).to_dict("records")}
        got = {
            name: (
                row["lateral"], row["begins_on"].date(), row["ends_on"].date(), row["check_from"].date(), row["state"],
                row["days_left"], None if pd.isna(row["last_run_on"]) else row["last_run_on"].date(),
            )
            for name, row in told.items()
            if name not in unsure
        }  # fmt: skip
        assert got == wanted, day
        compared, left_out, listed = compared + len(states) - len(unsure), left_out + len(unsure), listed + len(got)
    record_property("compared, left out, listed", (compared, left_out, listed))
    assert left_out < 0.05 * compared
    assert listed > 1000, (compared, left_out, listed)


def test_all_warranties_with_their_states_are_those_made_by_hand(town: tuple[Book, CsvTown]) -> None:
    """With --all: every warranty begun, in the state that the files tell, at each edge of the first years' terms."""
    book, files = town
    by_hand = ByHand(files)
    for day in sorted(by_hand.edges()["ends"])[::8]:
        told = book.due(day, all_states=True)
        got = dict(zip(told["warranty"], told["state"], strict=True))
        assert set(got) == {one.name for one in files.warranties if one.begins <= day}
        wanted = {one.name: by_hand.state(one, day) for one in files.warranties if one.begins <= day}
        assert {name: state for name, state in got.items() if wanted[name]} == {n: s for n, s in wanted.items() if s}
