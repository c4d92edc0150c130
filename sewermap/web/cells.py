"""The city's lines in cells (tiles of zoom 15), one file each, loaded where somebody looks.

A lateral and its issues belong to the cell in which the middle of its line lies. Each cell has a box that holds all its lines,
however far they reach, so that a page loads what its view shows.
"""

from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sewermap.web.city_places import Floats, Places
from sewermap.web.packing import call, packed
from sewermap.web.site_index import SiteIndex
from sewermap.web.world_steps import CELL, Whole, cell_keys, cell_of

SHARES = 65_534
NO_SHARE = 65_535
"""A place along a line: 0 the tie-in, 65,534 the building, 65,535 none."""

LINE_SHARES = 254
SIGMA_STEP_M = 0.05
MOST_SIGMA = 255
"""Sigmas go in steps of 5 cm, rounded up; the last stands for 12.75 m and all that is more."""

STEPWISE = frozenset({"lateral", "x", "y", "long_issue"})


def cell_files(index: SiteIndex, where: Places) -> tuple[dict[str, str], list[list[int]]]:
    """The files ``data/cell-X-Y.js`` by name, and of each cell: x, y, laterals, issues, and its box in steps from its corner.

    Columns of a cell: lateral (ascending), vertices (by lateral), x, y (steps from the cell's corner), property_line (by lateral,
    share × 254, 255 none), place and sigma (by issue, in the order of laterals and their issues), long_issue (place in that
    order) and long_to for defects that run along the line.
    """
    keys = cell_keys(where.middle_x, where.middle_y)
    order = np.lexsort([where.lines.owner, keys])
    lines, keys = where.lines.taken(order), keys[order]
    issues, per_line = _issues_of(index, lines.owner)
    boxes = lines.boxes()
    columns = _issue_columns(index, where, issues)
    mark = _in_steps(where.property_line[lines.owner], LINE_SHARES, LINE_SHARES + 1).astype(np.uint8)
    first_issue = np.concatenate([[0], np.cumsum(per_line)])
    files, cells = {}, []
    found, starts = np.unique(keys, return_index=True)
    ends = np.append(starts, len(keys))[1:] if len(found) else starts
    for key, start, end in zip(found.tolist(), starts.tolist(), ends.tolist(), strict=True):
        x, y = cell_of(key)
        vertices = slice(int(lines.starts[start]), int(lines.starts[end]))
        seen = slice(int(first_issue[start]), int(first_issue[end]))
        cell: dict[str, NDArray[Any]] = {
            "lateral": lines.owner[start:end].astype(np.uint32),
            "vertices": lines.vertices[start:end].astype(np.uint32),
            "x": (lines.x[vertices] - x * CELL).astype(np.int32),
            "y": (lines.y[vertices] - y * CELL).astype(np.int32),
            "property_line": mark[start:end],
            **_with_long_ones({name: column[seen] for name, column in columns.items()}),
        }
        files[f"data/cell-{x}-{y}.js"] = call("sewermap.cell", x, y, packed(cell, STEPWISE))
        cells.append([x, y, end - start, seen.stop - seen.start, *box_of(boxes[start:end], x, y)])
    return files, cells


def box_of(boxes: Whole, x: int, y: int) -> list[int]:
    """The box around boxes (west, north, east, south), in steps from a cell's corner."""
    corner = np.array([x, y, x, y]) * CELL
    return [*(boxes[:, :2].min(axis=0) - corner[:2]).tolist(), *(boxes[:, 2:].max(axis=0) - corner[2:]).tolist()]


def _issues_of(index: SiteIndex, laterals: Whole) -> tuple[Whole, Whole]:
    """The issues of laterals, one lateral after another, and how many each has."""
    counts = index.first_issue[laterals + 1] - index.first_issue[laterals]
    starts = np.cumsum(counts) - counts
    return np.arange(counts.sum()) + np.repeat(index.first_issue[laterals] - starts, counts), counts


def _issue_columns(index: SiteIndex, where: Places, issues: Whole) -> dict[str, NDArray[Any]]:
    sigma = pd.to_numeric(index.issues["sigma_m"], errors="coerce").to_numpy(np.float64, na_value=np.nan)[issues]
    stepped = np.ceil(np.round(np.nan_to_num(sigma) / SIGMA_STEP_M, 6))  # 0.3 m are six steps, whatever floats make of it
    return {
        "place": _in_steps(where.share[issues], SHARES, NO_SHARE).astype(np.uint16),
        "sigma": np.minimum(stepped, MOST_SIGMA).astype(np.uint8),
        "long_to": _in_steps(where.to_share[issues], SHARES, NO_SHARE).astype(np.uint16),
    }


def _with_long_ones(columns: dict[str, NDArray[Any]]) -> dict[str, NDArray[Any]]:
    """Only few defects run along the line: their other ends are told apart."""
    long = np.flatnonzero(columns["long_to"] != NO_SHARE)
    return {**columns, "long_issue": long.astype(np.uint32), "long_to": columns["long_to"][long]}


def _in_steps(shares: Floats, most: int, none: int) -> Whole:
    return np.where(np.isnan(shares), none, np.rint(np.nan_to_num(shares) * most)).astype(np.int64)
