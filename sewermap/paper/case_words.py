"""A warranty, its line, an issue and its sightings as rows and sentences: a notice and an evidence folder say the same."""

from typing import Any

from sewermap.answers.evidence import Evidence
from sewermap.cautions import STOP
from sewermap.paper.letter import Warn
from sewermap.paper.words import length, stretch

SURE = 1.96
"""Deviations to both sides that hold 19 cases of 20 of a normal distribution."""

PLACES = (
    "Measures run along the pipe from the tie-in, its joint with the public main. They come from the counter of a camera's "
    "cable, so each has an error; where it is told, the place lies within it in 19 cases of 20. The property line is taken from "
    "a map or from what a camera saw; it is no legal survey."
)

STATE_WORDS = {
    "new": "seen by the last run that looked here, and by none before it",
    "same": "still there when last looked at, unchanged",
    "worse": "still there when last looked at, and worse",
    "better": "still there when last looked at, and less",
    "not seen": "not seen any more by the last run that passed here",
    "not looked": "work was done here since it was last seen, and nobody has looked again",
    "mended": "mended: work was done, and a run that passed afterwards did not see it",
    "returned": "came back after work that should have mended it",
}
"""The states of an issue's life, for a reader who has no manual."""

DOUBTFUL = ("not seen", "not looked")
"""States in which nobody knows whether the defect is still there."""


def stop_told(case: Evidence) -> list[Warn]:
    """The order to stop, with the issues it is for; nothing where no cross-bore is suspected on the line."""
    return [Warn(f"{STOP} Suspected on this line: {', '.join(case.cross_bores)}.")] if case.cross_bores else []


def place_told(row: dict[str, Any]) -> str:
    """House and street as one reads them; empty where neither is known.

    >>> place_told({"address": "9 Elm Lane", "street": "Elm Lane"}), place_told({"address": "9", "street": "Elm Lane"})
    ('9 Elm Lane', '9 Elm Lane')
    """
    address, street = str(row["address"] or ""), str(row["street"] or "")
    return address if street.casefold() in address.casefold() else f"{address} {street}".strip()


def line_rows(line: dict[str, Any] | None, name: str) -> list[tuple[str, str]]:
    """The pipe: name, where, what it is made of, where private ends."""
    if line is None:
        return [("building sewer", f"lateral {name} (the map has no line of it)")]
    pipe = ", ".join(str(line[key]) for key in ("diameter", "material") if line[key])
    ends, border = line["private_ends_m"], line["property_line_m"]
    rows = [
        ("building sewer", f"lateral {name}" + (f", {place_told(line)}" if place_told(line) else "")),
        ("property", line["property"]),
        ("pipe", f"{length(line['length_m'], 'ft')} long" + (f", {pipe}" if pipe else "")),
        ("laid on", line["installed_on"]),
        ("property line", f"{length(border, 'ft')} from the tie-in" if border is not None else "not known"),
    ]
    if ends is not None and line["private_ends_at"] not in (None, "property line"):
        rows.append(("private ends", f"at the {line['private_ends_at']}, {length(ends, 'ft')} from the tie-in"))
    return [(label, str(value)) for label, value in rows if value]


def warranty_rows(warranty: dict[str, Any]) -> list[tuple[str, str]]:
    """The terms as they are recorded."""
    event = f" ({warranty['start_event']})" if warranty["start_event"] else ""
    rows = [
        ("warranty", warranty["warranty"]),
        ("who answers", warranty["answerable"] or "NOT RECORDED: find out who answers before this is sent"),
        ("term", f"{warranty['begins_on']}{event} to {warranty['ends_on']}, that day included ({warranty['term']})"),
        ("for the work", f"{warranty['work']}{_on(warranty['work_on'])}" if warranty["work"] else None),
        ("stretch", stretch_told(warranty)),
        ("kinds", warranty["kinds"] or "every defect"),
        ("to be put right", f"within {warranty['cure']:g} days of a notice"),
        ("camera check", check_told(warranty)),
        ("note", warranty["note"]),
    ]
    return [(label, str(value)) for label, value in rows if value]


def stretch_told(row: dict[str, Any]) -> str:
    """The stretch that a warranty is for; it may name one end alone."""
    low, high = row["from_measure_m"], row["to_measure_m"]
    if low is None and high is None:
        return "the whole line"
    if high is None:
        return f"from {length(low, 'ft')} from the tie-in to the building"
    ends = sorted((low or 0.0, high))
    return f"{stretch(ends[0], ends[1], 'ft')} from the tie-in"


