"""By when notice must be given: a day as the section's days are written, or a rule; else the row is rejected."""

import pytest

from etl.plan import read_plan
from sewermap.errors import SourceError
from sewermap.history.warranty import notice_rule

PLAN = """
[laterals]
from = "laterals.gpkg"
[warranties]
from = "warranties.csv"
"""


def gathered(town, *texts: str, more: str = ""):
    """One warranty for each text."""
    town.laterals()
    rows = [f'G{at},L1,2024-06-13,"{text}"' for at, text in enumerate(texts)]
    town.csv("warranties.csv", "warranty,lateral,begins_on,notice_by", *rows)
    return town.gather(PLAN + more)


def test_days_and_rules_are_kept_in_one_form(town):
    """Days come out as YYYY-MM-DD and rules as the history writes them, whose own reader takes each; empty stays empty."""
    found = gathered(town, "2025-07-01", "7/14/2025", "p30d AFTER End", " P10D  after seen", "", "P1M after seen")
    assert found.rejects.empty
    kept = found.tables["warranties"]["notice_by"]
    assert kept.dropna().tolist() == ["2025-07-01", "2025-07-14", "P30D after end", "P10D after seen", "P1M after seen"]
    assert kept.isna().tolist() == [False] * 4 + [True, False]
    assert [notice_rule(text) for text in kept.dropna()] == kept.dropna().tolist()


def test_days_are_read_in_the_sections_order(town):
    """``dates`` of the section says which of two days is meant."""
    kept = gathered(town, "3.4.2025", "03/04/2025", more='dates = "dmy"').tables["warranties"]["notice_by"]
    assert kept.tolist() == ["2025-04-03", "2025-04-03"]


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        (
            "soon",
            "'soon' is no day; write it as 2024-05-31; by when notice must be given may also stand as a rule",
        ),
        ("2025-02-30", "there is no day '2025-02-30'"),
        ("03/04/2025", "could mean two days"),
        ("P30D", "write a day (2026-05-01), 'P30D after end' or 'P10D after seen'"),
        ("P30D after notice", "write a day (2026-05-01), 'P30D after end' or 'P10D after seen'"),
        ("P0D after end", "write a day (2026-05-01), 'P30D after end' or 'P10D after seen'"),
        ("10 days after seen", "write a day (2026-05-01), 'P30D after end' or 'P10D after seen'"),
    ],
)
def test_what_is_neither_is_rejected_and_told_what_may_stand(town, is_accounted, text: str, reason: str):
    """Row, field and a reason that a clerk can act on; the other rows load."""
    found = gathered(town, "2025-07-14", text)
    assert is_accounted(found)
    (problem,) = found.rejects.to_dict("records")
    assert (problem["row"], problem["field"], problem["value"]) == (3, "notice_by", text)
    assert reason in problem["reason"]
    assert found.tables["warranties"]["warranty"].tolist() == ["G0"]


def test_a_places_rules_of_warranties_are_read_with_the_plan(town):
    """What is wrong with them stops the load before anything is read, in one sentence with file and what may stand."""
    town.csv("ours.toml", '[works."spot repair"]', 'term = "P2Y"')
    plan = town.toml('[rules]\nwarranties = "ours.toml"\n')
    assert "spot repair" in read_plan(plan).rules["warranties"]
    town.csv("ours.toml", '[works."spot mending"]', 'term = "P2Y"')
    with pytest.raises(SourceError, match=r"SOURCES.toml, \[rules\]: warranties = 'ours.toml': .*no kind of work"):
        read_plan(plan)
