"""All that a crew must know before it opens the ground at an issue: where, how deep, between what, seen when."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import PurePosixPath
from typing import Any

import numpy as np
import pandas as pd
import pyproj
import shapely
import sqlalchemy as sa

from sewermap.answers import dig_reads as reads
from sewermap.answers.dig_depth import Depth, depth_at
from sewermap.answers.dig_ground import VIEW_M, Surroundings, surroundings, ties_to
from sewermap.cautions import CROSS_BORE
from sewermap.errors import MeasureError
from sewermap.line.known_points import Laterals, known_points, laterals_from_computed
from sewermap.line.on_the_map import across_of
from sewermap.line.place_rules import PlaceRules, rules_from_texts
from sewermap.line.reference import Lines, lines_from_geometries, parts_between, point_at
from sewermap.line.ties import TiePair
from sewermap.plain import records
from sewermap.store import bulk, recorded
from sewermap.store import tables as schema
from sewermap.store.reference_system import crs_name
from sewermap.store.session import Store

TWO_SIDED = 1.96
"""Deviations to both sides that hold 95 % of a normal distribution."""


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
    return dig_facts_of(store, [issue])[issue]


def dig_facts_of(store: Store, issues: Sequence[str]) -> dict[str, DigFacts]:
    """The facts for digging at each of some issues, by the names given. Each table is read once, however many issues there are.

    Raises UnknownNameError for a name that is no issue's, MeasureError for an issue that has no place.
    """
    if not len(issues):
        return {}
    with store.reading() as conn:
        rows = reads.issue_rows(conn, issues)
        sightings = reads.sightings_of(conn, rows["issue"].tolist())
        line_rows = bulk.read(conn, sa.select(schema.laterals).where(reads.named(conn, schema.laterals, rows["lateral"])))
        for name in rows.loc[rows["x"].isna() | ~rows["lateral"].isin(line_rows["lateral"]), "issue"].head(1):
            raise MeasureError(_why_not(name, sightings[name]))
        rules = rules_from_texts(recorded.rules(conn))
        laterals = laterals_from_computed(line_rows, store.metres_per_unit, rules)
        known = _known_lines(store, conn, laterals, rules)
        lines = [known[name] for name in rows["lateral"]]
        ends = [_ends_m(row, sightings[row["issue"]]) for row in records(rows)]
        places = _places(store, rows, lines, ends, laterals)
        grounds = surroundings(conn, [of.row for of in lines], [of.line for of in lines], [place.spot for place in places])
        near = _cross_bores(conn, rows, places)
    found = zip(records(rows), lines, places, grounds, near, strict=True)
    return {typed: _facts(store, *of, sightings[of[0]["issue"]]) for typed, of in zip(issues, found, strict=True)}


@dataclass(frozen=True)
class _KnownLine:
    """What is known of a lateral, whatever issue of it is dug for; ``line`` holds it alone."""

    row: dict[str, Any]
    line: Lines
    points: pd.DataFrame
    depths: pd.DataFrame
    referents: pd.DataFrame
    works: pd.DataFrame


def _known_lines(store: Store, conn: sa.Connection, laterals: Laterals, rules: PlaceRules) -> dict[str, _KnownLine]:
    table = laterals.table
    names = table["lateral"].tolist()
    referents = reads.current_of(conn, schema.referents, names)
    known = known_points(laterals, referents, rules.counter.fix_sigma_m)
    # A counter is fixed on the line as it is seen; the sheet tells the line as all that is known of it together says.
    is_border = known["kind"] == "property line"
    known.loc[is_border, "measure_m"] = table["property_line_m"].to_numpy(float)[known.loc[is_border, "lateral"]]
    by_lateral = reads.split(referents, "lateral", names)
    points = reads.split(known.assign(lateral=table["lateral"].to_numpy()[known["lateral"]]), "lateral", names)
    depths = reads.located_depths(store, conn, table["lateral"], laterals.lines)
    works = reads.current_of(conn, schema.works, names).sort_values(["done_on", "work"])
    works_of = reads.split(works, "lateral", names)
    told = records(table.drop(columns="accuracy_m"))
    lines = [lines_from_geometries([shape], store.metres_per_unit) for shape in table["geometry"]]
    return {
        name: _KnownLine(row, line, _points(points[name], by_lateral[name], line), depths[name], by_lateral[name], works_of[name])
        for name, row, line in zip(names, told, lines, strict=True)
    }


def _facts(
    store: Store,
    issue: dict[str, Any],
    of: _KnownLine,
    place: DigPlace,
    ground: Surroundings,
    cross_bores: tuple[str, ...],
    sightings: pd.DataFrame,
) -> DigFacts:
    measure = float(issue["measure_m"])
    units = sightings["unit"].dropna().tolist()
    return DigFacts(
        store.shown,
        issue,
        of.row,
        place,
        ground,
        of.points,
        _measures(of.points, measure),
        depth_at(of.row, of.depths, measure, place.open_m),
        ties_to(place.spot, ground, of.referents, store.metres_per_unit),
        sightings,
        of.works,
        cross_bores,
        str(units[-1]) if units else "m",
        tuple(dict.fromkeys(str(PurePosixPath(path).parent) for path in sightings["source_file"].dropna())),
    )


def _ends_m(row: dict[str, Any], sightings: pd.DataFrame) -> tuple[float, float]:
    """Lower and upper measure of an issue: for one that runs along the line the means of what its sightings say, each of them
    read from either end, weighted by 1 / sigma², and always the issue's own measure too.
    """
    own = [float(row["measure_m"])]
    along = sightings.dropna(subset=["measure_m", "to_measure_m", "sigma_m"])
    if len(along):
        ends = np.sort(along[["measure_m", "to_measure_m"]].to_numpy(float), axis=1)
        own += np.average(ends, axis=0, weights=along["sigma_m"].to_numpy(float) ** -2).tolist()
    return min(own), max(own)


def _places(
    store: Store, rows: pd.DataFrame, lines: Sequence[_KnownLine], ends_m: Sequence[tuple[float, float]], laterals: Laterals
) -> list[DigPlace]:
    widened = TWO_SIDED * rows["sigma_m"].to_numpy(float)
    length = np.array([float(of.line.length_m[0]) for of in lines])
    low, high = np.array(ends_m, dtype=float).T
    low, high = np.maximum(low - widened, 0.0), np.minimum(high + widened, length)
    at = laterals.index_of(rows["lateral"])
    # As wide as the line is ill known at the worse end of what is to be opened.
    across = TWO_SIDED * np.maximum(*(across_of(laterals, at, end) for end in (low, high)))
    stretches = np.array([parts_between(of.line, [0], [a], [b])[0] for of, a, b in zip(lines, low, high, strict=True)])
    bands = shapely.buffer(stretches, across / store.metres_per_unit, cap_style="flat", join_style="mitre")
    to_lonlat = pyproj.Transformer.from_crs(store.crs, pyproj.CRS.from_epsg(4326), always_xy=True)
    x, y = rows["x"].to_numpy(float), rows["y"].to_numpy(float)
    lon, lat = to_lonlat.transform(x, y)
    name = crs_name(store.crs)
    return [
        DigPlace(
            shapely.Point(x[row], y[row]),
            float(lon[row]),
            float(lat[row]),
            name,
            store.metres_per_unit,
            shapely.LineString(of.line.coords[:, :2]),
            (float(low[row]), float(high[row])),
            float(across[row]),
            stretches[row],
            bands[row],
        )
        for row, of in enumerate(lines)
    ]


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
    name, kind = points["name"].to_numpy(object), points["kind"].to_numpy(object)
    away = measure_m - points["measure_m"].to_numpy(float)
    is_clean_out = kind == "clean-out"
    # Points are in order of measure: of several at one measure, the first by name.
    before, after = np.flatnonzero(is_clean_out & (away >= 0)), np.flatnonzero(is_clean_out & (away < 0))
    nearest = [some[[away[some].argmin()]] for some in (before,) if len(some)] + [after[:1]]
    rows = [np.flatnonzero(name == "tie-in")[:1], np.flatnonzero(name == "property line")[:1], *nearest]
    rows += [np.flatnonzero(name == "building")[:1]]
    return tuple(
        FromPoint(str(name[at]), str(kind[at]), abs(float(away[at])), "building" if away[at] >= 0 else "main")
        for at in np.concatenate(rows)
    )


def _cross_bores(conn: sa.Connection, rows: pd.DataFrame, places: Sequence[DigPlace]) -> list[tuple[str, ...]]:
    """Issues that may be gas pipes, for each row: on its lateral, or within the view."""
    views = np.array([place.spot.buffer(VIEW_M / place.metres_per_unit).bounds for place in places])
    return reads.which_near(reads.kind_near(conn, CROSS_BORE, rows["lateral"], views), rows, views)


def _why_not(issue: str, sightings: pd.DataFrame) -> str:
    reasons = "; ".join(dict.fromkeys(sightings["placed_why"].dropna())) or "the map has no line for its lateral"
    return (
        f"issue '{issue}' cannot be dug for, because nobody knows where on the ground it is ({reasons}): "
        "look again with a camera from a known point, or have its head located from above, load that, and ask again"
    )
