"""Where laterals and issues lie, computed once for all files of a site."""

from dataclasses import dataclass

import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from sewermap.web.site_index import SiteIndex
from sewermap.web.site_tables import SiteTables
from sewermap.web.world_steps import LINE_TYPES, NO_STEP, Shapes, Whole, objects, shapes_of, steps_of

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Places:
    """By lateral and issue of the index.

    ``lines``: the laterals' lines, tie-in first; owner is the lateral. ``line_of``: by lateral, its part of ``lines`` (−1: it
    has none). ``middle_x``, ``middle_y``: by part, the steps of the point halfway along. ``share``: by issue, how far along the
    line it lies (0 tie-in, 1 building, NaN: no place). ``to_share``: the same for the other end of a defect that runs along the
    line. ``property_line``: by lateral, the share of its property line (NaN: not known).
    """

    lines: Shapes
    line_of: Whole
    middle_x: Whole
    middle_y: Whole
    share: Floats
    to_share: Floats
    property_line: Floats


def places(tables: SiteTables, index: SiteIndex) -> Places:
    """The places of a site's laterals and issues. A line of several parts has no way along it and is left out."""
    drawn = objects(index.laterals["geometry"])
    drawn[shapely.get_type_id(drawn) != LINE_TYPES[0]] = None
    lines = shapes_of(drawn, tables.crs, LINE_TYPES)
    line_of = np.full(len(drawn), NO_STEP, dtype=np.int64)
    line_of[lines.owner] = np.arange(len(lines))
    drawn[line_of < 0] = None
    halfway = shapely.line_interpolate_point(drawn[lines.owner], 0.5, normalized=True)
    middle_x, middle_y = steps_of(shapely.get_coordinates(halfway), tables.crs)
    share, to_share = _shares(index, drawn)
    return Places(lines, line_of, middle_x, middle_y, share, to_share, _share_at(index.laterals, "property_line_m"))


def _shares(index: SiteIndex, drawn: NDArray[np.object_]) -> tuple[Floats, Floats]:
    """How far along its line each issue lies, and its other end."""
    points = objects(index.issues["geometry"])
    points[shapely.get_type_id(points) != shapely.GeometryType.POINT] = None
    share = shapely.line_locate_point(drawn[index.issue_lateral], points, normalized=True)
    length = _numbers(index.laterals, "length_m")[index.issue_lateral]
    beyond = (_numbers(index.issues, "to_measure_m") - _numbers(index.issues, "measure_m")) / np.where(length > 0, length, np.nan)
    return share, np.clip(share + beyond, 0.0, 1.0)


def _share_at(laterals: pd.DataFrame, name: str) -> Floats:
    """A measure of each lateral as a share of its length."""
    length = _numbers(laterals, "length_m")
    share = _numbers(laterals, name) / np.where(length > 0, length, np.nan)
    return np.where((share >= 0) & (share <= 1), share, np.nan)


def _numbers(table: pd.DataFrame, name: str) -> Floats:
    return pd.to_numeric(table[name], errors="coerce").to_numpy(np.float64, na_value=np.nan)
