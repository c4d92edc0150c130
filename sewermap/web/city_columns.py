"""The whole city without its vertices: a few bytes for each lateral and issue, read once by every map."""

from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sewermap.web.city_places import Floats, Places
from sewermap.web.packing import call, packed
from sewermap.web.site_index import SiteIndex, days_since_epoch, plain_texts
from sewermap.web.site_tables import SiteTables
from sewermap.web.world_steps import LINE_TYPES, Whole, in_town_order, objects, shapes_of

NO_LINE = -128
STROKE = 127
SHARES = 254
NO_PLACE = 255
WORST_GRADE = 5
MOST_REPEATS = 255
REPEAT, CROSS_BORE = 1, 2
CROSS_BORES = "cross-bore"
"""The kind whose places must stand out on every map: a gas pipe may go through the sewer."""

DUE_STATES = ("", "not yet", "due", "checked", "lapsed")
URGENT_FIRST = ("due", "not yet", "lapsed", "checked")
"""Of several warranties of a lateral, the map shows the state that asks first."""

STEPWISE = frozenset({"x", "y", "first", "street_line", "street_x", "street_y"})


def city_file(tables: SiteTables, index: SiteIndex, where: Places) -> str:
    """``data/city.js``: laterals lie from ``origin`` in steps × 2 ** ``shift``, half lines in 127ths of ``stroke``."""
    origin, shift, stroke, lateral_columns = _laterals(tables, index, where)
    columns = {**lateral_columns, **_issues(index, where.share), **_streets(tables, index)}
    return call("sewermap.cityData", {**packed(columns, STEPWISE), "origin": origin, "shift": shift, "stroke": stroke})


def _laterals(tables: SiteTables, index: SiteIndex, where: Places) -> tuple[list[int], int, int, dict[str, NDArray[Any]]]:
    """By lateral: where, half its line, grade, last scoped, due and by when, repeats, how many issues; by street, how many."""
    origin, shift, (x, y) = _in_frame(where)
    stroke, (half_x, half_y) = _half_lines(where)
    count = len(index.laterals)
    places = {name: np.zeros(count, dtype=np.uint16) for name in ("x", "y")}
    places["x"][where.lines.owner], places["y"][where.lines.owner] = x, y
    halves = {name: np.full(count, NO_LINE, dtype=np.int8) for name in ("half_x", "half_y")}
    halves["half_x"][where.lines.owner], halves["half_y"][where.lines.owner] = half_x, half_y
    due, check_by = due_of(tables.due, index)
    columns: dict[str, NDArray[Any]] = {
        "street_laterals": np.bincount(index.lateral_street, minlength=len(index.streets)).astype(np.uint32),
        **places,
        **halves,
        "grade": grades(index.laterals["grade"]),
        "scoped": days_since_epoch(index.laterals["last_run_on"]),
        "due": due,
        "check_by": check_by,
        "repeats": _small(index.laterals["repeats"], MOST_REPEATS),
        "n_issues": np.diff(index.first_issue).astype(np.uint16),
    }
    return origin, shift, stroke, columns


def _in_frame(where: Places) -> tuple[list[int], int, tuple[Whole, Whole]]:
    """The places' north-west corner, by how many bits they must be coarser to fit 16, and the places in that frame."""
    if not len(where.lines):
        return [0, 0], 0, (where.middle_x, where.middle_y)
    left, top = int(where.middle_x.min()), int(where.middle_y.min())
    x, y = where.middle_x - left, where.middle_y - top
    shift = max(int(max(x.max(), y.max())).bit_length() - 16, 0)
    return [left, top], shift, (x >> shift, y >> shift)


def _half_lines(where: Places) -> tuple[int, tuple[Whole, Whole]]:
    """Half the way from each tie-in to its building, as the crow flies, in 127ths of the longest."""
    first, last = where.lines.starts[:-1], where.lines.starts[1:] - 1
    half = [(axis[last] - axis[first]) / 2 for axis in (where.lines.x, where.lines.y)]
    longest = max([1.0, *(float(np.abs(axis).max()) for axis in half if len(axis))])
    stroke = int(np.ceil(longest))
    x, y = (np.rint(axis * STROKE / stroke).astype(np.int64) for axis in half)
    return stroke, (x, y)


