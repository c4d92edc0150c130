"""Warranty checks as a calendar file (RFC 5545) that other programs import: an all-day event a check, from the day its window
opens to the day by which it must be done.

*Importing again updates.* An event's UID is made from the warranty's name alone, so every later file speaks of the same event,
whatever database or engine it comes from. DTSTAMP and SEQUENCE come from the day that the file speaks of, never from a clock: a
later day's file is the newer revision, and the same day and facts give the same bytes.

*What needs no camera any more is marked.* A file cannot take an event out of a calendar that does not appear in it. So a check
that was done, is over, or whose warranty was withdrawn stays in the file as STATUS:CANCELLED, with the reason at the head of its
title, as long as an older calendar may show it as ahead; calendar programs hide it or strike it through.

*No yearly rule.* A rule from 29 February would skip three years in four (§ 3.3.10): each check is an event of its own.
"""

import uuid
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd

from sewermap.errors import SewermapError
from sewermap.paper.case_words import place_told, stretch_told
from sewermap.paper.rfc5545 import content_line, day_value, escaped
from sewermap.paper.words import one_line
from sewermap.plain import records

NAMES = uuid.uuid5(uuid.NAMESPACE_URL, "urn:sewermap:warranty-check")
"""The space of our UIDs. Never to be changed: every calendar that holds our events would hold them twice."""

OPEN = ("not yet", "due")
FIRST_DAY = date(2000, 1, 1)
"""SEQUENCE counts days from here."""

CARE = "Sewage and sewer gas are dangerous: local code and licensed practice rule."
LONGEST = 200
LAST_DAY = date.max


def uid_of(warranty: str) -> str:
    """The UID of a warranty's check.

    >>> uid_of("G-101")
    '78def1ce-e44c-5fab-bd0f-d68241a6e8c0'
    """
    return str(uuid.uuid5(NAMES, warranty))


def calendar_bytes(checks: gpd.GeoDataFrame, as_of: date) -> bytes:
    """The calendar of the checks (columns of ``answers.checks_ahead``) as it stands on a day. Without checks it has no event."""
    lonlat = gpd.GeoSeries(checks.geometry.to_crs(4326))
    rows = records(pd.DataFrame(checks.drop(columns="geometry")).assign(lon=lonlat.x.to_numpy(), lat=lonlat.y.to_numpy()))
    head = [("BEGIN", "VCALENDAR"), ("VERSION", "2.0"), ("PRODID", "-//sewermap//warranty checks//EN")]
    events = [line for row in rows for line in _event(row, as_of)]
    return b"".join(content_line(name, value) for name, value in [*head, *events, ("END", "VCALENDAR")])


def write_calendar(checks: gpd.GeoDataFrame, as_of: date, out: Path) -> None:
    """Write the calendar file. Raises SewermapError where it cannot be written."""
    try:
        out.write_bytes(calendar_bytes(checks, as_of))
    except OSError as error:
        raise SewermapError(f"'{out}' cannot be written: {error.strerror or error}") from error


def _event(row: dict[str, Any], as_of: date) -> list[tuple[str, str]]:
    begins, opens, by = (date.fromisoformat(row[name]) for name in ("begins_on", "check_from", "check_by"))
    # DTEND is the first day that is no longer part of the event (§ 3.6.1).
    ends = by + timedelta(days=1) if by < LAST_DAY else by
    revision = max((as_of - FIRST_DAY).days, 0)
    texts = [("SUMMARY", _title(row)), ("LOCATION", place_told(row)), ("DESCRIPTION", _told(row))]
    return [
        ("BEGIN", "VEVENT"),
        ("UID", uid_of(row["warranty"])),
        ("DTSTAMP", f"{day_value(as_of)}T000000Z"),
        ("SEQUENCE", str(revision)),
        # A long lead may reach back before the warranty; no camera counts then.
        ("DTSTART;VALUE=DATE", day_value(max(begins, opens))),
        ("DTEND;VALUE=DATE", day_value(ends)),
        *((name, escaped(text)) for name, text in texts if text),
        *([("GEO", f"{row['lat']:.6f};{row['lon']:.6f}")] if row["lat"] is not None and np.isfinite(row["lat"]) else []),
        ("STATUS", "CONFIRMED" if row["state"] in OPEN else "CANCELLED"),
        # A window of weeks must not make anybody look busy.
        ("TRANSP", "TRANSPARENT"),
        ("END", "VEVENT"),
    ]


def _title(row: dict[str, Any]) -> str:
    why = {
        "checked": f"Done on {row['checked_on']}: ",
        "lapsed": "Lapsed without a check: ",
        "withdrawn": "Withdrawn: ",
    }.get(row["state"], "")
    where = ", ".join(part for part in (place_told(row), f"lateral {row['lateral']}", f"warranty {row['warranty']}") if part)
    return one_line(f"{why}Camera check: {where}", LONGEST)


def _told(row: dict[str, Any]) -> str:
    place = place_told(row)
    event = f" ({row['start_event']})" if row["start_event"] else ""
    lines = [
        row["caution"],
        f"Warranty {row['warranty']} on lateral {row['lateral']}" + (f", {place}" if place else ""),
        f"Term: {row['begins_on']}{event} to {row['ends_on']}, that day included",
        f"Answerable: {row['answerable'] or 'nobody is named'}",
        f"To look at with a camera: {stretch_told(row)}, from {row['check_from']} to {row['check_by']}",
        f"Left to look at: {row['left_to_look']}" if row["left_to_look"] else None,
        f"Looked at on {row['checked_on']} by run {row['checked_by']}" if row["checked_on"] else None,
        f"Last run: {row['last_run_on'] or 'none'}; open issues: {row['open_issues']:g}"
        if row["open_issues"] is not None
        else None,
        f"Note: {row['note']}" if row["note"] else None,
        CARE,
    ]
    return "\n".join(one_line(line, 5 * LONGEST) for line in lines if line)
