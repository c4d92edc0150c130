"""All frames of a site in one go, beside the questions about one lateral."""

import datetime as dt

import numpy as np
import pandas as pd
import pytest

from sewermap.answers.site_frames import site_frames

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
