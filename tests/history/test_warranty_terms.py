"""Days of warranties against dateutil, pandas, public law and the calendar; and the day by which notice must be given."""

from datetime import date

import numpy as np
import pandas as pd
import pytest
from dateutil.relativedelta import relativedelta
from hypothesis import given
from hypothesis import strategies as st

from sewermap.errors import SourceError
from sewermap.history.warranty import notice_day, notice_rule
from sewermap.history.warranty_terms import LAST_DAY, ends_of
from tests.history.warranty_told import NAN, NO_WORKS, RULES, check_of, day, days, in_force, runs, warranties

BEGINS = st.dates(date(1990, 1, 1), date(2090, 12, 31))


def end(begins: str, term: str) -> str:
    return str(ends_of(days([begins]), pd.Series([term]))[0][0].astype("datetime64[D]"))


@pytest.mark.parametrize(
    ("begins", "term", "ends"),
    [
        ("2024-02-29", "P1Y", "2025-02-28"),  # dateutil and pandas; SQLite would say 2025-03-01
        ("2024-02-29", "P12M", "2025-02-28"),
        ("2024-02-29", "P4Y", "2028-02-29"),
        ("2024-02-28", "P1Y", "2025-02-28"),
        ("2023-02-28", "P1Y", "2024-02-28"),
        ("2023-03-01", "P1Y", "2024-03-01"),
        ("2023-03-01", "P365D", "2024-02-29"),  # a day short of a year: 2024 has a 29 February
        ("2022-03-01", "P365D", "2023-03-01"),
        ("2024-01-31", "P1M", "2024-02-29"),
        ("2024-08-31", "P1Y6M", "2026-02-28"),
        ("2024-12-31", "P52W", "2025-12-30"),
        ("2024-01-31", "P1M1D", "2024-03-01"),  # months first, then days
    ],
)
def test_days_of_terms(begins, term, ends) -> None:
    """Terms end where dateutil and pandas say they do, the table of dates worked out by hand."""
    assert end(begins, term) == ends
    parts = {"Y": "years", "M": "months", "W": "weeks", "D": "days"}
    number, given_parts = "", {}
    for sign in term[1:]:
        number, given_parts = (number + sign, given_parts) if sign.isdigit() else ("", given_parts | {parts[sign]: int(number)})
    assert str(pd.Timestamp(begins) + pd.DateOffset(**given_parts))[:10] == ends
    assert str(day(begins) + relativedelta(**given_parts)) == ends


@given(st.lists(st.tuples(BEGINS, st.sampled_from(["P1Y", "P24M", "P365D", "P1Y6M", "P52W", "P18M", "P2Y3D"])), max_size=20))
def test_a_column_of_terms_is_each_term_added_by_pandas(pairs) -> None:
    """Whatever pairs stand in a column, each ends where ``pandas.DateOffset`` says."""
    offsets = {
        "P1Y": {"years": 1}, "P24M": {"months": 24}, "P365D": {"days": 365}, "P1Y6M": {"years": 1, "months": 6},
        "P52W": {"weeks": 52}, "P18M": {"months": 18}, "P2Y3D": {"years": 2, "days": 3},
    }  # fmt: skip
    ends, _ = ends_of(days([begins for begins, _ in pairs]), pd.Series([term for _, term in pairs], dtype="str"))
    wanted = [pd.Timestamp(begins) + pd.DateOffset(**offsets[term]) for begins, term in pairs]
    assert [pd.Timestamp(one) for one in ends] == wanted


def test_a_year_from_29_february_says_so() -> None:
    """Only where the calendar lacks the day is there a note, and it names both days."""
    _, notes = ends_of(days(["2024-02-29", "2024-02-28", "2024-02-29"]), pd.Series(["P1Y", "P1Y", "P366D"]))
    assert notes[0] == "P1Y from 29 February 2024 ends on 28 February 2025: that month has no day 29"
    assert notes[1:].isna().all()


def test_a_term_past_the_calendar_ends_with_it() -> None:
    """A slip of the pen, such as 9000 years, neither fails nor hides the others; the note tells it."""
    ends, notes = ends_of(days(["2024-01-01", "2024-01-01"]), pd.Series(["P9000Y", "P1Y"]))
    assert [str(one.astype("datetime64[D]")) for one in ends] == [str(LAST_DAY), "2025-01-01"]
    assert "P9000Y runs past the calendar" in notes[0]
    assert end("2024-01-01", "P99999999999999999999D") == str(LAST_DAY)


