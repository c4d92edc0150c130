"""The public site: streets, never a house.

It is made from a roll-up alone. Streets with few laterals would tell of single houses: they are told together, and where even
all of them together are few, not at all.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
import shapely

from sewermap.history.streets import streets as rolled_up
from sewermap.web.list_data import list_file
from sewermap.web.pages import page
from sewermap.web.site_index import SiteIndex, plain_texts
from sewermap.web.site_tables import SiteTables
from sewermap.web.words import Words
from sewermap.web.world_steps import objects

SCRIPTS = ("packing.js", "list_data.js", "table_rows.js", "table.js", "table_cells.js", "public.js")
STYLES = ("lists.css", "public.css")

TOLD = ("street", "laterals", "scoped", "issues", "worst_grade", "repeats", "due", "per_100_m")
COUNTS = ("laterals", "scoped", "issues", "repeats", "due", "scoped_m")
DRAWN_PX = 1000.0
LEAST_M = 1.0
PLACES = 2


@dataclass(frozen=True)
class Street:
    """One street as it is drawn: its name, the d of an SVG path, and 1..5, 0 (no grade) or None (not told)."""

    name: str
    path: str
    grade: int | None


def files(tables: SiteTables, _index: SiteIndex) -> dict[str, str]:
    """index.html and the roll-up it shows."""
    words = Words(tables.language)
    rows = street_rows(tables)
    size, drawn = drawing(tables, rows)
    html = page(
        "index",
        words,
        tables,
        (*SCRIPTS, "data/public.js"),
        "public.html",
        styles=STYLES,
        size=size,
        drawn=drawn,
        least=tables.public_least,
    )
    return {"index.html": html, "data/public.js": list_file("public", {"streets": rows})}


def street_rows(tables: SiteTables) -> pd.DataFrame:
    """The roll-up by street as ``sewermap streets`` tells it, small streets together in one row without a name, last.

    Columns of ``TOLD``. A row has ``public_least`` laterals or more.
    """
    laterals, issues = tables.laterals[["lateral", "street"]], tables.issues
    laterals = laterals.assign(street=plain_texts(laterals["street"]))
    seen = issues[["lateral", "kind", "grade", "state"]].assign(
        repeat=issues["is_repeat"].eq(True).fillna(False).to_numpy(bool),  # noqa: FBT003 - a value, no argument
        work=issues["mending_work"],
    )
    rolled = rolled_up(laterals, tables.run_coverages[["lateral", "from_measure_m", "to_measure_m"]], seen)
    asked = tables.due.loc[tables.due["state"] == "due", "lateral"].drop_duplicates()
    of = laterals.set_index("lateral")["street"].reindex(asked)
    rolled = rolled.assign(due=of.value_counts().reindex(rolled["street"]).fillna(0.0).to_numpy())
    small = (rolled["laterals"] < tables.public_least) | (rolled["street"] == "")
    together = _together(rolled[small])
    whole = pd.concat([rolled[~small], together[together["laterals"] >= tables.public_least]], ignore_index=True)
    whole["per_100_m"] = whole["per_100_m"].round(PLACES)
    return whole[list(TOLD)].astype(dict.fromkeys(set(COUNTS) & set(TOLD), "int64"))


def drawing(tables: SiteTables, rows: pd.DataFrame) -> tuple[tuple[int, int], list[Street]]:
    """Width and height of a plan of the streets in its own units, and the streets, the worst last. North is up."""
    names, shapes = plain_texts(tables.streets["street"]), objects(tables.streets["geometry"])
    if not len(shapes) or not np.isfinite(box := shapely.total_bounds(shapes)).all():
        return (0, 0), []
    west, south, east, north = box
    scale = DRAWN_PX / max(east - west, north - south, LEAST_M)
    grades = rows.set_index("street")["worst_grade"].fillna(0.0).astype(int)
    streets = [
        Street(name, _path(shape, (west, north), scale), None if name not in grades.index or not name else int(grades[name]))
        for name, shape in zip(names, shapes, strict=True)
        if shape is not None and not shape.is_empty
    ]
    size = (round((east - west) * scale), round((north - south) * scale))
    return size, sorted(streets, key=lambda street: (-1 if street.grade is None else street.grade, street.name))


def _together(rolled: pd.DataFrame) -> pd.DataFrame:
    """Streets as one row without a name."""
    sums: dict[str, Any] = {name: [rolled[name].sum()] for name in COUNTS}
    metres = rolled["scoped_m"].sum()
    density = rolled["issues"].sum() / metres * 100.0 if metres > 0.0 else np.nan
    return pd.DataFrame({"street": [""], "worst_grade": [rolled["worst_grade"].max()], "per_100_m": [density], **sums})


def _path(shape: Any, corner: tuple[float, float], scale: float) -> str:
    """Lines as moves and lines to whole units: a street, no finer."""
    parts = []
    for line in shapely.get_parts([shape]):
        xy = shapely.get_coordinates(line)
        steps = np.round((xy - corner) * (scale, -scale)).astype(int).tolist()
        parts.append("M" + "L".join(f"{x} {y}" for x, y in steps))
    return "".join(parts)
