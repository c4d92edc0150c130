"""Issues and their lives as lines of text: what each run saw, what each work did, and why sightings are held to be one."""

from __future__ import annotations

from typing import Any

from sewermap.units import feet_and_inches


def issues_told(story: dict[str, Any], *, why: bool) -> list[str]:
    """A paragraph an issue, in order of measure; with ``why``, what each match rests on."""
    seen = {row["observation"]: row for row in story["observations"]}
    works = {row["work"]: row["kind"] for row in story["works"]}
    lines: list[str] = []
    for issue in story["issues"]:
        lines += [_headline(issue), *_facts(issue)]
        sightings = {row["run"]: row for row in issue["sightings"]}
        for event in issue["events"]:
            lines.append("    " + _event(event, sightings.get(event["run"]), seen, works))
            if why and event["verdict"] == "seen" and event["run"] in sightings:
                lines.append("        " + _ground(sightings[event["run"]]))
        lines.append("")
    return lines


def _headline(issue: dict[str, Any]) -> str:
    grade = "ungraded" if issue["grade"] is None else f"grade {issue['grade']}"
    if issue["measure_m"] is None:
        place = "not placed"
    else:
        measure, within = issue["measure_m"], issue["within_m"]
        place = f"at {measure:.2f} m ({feet_and_inches(measure)}) from the tie-in, within {within:.2f} m"
    return f"{issue['issue']}: {issue['kind']}, {issue['state']}, {grade}, {place}, side {issue['side'] or 'unknown'}"


def _facts(issue: dict[str, Any]) -> list[str]:
    """What is worth a line of its own."""
    lines = []
    if issue["grade_why"]:
        crew = issue["crew_grade"]
        lines.append(f"    {issue['grade_why']}" + (f" by our table; the crew says {crew}" if crew is not None else ""))
    if issue["after_work"] is not None:
        lines.append(f"    came back {issue['days_after_work']} days after {issue['after_work_kind']} {issue['after_work']}")
    if issue["growth_low"] is not None:
        low, high = issue["growth_low"], issue["growth_high"]
        lines.append(f"    changes by {low:+.0f} to {high:+.0f} percent of the bore a year, in 9 cases of 10")
    return lines


def _event(event: dict[str, Any], sighting: dict[str, Any] | None, seen: dict[str, dict[str, Any]], works: dict[str, str]) -> str:
    day = event["day"]
    if event["work"] is not None:
        return f"{day}  work {event['work']}: {works.get(event['work'], 'work')}, which should mend it"
    if event["verdict"] != "seen" or sighting is None:
        reason = f" ({event['reason']})" if event["reason"] else ""
        return f"{day}  run {event['run']}: {event['verdict']}{reason}" + _now(event)
    row = seen[sighting["observation"]]
    size = f", {row['percent']:g} %" if row["percent"] is not None else ""
    grade = f", grade {row['grade']}" if row["grade"] is not None else ""
    return f"{day}  run {event['run']}: {row['kind']} at {row['reading']} {row['unit']}{size}{grade}" + _now(event)


def _now(event: dict[str, Any]) -> str:
    return f"  → {event['state']}" if event["state"] else ""


def _ground(sighting: dict[str, Any]) -> str:
    """Why the sighting is held to be one of this issue."""
    if sighting["by_hand"]:
        return f"{sighting['observation']}: {sighting['by_hand']}"
    if sighting["cost"] is None:
        return f"{sighting['observation']}: matched with nothing"
    text = f"{sighting['observation']}: likelihood cost {sighting['cost']:.1f} here"
    if sighting["runner_up"] is None:
        return text + "; no other issue could be meant"
    return text + f", {sighting['runner_up_cost']:.1f} for {sighting['runner_up']} (less is likelier)"