@pytest.mark.parametrize("term", ["", "1Y", "P", "P0D", "PT5H", "P1.5Y", "one year", "P-1Y", "P1D1Y"])
def test_what_is_no_term(term) -> None:
    """A text that is no term in whole years, months, weeks and days is refused with an example."""
    with pytest.raises(SourceError, match="is no term; write one year as P1Y"):
        ends_of(days(["2024-01-01"]), pd.Series([term], dtype="str"))


def test_florence_kentucky() -> None:
    """Code of ordinances of Florence, Kentucky, § 50.029: one year after the final inspection, repairs begin within ten days of
    notice. Final inspection on 2024-06-14: the last day is 2025-06-14, and on the day after it is over.
    """
    recorded = warranties({"begins_on": "2024-06-14", "term": "P1Y", "cure": 10, "start_event": "final inspection"})
    row = in_force(recorded, NO_WORKS, RULES, day("2025-01-01")).iloc[0]
    assert (str(row["ends_on"])[:10], row["cure"], row["start_event"]) == ("2025-06-14", 10, "final inspection")
    none = runs(("R-1", "2023-01-01", 0, 20))
    assert check_of(recorded, none, "2025-06-14")["state"].item() == "due"
    assert check_of(recorded, none, "2025-06-15")["state"].item() == "lapsed"


def test_payson_arizona() -> None:
    """Town code of Payson, Arizona, § 94: two years from final approval. Approved on 29 February 2024: 28 February 2026."""
    recorded = warranties({"begins_on": "2024-02-29", "term": "P2Y", "start_event": "final approval"})
    row = in_force(recorded, NO_WORKS, RULES, day("2024-03-01")).iloc[0]
    assert str(row["ends_on"])[:10] == "2026-02-28"
    assert "28 February 2026" in row["note"]


def test_north_east_water_victoria() -> None:
    """North East Water, Victoria: 24 months, a final inspection at the end, put right within 21 days of notice. From 2023-11-01
    with an inspection in the last 30 days: it opens on 2025-10-02 and is possible to 2025-11-01.
    """
    recorded = warranties({"begins_on": "2023-11-01", "term": "P24M", "check_lead": 30, "cure": 21})
    row = in_force(recorded, NO_WORKS, RULES, day("2025-10-01")).iloc[0]
    assert [str(row[name])[:10] for name in ("check_from", "check_by")] == ["2025-10-02", "2025-11-01"]
    assert row["cure"] == 21
    looked = runs(("R-1", "2025-11-01", 0, 20))
    assert [
        check_of(recorded, looked, one)["state"].item() for one in ("2025-10-01", "2025-10-31", "2025-11-01", "2025-12-31")
    ] == [
        "not yet",
        "due",
        "checked",
        "checked",
    ]


def test_days_of_notice() -> None:
    """Empty: the end; a day: that day; after end and after seen: added on the calendar; after seen, unseen: none."""
    rules = pd.Series(
        ["", "2026-05-01", "P30D after end", "P10D after seen", "P1M after seen", "p10d AFTER Seen", NAN, "soon"], dtype="str"
    )
    ends = days(["2026-01-31"] * len(rules))
    saw = days(["2026-01-30"] * len(rules))
    told = notice_day(rules, ends, saw).astype("datetime64[D]").astype(str).tolist()
    assert told == [
        "2026-01-31", "2026-05-01", "2026-03-02", "2026-02-09", "2026-02-28", "2026-02-09", "2026-01-31", "2026-01-31",
    ]  # fmt: skip
    unseen = notice_day(rules, ends, pd.Series(np.full(len(rules), "NaT", dtype="datetime64[s]")))
    assert np.isnat(unseen).tolist() == [False, False, False, True, True, True, False, False]


@pytest.mark.parametrize(
    ("text", "kept"),
    [
        ("", ""),
        ("  ", ""),
        ("2026-05-01", "2026-05-01"),
        ("p30d  after END", "P30D after end"),
        ("P1M after seen", "P1M after seen"),
    ],
)
def test_rules_of_notice(text, kept) -> None:
    """A rule of notice is kept in one way of writing, and reading it again changes nothing."""
    assert notice_rule(text) == kept
    assert notice_rule(kept) == kept


@pytest.mark.parametrize("text", ["30 days", "P30D", "P0D after end", "2026-02-30", "P30D after start", "after end"])
def test_what_is_no_rule_of_notice(text) -> None:
    """Anything else is refused with examples."""
    with pytest.raises(SourceError, match="does not say by when notice must be given; write a day"):
        notice_rule(text)
