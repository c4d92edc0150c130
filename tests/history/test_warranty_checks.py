"""Checks of warranties: each state at the edges of each day, what counts as a check, what is left, and a plain loop."""

from datetime import date, timedelta

import numpy as np
import pandas as pd
import pytest
from dateutil.relativedelta import relativedelta
from hypothesis import given, settings
from hypothesis import strategies as st

from sewermap.history.warranty import CHECKS, checked, warranty_rules
from tests.history.warranty_told import (
    LENGTHS,
    NAN,
    NO_WORKS,
    RULES,
    check_of,
    day,
    in_force,
    nothing,
    runs,
    state_by_hand,
    warranties,
)

YEAR = warranties({})  # 2024-03-01 to 2025-03-01; the window opens 60 days before, on 2024-12-31
SOME_RUN = runs(("R-1", "2023-01-01", 0, 20))


@pytest.mark.parametrize(
    ("as_of", "state", "days_left"),
    [
        ("2024-03-01", "not yet", 365),
        ("2024-12-30", "not yet", 61),
        ("2024-12-31", "due", 60),
        ("2025-03-01", "due", 0),
        ("2025-03-02", "lapsed", -1),
    ],
)
def test_unchecked_at_the_edges_of_days(as_of, state, days_left) -> None:
    """Without a check: not yet to the day before the window opens, due to the last day itself, lapsed from the day after."""
    row = check_of(YEAR, SOME_RUN, as_of).iloc[0]
    assert (row["state"], row["days_left"], row["looked_share"]) == (state, days_left, 0.0)
    assert pd.isna(row["checked_on"])


def test_the_day_before_it_begins() -> None:
    """A warranty is in force from the day it begins, not on the day before; asked all the same, its check is not yet due."""
    assert len(check_of(YEAR, SOME_RUN, "2024-02-29")) == 0
    assert len(check_of(YEAR, SOME_RUN, "2024-03-01")) == 1
    known = in_force(YEAR, NO_WORKS, RULES, day("2024-03-01"))
    assert checked(known, LENGTHS, SOME_RUN, day("2024-02-29"), RULES)["state"].item() == "not yet"


@pytest.mark.parametrize(
    ("ran_on", "counts"),
    [("2024-12-30", False), ("2024-12-31", True), ("2025-03-01", True), ("2025-03-02", False)],
)
def test_a_run_counts_inside_the_window_alone(ran_on, counts) -> None:
    """The first and the last day of the window are inside; the days next to them are not."""
    row = check_of(YEAR, runs(("R-1", ran_on, 0, 20)), "2025-06-01").iloc[0]
    assert row["state"] == ("checked" if counts else "lapsed")
    assert (row["checked_by"] == "R-1") == counts


def test_a_window_longer_than_the_term_opens_with_it() -> None:
    """With a lead of 90 days on a term of 30, a run before the start does not count, one on the first day does."""
    short = warranties({"term": "P30D", "check_lead": 90})
    assert check_of(short, runs(("R-1", "2024-02-29", 0, 20)), "2024-03-10")["state"].item() == "due"
    assert check_of(short, runs(("R-1", "2024-03-01", 0, 20)), "2024-03-10")["state"].item() == "checked"


def test_what_is_dated_after_the_day_asked_is_not_known() -> None:
    """A check of tomorrow changes nothing today, and on its day it counts."""
    looked = runs(("R-1", "2025-01-10", 0, 20))
    assert [check_of(YEAR, looked, one)["state"].item() for one in ("2025-01-09", "2025-01-10")] == ["due", "checked"]


def test_nine_tenths_are_enough_and_no_less() -> None:
    """Of 20 m, 18 m are a check and 17.99 m are none (the design's 90 %); a place may ask for another share."""
    assert check_of(YEAR, runs(("R-1", "2025-01-10", 2, 20)), "2025-02-01")["state"].item() == "checked"
    row = check_of(YEAR, runs(("R-1", "2025-01-10", 2.01, 20)), "2025-02-01").iloc[0]
    assert (row["state"], row["left_to_look"]) == ("due", "0.0–2.0 m")
    stricter = warranty_rules("check_share = 1.0")
    assert check_of(YEAR, runs(("R-1", "2025-01-10", 2, 20)), "2025-02-01", stricter)["state"].item() == "due"


def test_two_pushes_of_one_day_make_one_check_of_two_days_none() -> None:
    """From both ends on one day they count together and both are named; on two days neither is a check, and the better one says
    what is left.
    """
    together = check_of(YEAR, runs(("R-2", "2025-01-10", 9, 20), ("R-1", "2025-01-10", 0, 10)), "2025-02-01").iloc[0]
    assert (together["state"], together["checked_by"], together["looked_share"]) == ("checked", "R-1, R-2", 1.0)
    apart = check_of(YEAR, runs(("R-2", "2025-01-11", 9, 20), ("R-1", "2025-01-10", 0, 10)), "2025-02-01").iloc[0]
    assert (apart["state"], apart["left_to_look"]) == ("due", "0.0–9.0 m")
    assert apart["looked_share"] == pytest.approx(11 / 20)


