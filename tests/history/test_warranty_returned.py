"""What came back within the term after the very work that a warranty names."""

import pandas as pd
import pytest

from tests.history.warranty_told import claims_of, days, runs, seen, warranties, works

REPAIRED = works(("W-1", "L1", "2024-03-01", "spot repair", 5.0, 10.0, "Corvane & Daughters"))
OF_WORK = warranties({"work": "W-1", "from_measure_m": 5.0, "to_measure_m": 10.0})


def returned(
    looked: pd.DataFrame, saw: list[int], came_back: str, after: str = "W-1", as_of: str = "2026-01-01", **how
) -> pd.DataFrame:
    """The claims where the issue at 8 m was seen by some of the runs and came back on a day after a work."""
    issues, sightings = seen(("I-1", 8.0, looked.iloc[saw]))
    issues = issues.assign(returned_after=pd.Series([after], dtype="str"), returned_on=days([came_back]))
    return claims_of(OF_WORK, (issues, sightings), looked, as_of, REPAIRED, **{"returned": True} | how)


BEFORE = ("R-0", "2024-01-05", 0, 20)


@pytest.mark.parametrize(("came_back", "claimed"), [("2024-03-02", 1), ("2025-03-01", 1), ("2025-03-02", 0), ("2024-02-29", 0)])
def test_what_came_back_within_the_term(came_back, claimed) -> None:
    """First seen long before, mended, seen again within the term of the work's warranty: claimed where it is asked for."""
    looked = runs(BEFORE, ("A-1", "2024-03-01", 0, 20, "acceptance"), ("R-1", came_back, 0, 20))
    table = returned(looked, [0, 2], came_back)
    assert len(table) == claimed
    assert len(returned(looked, [0, 2], came_back, returned=False)) == 0
    assert len(returned(looked, [0, 2], came_back, after="W-9")) == 0
    assert table["is_returned"].all()


def test_how_it_is_told_that_it_came_back() -> None:
    """The sentence names the work, the days since, and when it was first seen; notice counts from the day it came back."""
    looked = runs(BEFORE, ("A-1", "2024-03-01", 0, 20, "acceptance"), ("R-1", "2024-11-03", 0, 20))
    row = returned(looked, [0, 2], "2024-11-03", as_of="2024-12-01").iloc[0]
    assert row["reason"] == (
        "came back within the term: seen again 2024-11-03, 247 days after the work W-1; first seen 2024-01-05; "
        "run A-1 of 2024-03-01 passed here and did not see it"
    )
    assert str(row["first_seen"])[:10] == "2024-01-05"


def test_what_was_still_there_at_acceptance_did_not_come_back() -> None:
    """Seen by the acceptance run after the work: known when it was accepted, so not claimed; also not by a later sighting."""
    looked = runs(BEFORE, ("A-1", "2024-03-05", 0, 20, "acceptance"), ("R-1", "2024-11-03", 0, 20))
    assert len(returned(looked, [0, 1, 2], "2024-03-05")) == 0


def test_seen_in_the_morning_repaired_by_noon() -> None:
    """A run before the work on its own day saw it, the acceptance run of that day did not; what came back later is claimed."""
    looked = runs(("R-0", "2024-03-01", 0, 20), ("A-1", "2024-03-01", 0, 20, "acceptance"), ("R-1", "2024-11-03", 0, 20))
    row = returned(looked, [0, 2], "2024-11-03").iloc[0]
    assert (row["is_returned"], row["acceptance_run"]) == (True, "A-1")


def test_runs_before_the_work_are_no_acceptance_of_it() -> None:
    """The acceptance run of a work's warranty is run on the work's day or later; the lateral's own of years before is none."""
    looked = runs(("A-0", "2023-05-01", 0, 20, "acceptance"), ("R-1", "2024-11-03", 0, 20))
    known = seen(("I-1", 8.0, looked.iloc[[1]]))
    reason = claims_of(OF_WORK, known, looked, "2025-01-01", REPAIRED)["reason"].item()
    assert "no acceptance run; first appeared: run A-0 of 2023-05-01 passed here and did not see it" in reason
    papers = OF_WORK.assign(begins_on=days(["2024-03-20"]))  # signed three weeks after the work and its acceptance run
    looked = runs(("A-1", "2024-03-02", 0, 20, "acceptance"), ("R-1", "2024-11-03", 0, 20))
    row = claims_of(papers, seen(("I-1", 8.0, looked.iloc[[1]])), looked, "2025-01-01", REPAIRED).iloc[0]
    assert row["acceptance_run"] == "A-1"
