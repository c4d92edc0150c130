"""What lies round a place to be dug for: parcels, buildings, streets, mains, other laterals, and fixed points to tie it to."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
import shapely
import sqlalchemy as sa

from sewermap.answers.dig_reads import layer_in
from sewermap.line.parcels import NEAR_BUILDING_M, own_parcels, valid_polygons
from sewermap.line.reference import Lines
from sewermap.line.ties import MAP_CORNER, TiePair, building_corners, swing_ties
from sewermap.store import recorded
from sewermap.store import tables as schema

VIEW_M = 42.0
"""How far round the place is looked: farther than any tie reaches."""

NOT_TO_BE_SEEN = ("bend", "tie-in", "building")
"""Referents that have coordinates but cannot be seen from the ground, or are ties already as corners."""


@dataclass(frozen=True)
class Surroundings:
    """Layers within the view, map units: ``parcels`` (property, is_own, geometry), ``buildings`` (building, called, is_own,
    geometry), ``streets`` (street, geometry), ``mains`` (main, geometry), ``laterals`` (the others; lateral, geometry).
    """

    parcels: pd.DataFrame
    buildings: pd.DataFrame
    streets: pd.DataFrame
    mains: pd.DataFrame
    laterals: pd.DataFrame

    @property
    def own_parcel(self) -> pd.Series | None:
        """The row of the parcel that the lateral belongs to; None where the map has none."""
        own = self.parcels[self.parcels["is_own"]]
        return None if own.empty else own.iloc[0]


def surroundings(
    conn: sa.Connection, laterals: Sequence[dict[str, Any]], lines: Sequence[Lines], spots: Sequence[shapely.Point]
) -> list[Surroundings]:
    """All that the map has round each spot on its lateral; each of ``lines`` holds that lateral alone."""
    boxes = np.array([_view(line, spot) for line, spot in zip(lines, spots, strict=True)])
    asked = (
        (schema.parcels, ("property",)), (schema.buildings, ("building", "property")), (schema.streets, ("street",)),
        (schema.mains, ("main",)),
    )  # fmt: skip
    layers = [layer_in(conn, table, columns, boxes, recorded.is_current(table)) for table, columns in asked]
    columns = ("lateral", "property", "address", "street")
    layers.append(layer_in(conn, schema.laterals, columns, boxes, sa.true(), order="lateral"))
    found = zip(laterals, lines, boxes, strict=True)
    return [_round(lateral, line, [layer.within(box) for layer in layers]) for lateral, line, box in found]


def _view(line: Lines, spot: shapely.Point) -> tuple[float, ...]:
    reach = VIEW_M / line.metres_per_unit
    return tuple(shapely.union(spot.buffer(reach), shapely.LineString(line.coords[:, :2]).buffer(reach / 10)).bounds)


def _round(lateral: dict[str, Any], line: Lines, layers: Sequence[pd.DataFrame]) -> Surroundings:
    parcels, buildings, streets, mains, laterals = layers
    own = own_parcels(
        line,
        pd.Series([lateral["property"]], dtype="str"),
        parcels["property"],
        parcels["geometry"].to_numpy(),
        buildings["property"],
        buildings["geometry"].to_numpy(),
    )["parcel"].iloc[0]
    parcels["is_own"] = np.arange(len(parcels)) == own
    others = laterals.loc[laterals["lateral"] != lateral["lateral"], ["lateral", "geometry"]].reset_index(drop=True)
    return Surroundings(parcels, _called(buildings, laterals, line), streets, mains, others)


def ties_to(spot: shapely.Point, ground: Surroundings, referents: pd.DataFrame, metres_per_unit: float) -> tuple[TiePair, ...]:
    """Swing ties of a spot to corners of buildings, to surveyed points that can be seen, and last to corners of parcels."""
    xy = (spot.x, spot.y)
    corners = building_corners(ground.buildings["geometry"], ground.buildings["called"].tolist(), xy, metres_per_unit)
    seen = referents[~referents["kind"].isin(NOT_TO_BE_SEEN)].dropna(subset=["x", "y"])
    called = seen["kind"].fillna("known point") + " " + seen["name"].fillna("")
    things = pd.DataFrame({"name": called.str.strip(), "rank": 0, "x": seen["x"], "y": seen["y"]})
    lots = ground.parcels.assign(called="parcel " + ground.parcels["property"].fillna("without a name") + ", on the map only")
    marks = building_corners(lots["geometry"], lots["called"].tolist(), xy, metres_per_unit).assign(rank=MAP_CORNER)
    points = pd.concat([corners, things, marks], ignore_index=True)
    street = nearest_on(ground.streets["geometry"], spot)
    return tuple(swing_ties(xy, points, ground.buildings["geometry"], street, metres_per_unit))


def nearest_on(shapes: pd.Series, spot: shapely.Point) -> tuple[float, float] | None:
    """The point of some shapes that is nearest to a spot; None where there is no shape."""
    known = shapes.dropna()
    if known.empty:
        return None
    foot = shapely.get_point(shapely.shortest_line(spot, shapely.union_all(known.to_numpy())), 1)
    return float(foot.x), float(foot.y)


def _called(buildings: pd.DataFrame, laterals: pd.DataFrame, line: Lines) -> pd.DataFrame:
    """Buildings with what a crew calls them, and whether the lateral ends at one."""
    houses = laterals.dropna(subset=["property", "address"]).drop_duplicates("property", keep=False)
    address = buildings["property"].map(houses.set_index("property")["address"].to_dict().get).astype("str")
    name = "building " + buildings["building"].fillna("without a name")
    end = shapely.Point(line.coords[-1, :2])
    away = np.asarray(shapely.distance(valid_polygons(buildings["geometry"]), end), dtype=float) * line.metres_per_unit
    is_own = (away <= NEAR_BUILDING_M) & (away == away.min(initial=np.inf))
    return buildings.assign(called=(name + ", " + address).fillna(name), is_own=is_own)
