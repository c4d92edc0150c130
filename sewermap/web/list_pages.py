"""The pages that are one list each: checks due, what came back, what changed, data quality."""

import pandas as pd

from sewermap.web import quality_lists
from sewermap.web.list_data import list_file, place_of
from sewermap.web.pages import page
from sewermap.web.site_index import SiteIndex, plain_texts
from sewermap.web.site_tables import SiteTables
from sewermap.web.words import Words

TABLE = ("packing.js", "list_data.js", "table_rows.js", "table.js", "table_cells.js")
CITY = ("projection.js", "shapes.js", "grid_index.js", "city.js", "names.js", "data/town.js", "data/city.js")
"""What a page reads that tells of laterals and issues by number."""

SCRIPTS = {
    "due": (*TABLE, "due.js", "data/due.js"),
    "repeats": (*TABLE, "repeats.js", "data/repeats.js"),
    "changes": (*TABLE, *CITY, "changes_since.js", "changes.js"),
    "quality": (*TABLE, *CITY, "quality.js", "data/quality.js"),
}

OF_DUE = (
    *("warranty", "lateral", "street", "place", "check_from", "check_by", "days_left", "state", "left_to_look", "answerable"),
    *("open_issues", "last_run_on", "checked_on", "note"),
)
OF_REPEATS = (
    *("issue", "lateral", "street", "place", "kind", "state", "days_after_work", "after_work_kind", "grade", "last_seen"),
    "times_seen",
)
IN_ORDER = ["days_after_work", "street", "lateral", "measure_m", "issue"]
"""The order in which ``sewermap repeats`` answers."""


def files(tables: SiteTables, index: SiteIndex) -> dict[str, str]:
    """due.html, repeats.html, changes.html, quality.html and the data of the lists."""
    words = Words(tables.language)
    pages = {f"{name}.html": page(name, words, tables, scripts, f"{name}.html") for name, scripts in SCRIPTS.items()}
    return {
        **pages,
        "data/due.js": list_file("due", {"due": due_rows(tables)}),
        "data/repeats.js": list_file("repeats", {"repeats": repeat_rows(tables)}),
        "data/quality.js": list_file("quality", quality_lists.lists(tables, index)),
    }


def due_rows(tables: SiteTables) -> pd.DataFrame:
    """Checks of warranties in all states, in the order of ``sewermap due``, with ``stop`` where a route was asked for."""
    due = tables.due
    shown = [*OF_DUE, *(name for name in ("caution", "stop") if name in due.columns)]
    return due.assign(place=place_of(due))[shown]


def repeat_rows(tables: SiteTables) -> pd.DataFrame:
    """Issues that came back, in the order of ``sewermap repeats``."""
    issues = tables.issues
    came_back = issues[issues["is_repeat"].eq(True).fillna(False).to_numpy(bool)]  # noqa: FBT003 - a value, no argument
    came_back = came_back.sort_values(IN_ORDER, kind="stable", ignore_index=True)
    return came_back.assign(place=place_of(came_back), kind=plain_texts(came_back["kind"]))[list(OF_REPEATS)]
