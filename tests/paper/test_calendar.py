"""The calendar, read back by icalendar (a library that had no part in writing it), and imported again and again."""

import datetime as dt
import re
from pathlib import Path
from typing import Any

import icalendar
import pytest
from hypothesis import given
from hypothesis import strategies as st

import sewermap
from sewermap.errors import SewermapError
from sewermap.paper.calendar import uid_of
from sewermap.paper.rfc5545 import content_line, escaped
from tests.cli.running import good
from tests.cli.running import sewermap as run
from tests.paper.warranty_town import HOSTILE_STREET, UTM, WARRANTIES, PaperTown, paper_town

DAYS = BEFORE_CHECK, AFTER_CHECK, AFTER_WORK = dt.date(2025, 1, 5), dt.date(2025, 1, 15), dt.date(2025, 1, 25)
"""The line of G-1 was looked at on 2025-01-10, within its window; work W-1 was done on it on 2025-01-20."""

RFC_EXAMPLE = "Project XYZ Final Review\nConference Room - 3B\nCome Prepared."
RFC_WRITTEN = r"Project XYZ Final Review\nConference Room - 3B\nCome Prepared."
"""RFC 5545 § 3.3.11 (read)."""


@pytest.fixture(scope="module")
def town(tmp_path_factory: pytest.TempPathFactory) -> PaperTown:
    """The small town, not to be changed."""
    folder = tmp_path_factory.mktemp("calendar")
    return paper_town(str(folder / "town.gpkg"), folder / "town")


@pytest.fixture
def own_town(engine_where: str, tmp_path: Path) -> PaperTown:
    """A small town of one's own, once on each engine."""
    return paper_town(engine_where, tmp_path / "town")


def calendar_of(town: PaperTown, day: dt.date) -> bytes:
    """The calendar file of a day."""
    out = town.folder / "checks.ics"
    town.book.calendar(out, day)
    return out.read_bytes()


def events_of(content: bytes) -> dict[str, icalendar.Event]:
    """The events of a file by UID, as icalendar reads them."""
    events = icalendar.Calendar.from_ical(content).events
    by_uid = {str(event["UID"]): event for event in events}
    assert len(by_uid) == len(events)
    return by_uid


def imported(shown: dict[str, icalendar.Event], content: bytes) -> dict[str, icalendar.Event]:
    """What a calendar shows after importing a file: events of a UID that it has are replaced unless they are older (RFC 5546)."""
    fresh = {
        uid: event for uid, event in events_of(content).items() if uid not in shown or event["SEQUENCE"] >= shown[uid]["SEQUENCE"]
    }
    return shown | fresh


def as_bytes(shown: dict[str, icalendar.Event]) -> dict[str, bytes]:
    """What a calendar shows, to be compared."""
    return {uid: event.to_ical() for uid, event in shown.items()}


def fields(event: icalendar.Event) -> dict[str, Any]:
    """The fields of an event that say what it is."""
    return {
        "from": event.decoded("DTSTART"),
        "until": event.decoded("DTEND"),
        "where": str(event["LOCATION"]),
        "status": str(event["STATUS"]),
    }


def test_text_is_escaped_as_the_rfc_does() -> None:
    """The example of RFC 5545 § 3.3.11 is written as it stands there, and read back as three lines."""
    assert escaped(RFC_EXAMPLE) == RFC_WRITTEN
    event = icalendar.Event.from_ical(b"BEGIN:VEVENT\r\n" + content_line("DESCRIPTION", escaped(RFC_EXAMPLE)) + b"END:VEVENT\r\n")
    assert str(event["DESCRIPTION"]).split("\n") == RFC_EXAMPLE.split("\n")


