"""Days as people write them."""

import datetime as dt

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from etl.fields.dates import days


def read(*texts, order=None):
    """Days and reasons as lists."""
    values, reasons = days(pd.Series(list(texts), dtype="str"), order)
    return values.astype("datetime64[D]").tolist(), reasons.tolist()


LAST_OF_MAY = dt.date(2024, 5, 31)


@pytest.mark.parametrize(
    "text",
    [
        "2024-05-31",
        "2024/5/31",
        "20240531",
        "31.05.2024",
        "5/31/2024",
        "31/05/2024",
        "31-05-2024",
        "5/31/24",
        "31 May 2024",
        "May 31, 2024",
        "31-May-2024",
        "31st May 2024",
        "2024-05-31 14:30",
        "2024-05-31T14:30:00+02:00",
        "5/31/2024 2:30 PM",
    ],
)
def test_ways_to_write_a_day(text):
    """Each way that can mean one day only means that day; a time of day is dropped."""
    assert read(text)[0] == [LAST_OF_MAY]


def test_a_column_decides_its_order():
    """One value that can be read in one order only proves the order of all others in its column."""
    assert read("5/6/2024", "5/31/2024")[0] == [dt.date(2024, 5, 6), LAST_OF_MAY]
    assert read("5/6/2024", "31/5/2024")[0] == [dt.date(2024, 6, 5), LAST_OF_MAY]


def test_a_day_that_could_be_two_is_refused():
    """Without proof, or with proof of both orders, 5/6/2024 is refused, and the sentence says what to do; 5/5/2024 is clear."""
    for others in ([], ["5/31/2024", "31/5/2024"]):
        values, reasons = read("5/6/2024", "5/5/2024", *others)
        assert values == [None, dt.date(2024, 5, 5), *[LAST_OF_MAY] * len(others)]
        assert 'could mean two days; say dates = "mdy" or "dmy"' in reasons[0]


def test_the_section_may_say_the_order():
    """A stated order is kept to, also where the other would make a day."""
    assert read("5/6/2024", order="mdy")[0] == [dt.date(2024, 5, 6)]
    assert read("5/6/2024", "5.6.2024", order="dmy")[0] == [dt.date(2024, 6, 5)] * 2
    assert read("5/31/2024", order="dmy")[1] == ["there is no day '5/31/2024'"]
    assert "does not start with the year" in read("5/31/2024", order="ymd")[1][0]


@pytest.mark.parametrize(
    "text", ["2024-02-30", "2023-02-29", "31/31/2024", "0000-00-00", "31 Foo 2024", "20241331", "00.01.2024"]
)
def test_impossible_days(text):
    """A day that no calendar has is refused in those words."""
    assert read(text) == ([None], [f"there is no day '{text}'"])


@pytest.mark.parametrize("text", ["soon", "45443", "2024", "May 2024", "2024-05-31x", "12:30"])
def test_texts_that_are_no_day(text):
    """What is not written as a day is refused, a spreadsheet's serial number too."""
    assert read(text) == ([None], [f"'{text}' is no day; write it as 2024-05-31"])


@given(st.lists(st.dates(dt.date(1900, 1, 1), dt.date(2200, 12, 31)), min_size=1), st.sampled_from(["%m/%d/%Y", "%d/%m/%Y"]))
def test_a_slashed_day_is_read_right_or_refused(wanted, form):
    """Whatever days a column holds, in one of both orders: each is read as it was meant, or refused; never as another."""
    values, reasons = read(*(day.strftime(form) for day in wanted))
    for day, value, reason in zip(wanted, values, reasons, strict=True):
        assert value == day or (value is None and "two days" in reason)


def test_days_are_decided_file_by_file(town):
    """What one file proves of its order says nothing of another file of the same section."""
    town.laterals()
    town.csv("runs-a.csv", "run,lateral,ran_on,unit", "R1,L1,5/6/2024,ft", "R2,L1,5/31/2024,ft")
    town.csv("runs-b.csv", "run,lateral,ran_on,unit", "R3,L1,5/6/2024,ft", "R4,L1,31/5/2024,ft")
    town.csv("runs-c.csv", "run,lateral,ran_on,unit", "R5,L1,5/6/2024,ft")
    gathered = town.gather('[laterals]\nfrom = "laterals.gpkg"\ntie_in = "start"\n[runs]\nfrom = "runs-*.csv"\n')
    ran_on = gathered.tables["runs"].set_index("run")["ran_on"]
    assert (ran_on["R1"], ran_on["R3"]) == (pd.Timestamp(2024, 5, 6), pd.Timestamp(2024, 6, 5))
    assert gathered.rejects["file"].tolist() == ["runs-c.csv"]
