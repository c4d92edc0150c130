"""Where a lateral that no map drew begins and ends: what is told of its tie-in and of its house, each with its sigma."""

import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from sewermap.line.ground import Ground
from sewermap.line.sketch_figures import SketchFigures

REFERENT_TIE_IN, ALONG_MAIN, FOOT = "the surveyed tie-in", "the distance along the main", "the main, square to the house"
REFERENT_HOUSE, WALL = "the surveyed building end", "the building's wall"
NO_TIE_IN = "where the line begins is not known: give a referent tie-in with x and y, or tie_in_distance along the main"
_NEAR = 1.0

Floats = NDArray[np.float64]


def ends_of(laterals: pd.DataFrame, ground: Ground, mains: pd.DataFrame, figures: SketchFigures, unit_m: float) -> pd.DataFrame:
    """By lateral, row by row with ``laterals``: tie_x, tie_y, tie_sigma_m, tie_from; house_x, house_y, house_sigma_m, house_from,
    wall (the building's outline or None); square (the bearing that leaves the main towards the house, degrees) and problem.

    ``laterals``: lateral, property, main, tie_in_distance_m, tie_in_from. Coordinates are the map's, ``unit_m`` metres each; what
    is not known is NaN, "" or None.
    """
    table = laterals[["lateral"]].reset_index(drop=True)
    lines = _lines(mains)
    wall = _walls(laterals, ground.buildings)
    house, house_sigma = _surveyed(table["lateral"], ground.referents, "building", figures)
    house_from = np.where(np.isfinite(house[:, 0]), REFERENT_HOUSE, "").astype(object)
    aim = np.where(np.isfinite(house), house, _centroids(wall))
    tie, tie_sigma = _surveyed(table["lateral"], ground.referents, "tie-in", figures)
    tie_from = np.where(np.isfinite(tie[:, 0]), REFERENT_TIE_IN, "").astype(object)
    along, problem = _along_mains(laterals, lines, unit_m)
    _fill(tie, tie_sigma, tie_from, along, (figures.along_main_sigma, ALONG_MAIN))
    _fill(tie, tie_sigma, tie_from, _feet(aim, lines), (figures.foot_sigma, FOOT))
    _fill(house, house_sigma, house_from, nearest_on_wall(wall, tie), (figures.wall_sigma, WALL))
    problem[np.isnan(tie[:, 0]) & (problem == "")] = NO_TIE_IN
    return table.assign(
        tie_x=tie[:, 0], tie_y=tie[:, 1], tie_sigma_m=tie_sigma, tie_from=tie_from, house_x=house[:, 0], house_y=house[:, 1],
        house_sigma_m=house_sigma, house_from=house_from, wall=wall, square=_square(tie, aim, lines, unit_m), problem=problem,
    )  # fmt: skip


def _fill(place: Floats, sigma: Floats, told: NDArray[np.object_], others: Floats, of: tuple[float, str]) -> None:
    """Take ``others`` where nothing better was known, with the sigma and the words of their kind."""
    use = np.isnan(place[:, 0]) & np.isfinite(others[:, 0])
    place[use] = others[use]
    sigma[use], told[use] = of


def _surveyed(laterals: pd.Series, referents: pd.DataFrame, kind: str, figures: SketchFigures) -> tuple[Floats, Floats]:
    """The coordinates (L, 2) of each lateral's surveyed point of a kind, and its sigma (L,)."""
    rows = referents[(referents["kind"] == kind) & referents[["x", "y"]].notna().all(axis=1)]
    rows = rows.sort_values(["lateral", "name"]).drop_duplicates("lateral").set_index("lateral")[["x", "y", "sigma_m"]]
    found = rows.reindex(laterals).astype(float)
    known = np.isfinite(found["x"].to_numpy())
    sigma = np.where(known, found["sigma_m"].fillna(figures.point_sigma), np.nan)
    return found[["x", "y"]].to_numpy().copy(), sigma


def _lines(mains: pd.DataFrame) -> pd.DataFrame:
    """Mains as single lines, by name; parts that do not join are lines of their own."""
    merged = shapely.line_merge(mains["geometry"].to_numpy(object))
    parts, owner = shapely.get_parts(merged, return_index=True)
    return pd.DataFrame({"main": mains["main"].to_numpy()[owner], "line": parts, "parts": np.bincount(owner)[owner]})


