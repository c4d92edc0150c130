"""What every page knows of its town: title, units, names by number, where it lies, which cells there are."""

from typing import Any

import numpy as np
import pyproj
import shapely

from sewermap.web.city_places import Places
from sewermap.web.packing import call
from sewermap.web.site_index import EPOCH, SiteIndex
from sewermap.web.site_tables import SiteTables
from sewermap.web.world_steps import CELL_ZOOM, objects

GROUND = ("parcels", "streets", "mains", "buildings")


def town_data(
    tables: SiteTables, index: SiteIndex, where: Places, cells: list[list[int]], ground: list[list[int]]
) -> dict[str, Any]:
    """The object that ``data/town.js`` hands to ``sewermap.take``."""
    unplaced = tables.placed_observations["geometry"].isna().sum()
    return {
        "title": tables.title,
        "units": tables.units,
        "language": tables.language,
        "as_of": tables.as_of.isoformat(),
        "public": tables.public,
        "epoch": str(EPOCH),
        "bounds": town_bounds(tables),
        "streets": list(index.streets),
        "kinds": list(index.kinds),
        "states": list(index.states),
        "sides": list(index.sides),
        "counts": {
            "laterals": len(index.laterals),
            "issues": len(index.issues),
            "observations": len(tables.placed_observations),
            "unplaced": int(unplaced),
            "without_line": int((where.line_of < 0).sum()),
        },
        "cells": {"zoom": CELL_ZOOM, "ids": cells, "ground": ground},
    }


def town_file(data: dict[str, Any]) -> str:
    """``data/town.js``."""
    return call("sewermap.take", data)


def town_bounds(tables: SiteTables) -> list[list[float]] | None:
    """South-west and north-east corner (latitude, longitude) of the laterals, else of the ground; None where nothing lies."""
    for names in (("laterals",), GROUND):
        shapes = np.concatenate([objects(getattr(tables, name)["geometry"]) for name in names])
        if not len(shapes) or tables.crs is None:
            continue
        box = shapely.total_bounds(shapes)
        if np.isfinite(box).all():
            degrees = pyproj.Transformer.from_crs(tables.crs, 4326, always_xy=True).transform_bounds(*box)
            if np.isfinite(degrees).all():
                west, south, east, north = np.round(degrees, 7).tolist()
                return [[south, west], [north, east]]
    return None
