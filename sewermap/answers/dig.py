"""All that a crew must know before it opens the ground at an issue: where, how deep, between what, seen when."""

from dataclasses import dataclass
from pathlib import PurePosixPath
from typing import Any

import numpy as np
import pandas as pd
import pyproj
import shapely
import sqlalchemy as sa

from sewermap.answers.dig_depth import Depth, depth_at
from sewermap.answers.dig_ground import VIEW_M, Surroundings, surroundings, ties_to
from sewermap.answers.names import issue_row
from sewermap.cautions import CROSS_BORE
from sewermap.errors import MeasureError
from sewermap.line.known_points import known_points, laterals_from_computed
from sewermap.line.place_rules import rules_from_texts
from sewermap.line.reference import Lines, measure_of, parts_between, point_at
from sewermap.line.ties import TiePair
from sewermap.plain import records
from sewermap.store import bulk, recorded
from sewermap.store import tables as schema
from sewermap.store.reference_system import crs_name
from sewermap.store.scene import with_located_points
from sewermap.store.session import Store

TWO_SIDED = 1.96
"""Deviations to both sides that hold 95 % of a normal distribution."""

OFF_LINE_M = 2.0
"""A point located from above farther than this from the line belongs to another one."""

OF_SIGHTING = (
    "ran_on", "run", "kind", "reading", "unit", "to_reading", "measure_m", "to_measure_m", "sigma_m", "grade", "percent",
    "clock_from", "clock_to", "remark", "picture", "source_file", "source_row",
)  # fmt: skip
OF_RUN = ("run", "crew", "reason", "launch", "direction")


@dataclass(frozen=True)
class DigPlace:
    """The spot, and what to open round it: ``open_m`` is the stretch of measures that holds 95 %, ``across_m`` the tolerance to
    each side of the line (95 %). ``line``, ``stretch`` and ``band`` are in map units.
    """

    spot: shapely.Point
    lon: float
    lat: float
    crs: str
    metres_per_unit: float
    line: shapely.LineString
    open_m: tuple[float, float]
    across_m: float
    stretch: shapely.LineString
    band: shapely.Polygon


@dataclass(frozen=True)
class FromPoint:
    """How far along the line the spot is from a known point, and which way: ``building`` or ``main``."""

    name: str
    kind: str
    away_m: float
    towards: str


@dataclass(frozen=True)
class DigFacts:
    """What a dig sheet says. ``issue`` and ``lateral`` are rows of their tables as plain values.

    ``points`` (name, kind, measure_m, x, y, surveyed) are the lateral's referents in order of measure; ``sightings`` and
    ``works`` are in order of time; ``cross_bores`` names issues in view that may be gas pipes; ``unit`` is that of the last run
    that saw the issue; ``folders`` are those of the files that the sightings came from.
    """

    database: str
    issue: dict[str, Any]
    lateral: dict[str, Any]
    place: DigPlace
    ground: Surroundings
    points: pd.DataFrame
    measures: tuple[FromPoint, ...]
    depth: Depth
    ties: tuple[TiePair, ...]
    sightings: pd.DataFrame
    works: pd.DataFrame
    cross_bores: tuple[str, ...]
    unit: str
    folders: tuple[str, ...]