def _walls(laterals: pd.DataFrame, buildings: pd.DataFrame) -> NDArray[np.object_]:
    """The outline of the one building on each lateral's property; of several, the largest."""
    owned = buildings.dropna(subset="property")
    areas = shapely.area(owned["geometry"].to_numpy(object))
    owned = owned.assign(area=areas).sort_values(["property", "area"]).drop_duplicates("property", keep="last")
    found = owned.set_index("property")["geometry"].reindex(laterals["property"]).to_numpy(object)
    walls = np.full(len(laterals), None, dtype=object)
    there = ~pd.isna(found)
    walls[there] = shapely.boundary(found[there])
    return walls


def _centroids(walls: NDArray[np.object_]) -> Floats:
    points = shapely.centroid(walls)
    return np.column_stack([shapely.get_x(points), shapely.get_y(points)])


def _along_mains(laterals: pd.DataFrame, lines: pd.DataFrame, unit_m: float) -> tuple[Floats, NDArray[np.object_]]:
    """The places told by a distance along a main, and what is wrong with those that cannot be found."""
    place, problem = np.full((len(laterals), 2), np.nan), np.full(len(laterals), "", dtype=object)
    distance = laterals["tie_in_distance_m"].to_numpy(float) / unit_m
    asked = np.isfinite(distance)
    single = lines[lines["parts"] == 1].drop_duplicates("main").set_index("main")["line"]
    line = single.reindex(laterals["main"]).to_numpy(object)
    missing = asked & pd.isna(line)
    problem[missing] = "its main is not known as one line, so the distance along it is nowhere"
    rows = np.flatnonzero(asked & ~missing)
    if len(rows):
        length = shapely.length(line[rows])
        from_end = laterals["tie_in_from"].to_numpy()[rows] == "end"
        at = np.where(from_end, length - distance[rows], distance[rows])
        inside = (at >= 0) & (at <= length)
        problem[rows[~inside]] = [
            f"its main is only {whole * unit_m:.1f} m long, less than the distance along it" for whole in length[~inside]
        ]
        points = shapely.line_interpolate_point(line[rows[inside]], at[inside])
        place[rows[inside]] = np.column_stack([shapely.get_x(points), shapely.get_y(points)])
    return place, problem


def _nearest(places: Floats, lines: pd.DataFrame) -> tuple[NDArray[np.int64], NDArray[np.object_], Floats]:
    """For each known place: its row, the nearest main, and how far along that main its foot is."""
    rows = np.flatnonzero(np.isfinite(places[:, 0]))
    if not len(rows) or lines.empty:
        return rows[:0], np.zeros(0, object), np.zeros(0)
    shapes = lines["line"].to_numpy(object)
    points = shapely.points(places[rows])
    line = shapes[shapely.STRtree(shapes).nearest(points)]
    return rows, line, np.asarray(shapely.line_locate_point(line, points))


def _feet(places: Floats, lines: pd.DataFrame) -> Floats:
    feet = np.full((len(places), 2), np.nan)
    rows, line, at = _nearest(places, lines)
    points = shapely.line_interpolate_point(line, at)
    feet[rows] = np.column_stack([shapely.get_x(points), shapely.get_y(points)])
    return feet


def nearest_on_wall(walls: NDArray[np.object_], places: Floats) -> Floats:
    """The point (L, 2) of each wall that is nearest to a place; NaN where there is no wall or no place."""
    found = np.full((len(places), 2), np.nan)
    rows = np.flatnonzero(~shapely.is_missing(walls) & np.isfinite(places[:, 0]))
    if len(rows):
        lines = shapely.shortest_line(walls[rows], shapely.points(places[rows]))
        found[rows] = shapely.get_coordinates(lines).reshape(-1, 2, 2)[:, 0]
    return found


def _square(tie: Floats, aim: Floats, lines: pd.DataFrame, unit_m: float) -> Floats:
    """The bearing (L,) square to the main at each tie-in, on the side of the house; NaN where one of them is not known."""
    bearing = np.full(len(tie), np.nan)
    rows, line, at = _nearest(tie, lines)
    step = _NEAR / unit_m
    before, after = (shapely.line_interpolate_point(line, np.clip(at + side, 0, shapely.length(line))) for side in (-step, step))
    along = np.column_stack([shapely.get_x(after) - shapely.get_x(before), shapely.get_y(after) - shapely.get_y(before)])
    towards = aim[rows] - tie[rows]
    side = np.sign(along[:, 0] * towards[:, 1] - along[:, 1] * towards[:, 0])
    normal = np.column_stack([-along[:, 1], along[:, 0]]) * side[:, None]
    known = np.isfinite(side) & (side != 0)
    bearing[rows[known]] = np.degrees(np.arctan2(normal[known, 0], normal[known, 1])) % 360.0
    return bearing