def test_what_is_left_where_pushes_leave_gaps() -> None:
    """Gaps before, between and behind the pushes are told; what overlaps is counted once."""
    looked = runs(
        ("R-1", "2025-01-10", 2, 5), ("R-2", "2025-01-10", 4, 6), ("R-3", "2025-01-10", 10, 17.5), ("R-4", "2025-01-10", 11, 12)
    )
    row = check_of(YEAR, looked, "2025-02-01").iloc[0]
    assert row["left_to_look"] == "0.0–2.0 m, 6.0–10.0 m, 17.5–20.0 m"
    assert row["looked_share"] == pytest.approx(11.5 / 20)


def test_nothing_looked_at_leaves_the_whole_stretch() -> None:
    """Due or lapsed without a run in the window: all is left; before the window and after a check nothing is told."""
    part = warranties({"from_measure_m": 5.0})
    told = [check_of(part, SOME_RUN, one)["left_to_look"].item() for one in ("2025-01-10", "2025-06-01")]
    assert told == ["5.0–20.0 m", "5.0–20.0 m"]
    assert pd.isna(check_of(part, SOME_RUN, "2024-10-01")["left_to_look"].item())
    assert pd.isna(check_of(part, runs(("R-1", "2025-01-10", 0, 20)), "2025-01-10")["left_to_look"].item())


def test_only_the_stretch_must_be_passed() -> None:
    """A part of the line is checked by a run over that part; a stretch said the wrong way round is the same stretch; one that
    reaches past the line's end ends there.
    """
    looked = runs(("R-1", "2025-01-10", 12, 20))
    for from_m, to_m in ((12.0, 18.0), (18.0, 12.0), (13.0, 40.0), (12.0, NAN)):
        part = warranties({"from_measure_m": from_m, "to_measure_m": to_m})
        assert check_of(part, looked, "2025-02-01")["state"].item() == "checked", (from_m, to_m)
    before = warranties({"to_measure_m": 12.0})
    assert check_of(before, looked, "2025-02-01")["left_to_look"].item() == "0.0–12.0 m"


def test_a_stretch_of_one_place() -> None:
    """A repair noted at one measure is checked by a run that passed it, and by no other."""
    place = warranties({"from_measure_m": 12.0, "to_measure_m": 12.0})
    assert check_of(place, runs(("R-1", "2025-01-10", 0, 12.0)), "2025-02-01")["state"].item() == "checked"
    row = check_of(place, runs(("R-1", "2025-01-10", 0, 11.9)), "2025-02-01").iloc[0]
    assert (row["state"], row["left_to_look"], row["looked_share"]) == ("due", "12.0–12.0 m", 0.0)


@pytest.mark.parametrize(
    ("said", "why"),
    [
        ({"from_measure_m": 21.0}, "nothing: the warranted stretch (from 21.0 m) lies outside the line (0.0 to 20.0 m)"),
        ({"from_measure_m": 25.0, "to_measure_m": 30.0}, "nothing: the warranted stretch (from 25.0 m) lies outside the line"),
        ({"from_measure_m": -3.0, "to_measure_m": -1.0}, "nothing: the warranted stretch (from -3.0 m) lies outside the line"),
        ({"lateral": "L9"}, "nothing: the length of the line is not known"),
    ],
)
def test_an_empty_stretch_is_never_checked_and_says_why(said, why) -> None:
    """Where there is nothing to pass no run is a check, and the reason stands where else the rest does."""
    looked = runs(("R-1", "2025-01-10", 0, 20), ("R-9", "2025-01-10", 0, 20, "check", "L9"))
    row = check_of(warranties(said), looked, "2025-02-01").iloc[0]
    assert row["state"] == "due"
    assert row["left_to_look"].startswith(why)
    assert pd.isna(row["looked_share"])


def test_a_run_that_passed_nothing_is_no_check() -> None:
    """A run without a covered stretch, and one of another lateral, count for nothing."""
    looked = runs(("R-1", "2025-01-10", NAN, NAN), ("R-2", "2025-01-10", 0, 30, "check", "L2"))
    assert check_of(YEAR, looked, "2025-02-01")["state"].item() == "due"


def test_the_first_check_stays_the_check() -> None:
    """Whatever runs follow, the first day that was enough is the check, also long after the end."""
    looked = runs(("R-3", "2025-02-10", 0, 20), ("R-1", "2025-01-10", 0, 10), ("R-2", "2025-01-20", 0, 19))
    row = check_of(YEAR, looked, "2030-01-01").iloc[0]
    assert (row["state"], row["checked_by"], str(row["checked_on"])[:10]) == ("checked", "R-2", "2025-01-20")