@given(st.text(st.one_of(st.sampled_from('\\;,:"\r\n\t\u2028é日🔧'), st.characters(codec="utf-8")), max_size=300))
def test_any_text_comes_back_from_lines_that_are_short_enough(text: str) -> None:
    """Every line has at most 75 octets and is whole UTF-8 (RFC 5545 § 3.1); icalendar reads the text that was written."""
    line = content_line("SUMMARY", escaped(text))
    pieces = line.removesuffix(b"\r\n").split(b"\r\n")
    assert all(len(piece) <= 75 and piece.decode("utf-8") for piece in pieces)
    assert all(piece.startswith(b" ") for piece in pieces[1:])
    plain = re.sub("\r\n|[\r\n\v\f\x1c\x1d\x1e\x85\u2028\u2029]", "\n", text)
    plain = re.sub("[\x00-\x08\x0e-\x1f\x7f]", " ", plain)
    event = icalendar.Event.from_ical(b"BEGIN:VEVENT\r\n" + line + b"END:VEVENT\r\n")
    assert str(event["SUMMARY"]) == plain


def test_the_file_says_what_the_answer_says(town: PaperTown) -> None:
    """Each check is one all-day event, whose fields icalendar reads as ``due`` has them; hostile texts come back as written."""
    content = calendar_of(town, BEFORE_CHECK)
    events, due = events_of(content), town.book.due(BEFORE_CHECK, all_states=True).set_index("warranty")
    assert set(events) == {uid_of("G-1"), uid_of("G-2")}
    assert fields(events[uid_of("G-1")]) == {
        "from": due["check_from"]["G-1"].date(),
        "until": due["check_by"]["G-1"].date() + dt.timedelta(days=1),
        "where": "12 Elm Lane",
        "status": "CONFIRMED",
    }
    assert str(events[uid_of("G-2")]["LOCATION"]) == f"7 {HOSTILE_STREET}"
    told = str(events[uid_of("G-1")]["DESCRIPTION"]).split("\n")
    assert "Answerable: Northlight; & Sons, Ltd." in told
    assert "Term: 2024-02-29 (final inspection) to 2025-02-28, that day included" in told
    assert content.endswith(b"END:VCALENDAR\r\n")
    assert max(map(len, content.split(b"\r\n"))) <= 75
    assert b"\n" not in content.replace(b"\r\n", b"")


def test_a_check_from_29_february_is_an_event_of_its_own(town: PaperTown) -> None:
    """A one-year term from 29 February ends on 28 February (python-dateutil, pandas); there is no yearly rule (§ 3.3.10)."""
    content = calendar_of(town, BEFORE_CHECK)
    event = events_of(content)[uid_of("G-1")]
    assert (event.decoded("DTSTART"), event.decoded("DTEND")) == (dt.date(2024, 12, 30), dt.date(2025, 3, 1))
    assert b"RRULE" not in content


def test_importing_twice_changes_nothing(town: PaperTown) -> None:
    """The same file imported again leaves the calendar as it was, and the same day gives the same bytes."""
    content = calendar_of(town, BEFORE_CHECK)
    once = imported({}, content)
    assert len(once) == 2
    assert as_bytes(imported(once, content)) == as_bytes(once)
    assert calendar_of(town, BEFORE_CHECK) == content


def test_a_later_file_updates(town: PaperTown) -> None:
    """A check that was done is marked in the event it always was; an older file imported afterwards does not bring it back."""
    before, after = calendar_of(town, BEFORE_CHECK), calendar_of(town, AFTER_CHECK)
    shown = imported(imported({}, before), after)
    done = shown[uid_of("G-1")]
    assert (str(done["STATUS"]), str(done["SUMMARY"])[:19]) == ("CANCELLED", "Done on 2025-01-10:")
    assert str(shown[uid_of("G-2")]["STATUS"]) == "CONFIRMED"
    assert as_bytes(imported(shown, before)) == as_bytes(shown)