def check_told(warranty: dict[str, Any]) -> str:
    """Whether a camera went through the line in time."""
    window = f"{warranty['check_from']} to {warranty['check_by']}"
    if warranty["checked_on"]:
        return f"made on {warranty['checked_on']} by run {warranty['checked_by']} (window {window})"
    left = f"; left to look at: {warranty['left_to_look']}" if warranty["left_to_look"] else ""
    said = {"not yet": "the window is not open yet", "due": "due, not made yet", "lapsed": "not made in time"}
    return f"{said.get(warranty['state'], warranty['state'])} (window {window}){left}"


def issue_rows(claim: dict[str, Any]) -> list[tuple[str, str]]:
    """A defect: what, how bad, where."""
    sides = {"private": "private", "public": "public", "undetermined": "undetermined: too near the property line to tell"}
    grade = f", grade {claim['grade']} of 5 (5 is worst)" if claim["grade"] is not None else ", not graded"
    rows = [("what", f"{claim['kind']}{grade}"), ("state", state_told(claim)), ("where", where_told(claim))]
    if claim["x"] is not None:
        rows.append(("on the map", map_told(claim)))
    return [*rows, ("side", sides.get(str(claim["side"]), "not known: no property line is known here"))]


def state_told(claim: dict[str, Any]) -> str:
    """The state in a sentence that needs no glossary."""
    return STATE_WORDS.get(claim["state"], str(claim["state"]))


def where_told(claim: dict[str, Any]) -> str:
    """The measure from the tie-in, and how well it is known."""
    if claim["measure_m"] is None:
        return "not placed"
    error = f", give or take {length(SURE * claim['sigma_m'], 'ft')}" if claim["sigma_m"] is not None else ""
    return f"{length(claim['measure_m'], 'ft')} from the tie-in{error}"


def map_told(claim: dict[str, Any]) -> str:
    """Coordinates in the map's CRS, and longitude and latitude."""
    told = f"x {claim['x']:.2f}, y {claim['y']:.2f} ({claim['crs']})"
    return told + (f"; lon {claim['lon']:.6f}, lat {claim['lat']:.6f}" if claim["lon"] is not None else "")


def sighting_told(row: dict[str, Any]) -> str:
    """One sighting: the reading and the word as written, and which file and row say so."""
    written = row["kind_as_written"] or row["kind"]
    word = f"“{written}”" + (f" (read as {row['kind']})" if written != row["kind"] else "")
    ends = (row["reading"] or "(empty)") + (f" to {row['to_reading']}" if row["to_reading"] else "")
    sizes = [
        f"{row['percent']:g} % of the bore" if row["percent"] is not None else None,
        f"at {row['clock_from']:g} o'clock" if row["clock_from"] is not None else None,
        f"grade {row['grade']}" if row["grade"] is not None else None,
        f"measure {length(row['measure_m'], 'ft')}" if row["measure_m"] is not None else "not placed",
        f"remark: {row['remark']}" if row["remark"] else None,
        f"picture {row['picture']}" if row["picture"] else None,
        f"film {row['film']}" + (f" at {row['film_time']}" if row["film_time"] else "") if row["film"] else None,
    ]
    told = ", ".join(part for part in (f"{word} at counter {ends} (in {row['unit']})", *sizes) if part)
    return f"{run_named(row)}: {told} [{row['source_file']}, row {row['source_row']}]"


def run_told(row: dict[str, Any]) -> str:
    """One run: why it was made, and what it passed."""
    passed = f"passed {stretch(row['from_measure_m'], row['to_measure_m'], 'ft')}" if row["from_measure_m"] is not None else None
    parts = [row["reason"], passed or "what it passed is not known", row["notes"]]
    return f"{run_named(row)}: " + ", ".join(str(part) for part in parts if part)


def work_told(row: dict[str, Any]) -> str:
    """One work on the line."""
    by = f" by {row['by']}" if row["by"] else ""
    return f"{row['done_on']}, work {row['work']}: {row['kind'] or 'kind not said'}{by}, {stretch_told(row)}"


def run_named(row: dict[str, Any]) -> str:
    """Day, run and crew."""
    return f"{row['ran_on']}, run {row['run']}" + (f" ({row['crew']})" if row["crew"] else "")


def _on(day: str | None) -> str:
    return f" of {day}" if day else ""