def dig_facts(store: Store, issue: str) -> DigFacts:
    """The facts for digging at an issue.

    Raises UnknownNameError for a name that is no issue's, MeasureError for an issue that has no place.
    """
    with store.reading() as conn:
        row = issue_row(conn, issue)
        name = row["lateral"]
        line_row = bulk.read(conn, sa.select(schema.laterals).where(schema.laterals.c.lateral == name))
        sightings = _sightings(conn, row["issue"])
        if pd.isna(row["x"]) or line_row.empty:
            raise MeasureError(_why_not(row["issue"], sightings))
        rules = rules_from_texts(recorded.rules(conn))
        laterals = laterals_from_computed(line_row, store.metres_per_unit, rules)
        line, lateral = laterals.lines, records(line_row)[0]
        place = _place(store, line, row, _ends_m(row, sightings), lateral["map_accuracy_m"])
        ground = surroundings(conn, lateral, line, place.spot)
        referents = _current(conn, schema.referents, name)
        known = known_points(laterals, referents, rules.counter.fix_sigma_m)
        # A counter is fixed on the line as it is seen; the sheet tells the line as all that is known of it together says.
        known.loc[known["kind"] == "property line", "measure_m"] = line_row["property_line_m"].iloc[0]
        points = _points(known, referents, line)
        measure = float(row["measure_m"])
        return DigFacts(
            store.shown,
            records(row.to_frame().T.infer_objects())[0],
            lateral,
            place,
            ground,
            points,
            _measures(points, measure),
            depth_at(lateral, _located_depths(store, conn, name, line), measure, place.open_m),
            ties_to(place.spot, ground, referents, store.metres_per_unit),
            sightings,
            _current(conn, schema.works, name).sort_values(["done_on", "work"], ignore_index=True),
            _cross_bores(conn, row, place),
            str(sightings["unit"].dropna().iloc[-1]) if sightings["unit"].notna().any() else "m",
            tuple(dict.fromkeys(str(PurePosixPath(path).parent) for path in sightings["source_file"].dropna())),
        )


def _ends_m(row: pd.Series, sightings: pd.DataFrame) -> tuple[float, float]:
    """Lower and upper measure of an issue: for one that runs along the line the means of what its sightings say, each of them
    read from either end, weighted by 1 / sigma², and always the issue's own measure too.
    """
    own = [float(row["measure_m"])]
    along = sightings.dropna(subset=["measure_m", "to_measure_m", "sigma_m"])
    if len(along):
        ends = np.sort(along[["measure_m", "to_measure_m"]].to_numpy(float), axis=1)
        own += np.average(ends, axis=0, weights=along["sigma_m"].to_numpy(float) ** -2).tolist()
    return min(own), max(own)


def _place(store: Store, line: Lines, row: pd.Series, ends_m: tuple[float, float], map_accuracy_m: float) -> DigPlace:
    widened = TWO_SIDED * float(row["sigma_m"])
    low, high = max(ends_m[0] - widened, 0.0), min(ends_m[1] + widened, float(line.length_m[0]))
    across = TWO_SIDED * map_accuracy_m
    stretch = parts_between(line, [0], [low], [high])[0]
    to_lonlat = pyproj.Transformer.from_crs(store.crs, pyproj.CRS.from_epsg(4326), always_xy=True)
    lon, lat = to_lonlat.transform(row["x"], row["y"])
    return DigPlace(
        shapely.Point(row["x"], row["y"]),
        float(lon),
        float(lat),
        crs_name(store.crs),
        store.metres_per_unit,
        shapely.LineString(line.coords[:, :2]),
        (low, high),
        across,
        stretch,
        shapely.buffer(stretch, across / store.metres_per_unit, cap_style="flat", join_style="mitre"),
    )


def _points(known: pd.DataFrame, referents: pd.DataFrame, line: Lines) -> pd.DataFrame:
    """The lateral's known points with the names they were given, on the line; ``surveyed`` where they have coordinates."""
    given = referents.assign(key=referents["name"].str.casefold()).drop_duplicates("key").set_index("key")
    on_line = known[(known["measure_m"] >= 0) & (known["measure_m"] <= line.length_m[0])].copy()
    xy = point_at(line, [0] * len(on_line), on_line["measure_m"])
    on_line["x"], on_line["y"] = xy[:, 0], xy[:, 1]
    on_line["surveyed"] = on_line["name"].isin(given.index[given["x"].notna()])
    names = given["name"].to_dict()
    on_line["name"] = on_line["name"].map(lambda name: names.get(name, name))
    columns = ["name", "kind", "measure_m", "x", "y", "surveyed"]
    points: pd.DataFrame = on_line[columns]
    return points.sort_values(["measure_m", "name"], ignore_index=True)