def _issues(index: SiteIndex, share: Floats) -> dict[str, NDArray[Any]]:
    """By issue: kind, grade with state and side in one byte, share of its line, first day seen and days to the last, flags."""
    issues = index.issues
    kind = pd.Index(index.kinds).get_indexer(pd.Index(plain_texts(issues["kind"])))
    state = np.maximum(pd.Index(index.states).get_indexer(pd.Index(plain_texts(issues["state"]))), 0)
    side = np.maximum(pd.Index(index.sides).get_indexer(pd.Index(plain_texts(issues["side"]))), 0)
    first, last = days_since_epoch(issues["first_seen"]), days_since_epoch(issues["last_seen"])
    repeats = pd.to_numeric(issues["is_repeat"].astype("float64"), errors="coerce").fillna(0).to_numpy() != 0
    bore = plain_texts(issues["kind"]).eq(CROSS_BORES).to_numpy()
    placed = ~np.isnan(share)
    return {
        "kind": kind.astype(np.uint8),
        "look": (grades(issues["grade"]) | (state << 3) | (side << 6)).astype(np.uint8),
        "along": np.where(placed, np.rint(np.nan_to_num(share) * SHARES), NO_PLACE).astype(np.uint8),
        "first": first,
        "seen_for": np.maximum(last.astype(np.int64) - first, 0).astype(np.uint16),
        "flags": np.where(repeats, REPEAT, 0).astype(np.uint8) | np.where(bore, CROSS_BORE, 0).astype(np.uint8),
    }


def _streets(tables: SiteTables, index: SiteIndex) -> dict[str, NDArray[Any]]:
    """The lines of the streets layer, by name and then along the ground."""
    lines = shapes_of(objects(tables.streets["geometry"]), tables.crs, LINE_TYPES)
    number = index.street_rows(tables.streets["street"])[lines.owner]
    if len(lines):
        boxes = lines.boxes()
        place = in_town_order((boxes[:, 0] + boxes[:, 2]) // 2, (boxes[:, 1] + boxes[:, 3]) // 2)
        first = lines.starts[:-1]
        order = np.lexsort([lines.vertices, lines.y[first], lines.x[first], place, number])
        lines, number = lines.taken(order), number[order]
    return {
        "street_line": number.astype(np.uint16),
        "street_vertices": lines.vertices.astype(np.uint32),
        "street_x": lines.x.astype(np.int32),
        "street_y": lines.y.astype(np.int32),
    }


def due_of(due: pd.DataFrame, index: SiteIndex) -> tuple[NDArray[np.uint8], NDArray[np.uint16]]:
    """By lateral: the state of its warranty that asks first (a code of ``DUE_STATES``) and the day to check by; 0 for none."""
    rows = pd.DataFrame(
        {
            "lateral": index.lateral_rows(due["lateral"]),
            "state": pd.Index(DUE_STATES).get_indexer(pd.Index(plain_texts(due["state"]))),
            "urgent": pd.Index(URGENT_FIRST).get_indexer(pd.Index(plain_texts(due["state"]))),
            "by": days_since_epoch(due["check_by"]),
        }
    )
    rows = (
        rows[(rows["lateral"] >= 0) & (rows["urgent"] >= 0)].sort_values(["lateral", "urgent", "by"]).drop_duplicates("lateral")
    )
    state, by = np.zeros(len(index.laterals), dtype=np.uint8), np.zeros(len(index.laterals), dtype=np.uint16)
    state[rows["lateral"]], by[rows["lateral"]] = rows["state"], rows["by"]
    return state, by


def grades(column: "pd.Series[Any]") -> NDArray[np.uint8]:
    """Grades 1 to 5 as they are, 0 for none.

    >>> grades(pd.Series([5, None, 2.0])).tolist()
    [5, 0, 2]
    """
    return _small(column, WORST_GRADE)


def _small(column: "pd.Series[Any]", most: int) -> NDArray[np.uint8]:
    """Whole numbers from 0 to ``most``; what is missing is 0."""
    values = np.nan_to_num(pd.to_numeric(column, errors="coerce").to_numpy(np.float64, na_value=np.nan))
    return np.asarray(np.clip(np.rint(values), 0, most), dtype=np.uint8)
