"""All frames of a site in one go, beside the questions about one lateral."""

import datetime as dt

import numpy as np
import pandas as pd
import pytest

from sewermap.answers.as_of import issues_on
from sewermap.answers.site_frames import DATED, site_frames
from sewermap.history.life import MENDED, STATES

AS_OF = dt.date(2026, 1, 31)


@pytest.fixture(scope="module")
def frames(book):
    """The frames of the invented town."""
    return site_frames(book.store, AS_OF)


def test_frames_hold_all_rows_of_the_tables(frames, book):
    """Nothing is filtered: as many rows as the tables have, and laterals with what their issues make of them."""
    for name in (
        "placed_observations",
        "issues",
        "issue_sightings",
        "run_coverages",
        "runs",
        "works",
        "parcels",
        "streets",
        "rejects",
    ):
        assert len(frames[name]) == len(book.layer(name)), name
    states = book.layer("lateral_states").set_index("lateral").sort_index()
    laterals = frames["laterals"].set_index("lateral").sort_index()
    for name in ("grade", "grade_why", "issues", "repeats", "runs", "last_run_on", "scoped_m"):
        pd.testing.assert_series_equal(laterals[name], states[name], check_dtype=False, obj=name)


def test_events_of_all_laterals_are_those_of_each(frames, book):
    """The events computed at once are, lateral by lateral, those that `history` tells."""
    events = frames["issue_events"]
    columns = ["day", "run", "work", "verdict", "reason", "state"]
    for lateral in frames["issues"]["lateral"].drop_duplicates().sort_values().iloc[::9]:
        for issue in book.history(lateral)["issues"]:
            ours = events.loc[events["issue"] == issue["issue"], columns]
            told = [
                {**row, "day": str(row["day"].date())} for row in ours.astype(object).where(ours.notna(), None).to_dict("records")
            ]
            assert told == [{name: event[name] for name in columns} for event in issue["events"]]


def test_after_its_last_event_an_issue_is_what_the_table_says(frames):
    """State and grade of the last event are the issue's own."""
    last = frames["issue_events"].drop_duplicates("issue", keep="last").set_index("issue")
    issues = frames["issues"].set_index("issue")
    last = last.loc[issues.index]
    assert (last["state"] == issues["state"]).all()
    assert np.array_equal(last["grade"].to_numpy(float), issues["grade"].to_numpy(float), equal_nan=True)


def test_due_and_claims_are_the_answers_of_the_day(frames, book):
    """Warranties in all states and claims are those that the questions give for the same day."""
    assert frames["due"]["warranty"].tolist() == book.due(AS_OF, all_states=True)["warranty"].tolist()
    assert frames["claims"]["issue"].tolist() == book.claims(AS_OF)["issue"].tolist()


EARLIER = dt.date(2024, 9, 30)


def test_of_an_earlier_day_nothing_is_told_that_came_later(book, frames):
    """No row is dated later than the day; the others are those of today's frames, and issues are as ``defects`` tells them."""
    then, end = site_frames(book.store, EARLIER), pd.Timestamp(EARLIER)
    for name, day in {**DATED, "issues": "last_seen", "issue_events": "day"}.items():
        assert 0 < len(then[name]) < len(frames[name]), name
        assert (then[name][day] <= end).all(), name
    for name, day in DATED.items():
        pd.testing.assert_frame_equal(then[name], frames[name][frames[name][day] <= end].reset_index(drop=True))
    with book.store.reading() as conn:
        told = issues_on(book.store, conn, EARLIER).set_index("issue")
    issues = then["issues"].set_index("issue")
    assert issues.index.tolist() == told.index.tolist()
    for name in ("state", "grade", "times_seen", "street", "address"):
        pd.testing.assert_series_equal(issues[name], told[name], check_dtype=False)


def test_of_an_earlier_day_laterals_are_as_they_were_graded_then(book):
    """Counts of issues, repeats and runs are those of the day's own rows, and nothing was scoped after it."""
    then = site_frames(book.store, EARLIER)
    laterals, issues = then["laterals"].set_index("lateral"), then["issues"]
    still_open = issues[issues["state"] != STATES[MENDED]].groupby("lateral").size().reindex(laterals.index).fillna(0)
    assert (laterals["issues"] == still_open).all()
    assert (laterals["runs"] == then["runs"].groupby("lateral").size().reindex(laterals.index).fillna(0)).all()
    assert (laterals["last_run_on"].dropna() <= pd.Timestamp(EARLIER)).all()
    last = then["issue_events"].drop_duplicates("issue", keep="last").set_index("issue")["state"]
    assert (last.reindex(issues["issue"]).to_numpy() == issues["state"].to_numpy()).all()