def test_a_withdrawn_warranty_is_marked(own_town: PaperTown) -> None:
    """What a work no longer opens, because a warranty names it now, is cancelled; what was over long ago is left out."""
    rules = own_town.folder / "warranties.toml"
    rules.write_text('[works."spot repair"]\nterm = "P6M"\n', encoding="utf-8")
    plan = own_town.folder / "SOURCES.toml"
    plan.write_text(plan.read_text(encoding="utf-8") + '[rules]\nwarranties = "warranties.toml"\n', encoding="utf-8")
    own_town.load()
    shown = imported({}, calendar_of(own_town, AFTER_WORK))
    assert str(shown[uid_of("W-1·own")]["STATUS"]) == "CONFIRMED"
    own_town.load([(*WARRANTIES[0], "work"), *((*row, "W-1" if row[0] == "G-1" else "") for row in WARRANTIES[1:])])
    shown = imported(shown, calendar_of(own_town, AFTER_WORK))
    gone = shown[uid_of("W-1·own")]
    assert (str(gone["STATUS"]), str(gone["SUMMARY"])[:11]) == ("CANCELLED", "Withdrawn: ")
    assert uid_of("G-3") not in shown


def test_a_warranty_that_begins_later_after_all_moves(own_town: PaperTown) -> None:
    """A start that is corrected to a day to come moves the event that calendars show."""
    shown = imported({}, calendar_of(own_town, BEFORE_CHECK))
    own_town.load([(*row[:2], "2025-06-01", *row[3:]) if row[0] == "G-2" else row for row in WARRANTIES])
    moved = imported(shown, calendar_of(own_town, BEFORE_CHECK))[uid_of("G-2")]
    assert (str(moved["STATUS"]), moved.decoded("DTEND")) == ("CONFIRMED", dt.date(2026, 6, 2))


def test_a_corrected_term_moves_the_event(own_town: PaperTown) -> None:
    """A warranty that turns out to be over already is cancelled, though its own check lies in the past now."""
    shown = imported({}, calendar_of(own_town, BEFORE_CHECK))
    own_town.load([(*row[:2], "2023-06-01", *row[3:]) if row[0] == "G-2" else row for row in WARRANTIES])
    shown = imported(shown, calendar_of(own_town, BEFORE_CHECK))
    moved = shown[uid_of("G-2")]
    assert (str(moved["STATUS"]), moved.decoded("DTEND")) == ("CANCELLED", dt.date(2024, 6, 2))


def test_no_clock_speaks(town: PaperTown) -> None:
    """DTSTAMP and SEQUENCE come from the day that is asked for: a later day is a newer revision."""
    event, later = (events_of(calendar_of(town, day))[uid_of("G-2")] for day in (BEFORE_CHECK, AFTER_CHECK))
    assert event.decoded("DTSTAMP") == dt.datetime(2025, 1, 5, tzinfo=dt.UTC)
    assert later["SEQUENCE"] == event["SEQUENCE"] + 10


def test_both_engines_give_the_same_file(town: PaperTown, postgis_url: str, tmp_path: Path) -> None:
    """The calendar does not depend on where the town is kept."""
    other = paper_town(postgis_url, tmp_path / "town")
    assert [calendar_of(other, day) for day in DAYS] == [calendar_of(town, day) for day in DAYS]


def test_a_calendar_without_checks_is_read_all_the_same(tmp_path: Path) -> None:
    """An empty town gives a calendar that icalendar reads and that holds no event."""
    book = sewermap.create(tmp_path / "town.gpkg", UTM)
    assert book.calendar(tmp_path / "checks.ics", BEFORE_CHECK) == (0, 0)
    assert icalendar.Calendar.from_ical((tmp_path / "checks.ics").read_bytes()).events == []


def test_the_command_says_how_many(town: PaperTown, tmp_path: Path) -> None:
    """``sewermap calendar`` writes the file and counts; the database itself is never overwritten."""
    where = town.book.store.where
    done = good(run("calendar", tmp_path / "a.ics", "--as-of", AFTER_CHECK, "--db", where))
    assert (done.out, done.err) == ("", f"1 check ahead or open in {tmp_path / 'a.ics'}; 1 more marked as cancelled\n")
    assert run("calendar", where, "--db", where).is_one_line_error
    with pytest.raises(SewermapError, match="cannot be written"):
        town.book.calendar(tmp_path / "nowhere" / "a.ics")
