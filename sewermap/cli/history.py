"""``sewermap history``: everything known of one lateral."""

from __future__ import annotations

from typing import Any

import click

from sewermap.cli.options import Common, command_with_common
from sewermap.cli.output import as_json, emit_rows, emit_text, table_text

RUN_COLUMNS = ("ran_on", "run", "reason", "launch", "from_measure_m", "to_measure_m", "crew", "notes")
SEEN_COLUMNS = (
    "ran_on", "run", "reading", "unit", "kind", "measure_m", "within_m", "side", "grade", "percent", "issue", "reason", "remark",
)  # fmt: skip
LOCATED_COLUMNS = ("reading", "unit", "run", "x", "y", "measure_m", "off_line_m", "left_or_right", "used", "why_not")


@click.command("history")
@click.argument("lateral")
@click.option("--why", is_flag=True, help="Also say why sightings are held to be one issue.")
@command_with_common
def command(common: Common, lateral: str, why: bool) -> None:
    """Tell all that is known of a LATERAL in order of time: issues with their lives, runs, what they saw, works, warranties.

    LATERAL is its name, or an address only one lateral has.
    """
    book = common.book()
    if common.format in ("csv", "geojson"):
        from sewermap.answers.history import observations_of  # noqa: PLC0415 - heavy

        emit_rows(common, observations_of(book.store, lateral), SEEN_COLUMNS, what="observations")
        return
    story = book.history(lateral)
    emit_text(common, as_json(story) if common.format == "json" else _told(common, story, why=why))


def _told(common: Common, story: dict[str, Any], *, why: bool) -> str:
    from sewermap.cli.fall_told import fall_told  # noqa: PLC0415 - heavy
    from sewermap.cli.lives_told import issues_told  # noqa: PLC0415
    from sewermap.line.lines_taken import MADE_OF  # noqa: PLC0415

    address, street = story["address"] or "", story["street"] or ""
    place = address if street.casefold() in address.casefold() else f"{address} {street}".strip()
    line = f"{story['length_m']:.2f} m, {story['diameter'] or 'diameter unknown'}, {story['material'] or 'material unknown'}"
    laid = f"laid {story['installed_on']}" if story["installed_on"] else "day of laying unknown"
    sketched = (story["line_note"] or "").startswith(tuple(MADE_OF.values()))
    given = "sigma of the line" if sketched else "map accuracy given"
    assumed = "map accuracy ASSUMED" if story["accuracy_assumed"] else given
    state = f"grade {story['grade']}: {story['grade_why']}" if story["grade"] is not None else "no open issue has a grade"
    parts = [
        f"lateral {story['lateral']}" + (f", {place}" if place else ""),
        f"{line}, {laid}, {assumed} ({story['map_accuracy_m']:g} m)",
        *([f"the line: {story['line_note']}"] if story["line_note"] else []),
        *_property_line_told(story),
        f"{state}; {story['scoped_m'] or 0.0:.1f} m of the line were ever looked at",
        *([story["caution"]] if story["caution"] else []),
        "",
        *issues_told(story, why=why),
        f"{len(story['issues'])} issues",
        "",
        _table(common, story["runs"], RUN_COLUMNS, "runs"),
        _table(common, story["observations"], SEEN_COLUMNS, "observations"),
        _table(common, story["works"], None, "works"),
        _table(common, story["warranties"], None, "warranties"),
        *([_table(common, story["located"], LOCATED_COLUMNS, "points located from above")] if story["located"] else []),
        *fall_told(story["fall"]),
    ]
    return "\n".join(parts)


def _property_line_told(story: dict[str, Any]) -> list[str]:
    """Where the property line is, by what, and what is to be said of it."""
    border, note, ends = story["property_line_m"], story["property_line_note"], story["private_ends_at"]
    if border is None:
        lines = ["property line unknown" + (f": {note}" if note else "")]
    else:
        lines = [f"property line at {border:.2f} m from the tie-in ({story['property_line_from']})", *([note] if note else [])]
    if ends not in (None, "property line"):
        lines.append(f"private ends at the {ends}, {story['private_ends_m']:.2f} m from the tie-in, by the place's rule")
    return lines


def _table(common: Common, rows: list[dict[str, Any]], columns: tuple[str, ...] | None, what: str) -> str:
    import pandas as pd  # noqa: PLC0415 - heavy

    frame = pd.DataFrame(rows, dtype=object)
    frame = frame[list(columns)] if columns and len(frame) else frame
    # A column in which no row says anything only makes the table wide.
    return table_text(common, frame.dropna(axis="columns", how="all").astype(object).where(frame.notna(), None), what=what)