def _measures(points: pd.DataFrame, measure_m: float) -> tuple[FromPoint, ...]:
    """From the tie-in, the property line, the nearest clean-out on each side, and the building."""
    away = measure_m - points["measure_m"]
    is_clean_out = points["kind"] == "clean-out"
    rows = [points.index[points["name"] == "tie-in"], points.index[points["name"] == "property line"]]
    rows += [away[is_clean_out & (away >= 0)].nsmallest(1).index, away[is_clean_out & (away < 0)].nlargest(1).index]
    rows += [points.index[points["name"] == "building"]]
    return tuple(
        FromPoint(str(points["name"][at]), str(points["kind"][at]), abs(float(away[at])), "building" if away[at] >= 0 else "main")
        for found in rows
        for at in found[:1]
    )


def _sightings(conn: sa.Connection, issue: str) -> pd.DataFrame:
    """What saw the issue, in order of time. Sightings and placed rows bear the id of the observation that they come from."""
    seen = schema.placed_observations
    ids = sa.select(schema.issue_sightings.c.id).where(schema.issue_sightings.c.issue == issue)
    rows = bulk.read(conn, sa.select(*(seen.c[name] for name in OF_SIGHTING), seen.c.reason).where(seen.c.id.in_(ids)))
    runs = bulk.read(
        conn,
        sa.select(*(schema.runs.c[name] for name in OF_RUN)).where(
            recorded.is_current(schema.runs), schema.runs.c.run.in_(sa.select(seen.c.run).where(seen.c.id.in_(ids)))
        ),
    )
    rows = rows.rename(columns={"reason": "placed_why"})
    return rows.merge(runs, on="run", how="left").sort_values(["ran_on", "run", "measure_m"], ignore_index=True)


def _located_depths(store: Store, conn: sa.Connection, lateral: str, line: Lines) -> pd.DataFrame:
    """Depths that were found from above on a lateral: measure_m, depth_m, how."""
    seen, said = schema.placed_observations, schema.observations
    of_heads = bulk.read(
        conn,
        sa.select(seen.c.run, seen.c.ran_on, seen.c.measure_m, said.c.depth_m)
        .join_from(seen, said, seen.c.id == said.c.id)
        .where(seen.c.lateral == lateral, said.c.depth_m.is_not(None), seen.c.measure_m.is_not(None))
        .order_by(seen.c.ran_on, seen.c.id),
    )
    of_heads["how"] = "the camera's head as located by run " + of_heads["run"] + of_heads["ran_on"].dt.strftime(" on %Y-%m-%d")
    points = _current(conn, schema.located_points, lateral).dropna(subset=["x", "y", "depth_m"])
    points = points.rename(columns={"x": "located_x", "y": "located_y", "crs": "located_crs"}).reset_index(drop=True)
    xy = with_located_points(points, store.crs)[["located_map_x", "located_map_y"]].to_numpy(float)
    measure, off = measure_of(line, [0] * len(points), xy)
    points = points.assign(measure_m=measure, how="a point located from above")[off <= OFF_LINE_M]
    columns = ["measure_m", "depth_m", "how"]
    return pd.concat([of_heads[columns], points[columns]], ignore_index=True)


def _cross_bores(conn: sa.Connection, row: pd.Series, place: DigPlace) -> tuple[str, ...]:
    """Issues that may be gas pipes: on this lateral, or within the view."""
    table = schema.issues
    view = place.spot.buffer(VIEW_M / place.metres_per_unit).bounds
    near = sa.or_(table.c.lateral == row["lateral"], bulk.in_box(conn, table, view))
    found = bulk.read(conn, sa.select(table.c.issue).where(table.c.kind == CROSS_BORE, near).order_by(table.c.issue))
    return tuple(found["issue"])


def _current(conn: sa.Connection, table: sa.Table, lateral: str) -> pd.DataFrame:
    return bulk.read(conn, sa.select(table).where(table.c.lateral == lateral, recorded.is_current(table)).order_by(table.c.id))


def _why_not(issue: str, sightings: pd.DataFrame) -> str:
    reasons = "; ".join(dict.fromkeys(sightings["placed_why"].dropna())) or "the map has no line for its lateral"
    return (
        f"issue '{issue}' cannot be dug for, because nobody knows where on the ground it is ({reasons}): "
        "look again with a camera from a known point, or have its head located from above, load that, and ask again"
    )