def test_rows_keep_their_index_and_empty_frames_their_columns() -> None:
    """One row for each warranty under its own label, and none for none."""
    known = in_force(YEAR, NO_WORKS, RULES, day("2025-01-10")).set_axis([7])
    table = checked(known, LENGTHS, nothing(SOME_RUN), day("2025-01-10"), RULES)
    assert table.index.tolist() == [7]
    assert tuple(checked(nothing(known), LENGTHS, SOME_RUN, day("2025-01-10"), RULES)) == CHECKS


START = date(2024, 2, 20)
MEASURES = st.integers(0, 40).map(lambda half: half / 2)
DAYS = st.integers(0, 120).map(lambda number: START + timedelta(days=number))
LATERALS = st.sampled_from(["L1", "L2"])
SPANS = {
    "P1M": relativedelta(months=1),
    "P30D": relativedelta(days=30),
    "P4W": relativedelta(weeks=4),
    "P2M": relativedelta(months=2),
}
TERMS = st.sampled_from(sorted(SPANS))


@st.composite
def towns(draw):
    """A few warranties and runs on two laterals of 20 m, within four months."""
    ours = [
        {
            "warranty": f"G-{at}",
            "lateral": draw(LATERALS),
            "begins_on": draw(DAYS),
            "term": draw(TERMS),
            "check_lead": draw(st.sampled_from([0, 1, 7, 20, 90])),
            "from": draw(MEASURES),
            "to": draw(MEASURES),
        }
        for at in range(draw(st.integers(1, 5)))
    ]
    done = [
        {"run": f"R-{at}", "lateral": draw(LATERALS), "ran_on": draw(DAYS), "from": min(ends), "to": max(ends), "reason": "check"}
        for at, ends in enumerate(draw(st.lists(st.tuples(MEASURES, MEASURES), max_size=8)))
    ]
    return ours, done


def frames(ours: list[dict], done: list[dict]) -> tuple[pd.DataFrame, pd.DataFrame]:
    recorded = warranties(*({**row, "from_measure_m": row["from"], "to_measure_m": row["to"]} for row in ours))
    coverages = runs(*((run["run"], run["ran_on"], run["from"], run["to"], run["reason"], run["lateral"]) for run in done))
    return recorded, coverages


@settings(deadline=None, max_examples=60)
@given(towns(), DAYS, st.sampled_from([0.5, 0.75, 0.9, 1.0]), st.randoms())
def test_states_are_those_of_a_plain_loop(town, as_of, share, chance) -> None:
    """Told day by day and half metre by half metre in a loop, each state is the column's; the order of rows means nothing."""
    ours, done = town
    ours = [row for row in ours if row["from"] != row["to"]]  # a single place has a test of its own
    recorded, coverages = frames(ours, done)
    rules = warranty_rules(f"check_share = {share}")
    lengths = pd.Series({"L1": 20.0, "L2": 20.0})
    known = in_force(recorded, NO_WORKS, rules, as_of)
    table = checked(known, lengths, coverages, as_of, rules)
    wanted = {
        row["warranty"]: state_by_hand(row | {"ends_on": row["begins_on"] + SPANS[row["term"]]}, done, as_of, share)
        for row in ours
        if row["begins_on"] <= as_of
    }
    assert dict(zip(table["warranty"], table["state"], strict=True)) == wanted
    mixed = known.sample(frac=1.0, random_state=chance.randrange(1000))
    again = checked(mixed, lengths, coverages.sample(frac=1.0, random_state=chance.randrange(1000)), as_of, rules)
    pd.testing.assert_frame_equal(again.sort_index(), table)


@settings(deadline=None, max_examples=40)
@given(towns(), DAYS)
def test_what_is_left_and_what_was_passed_make_the_stretch(town, as_of) -> None:
    """For what is due or lapsed, the metres left to look at and the share that was passed add up to the stretch."""
    recorded, coverages = frames(*town)
    known = in_force(recorded, NO_WORKS, RULES, as_of)
    table = checked(known, pd.Series({"L1": 20.0, "L2": 20.0}), coverages, as_of, RULES)
    for row, share, told in zip(known.to_dict("records"), table["looked_share"], table["left_to_look"], strict=True):
        if pd.notna(told):
            gaps = [[float(one) for one in gap.split("–")] for gap in told.replace(" m", "").split(", ")]
            whole_m = abs(row["to_measure_m"] - row["from_measure_m"])
            assert sum(end - start for start, end in gaps) == pytest.approx((1.0 - share) * whole_m)
            assert all(np.diff(np.ravel(gaps)) >= 0.0)
