"""An invented city for tests: streets in mid-ocean with houses on both sides, wide enough to lie in several cells."""

from datetime import date

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from pyproj import CRS

from sewermap.web.site_tables import SiteTables, site_tables

METRES = CRS("+proj=tmerc +lat_0=40 +lon_0=-40 +k=1 +x_0=1000 +y_0=1000 +ellps=WGS84 +units=m")
FEET = CRS("+proj=tmerc +lat_0=40 +lon_0=-40 +k=1 +x_0=1000 +y_0=1000 +ellps=WGS84 +units=ft")
METRES_PER_FOOT = 0.3048
STREETS, HOUSES = 5, 12
STREET_APART_M, PLOT_M = 700.0, 18.0
YARD = (18.0, 3.0, -2.0, -3.0)
KINDS = ("roots", "crack", "cross-bore", "offset joint")
STATES = ("new", "same", "mended", "returned")
FIRST_DAY = np.datetime64("2020-03-01")
AS_OF = date(2026, 1, 31)
LONG_ONE, BENT_ONE, WITHOUT_LINE = "L-3", "L-7", "L-11"


def city_frames(crs: CRS = METRES) -> dict[str, pd.DataFrame]:
    """Frames of the city: 60 laterals, one of them 2 km long, one with 300 vertices, one without a line; 3 issues each."""
    laterals = _laterals()
    issues = _issues(laterals)
    x0 = 1000 + np.arange(STREETS) * STREET_APART_M
    plots = [shapely.box(x + 9 + 0.5, y, x + 45, y + PLOT_M - 0.5) for x in x0 for y in 1000 + PLOT_M * np.arange(HOUSES)]
    holed = shapely.box(1010, 990, 1030, 998).difference(shapely.box(1015, 992, 1020, 995))
    frames = {
        "laterals": laterals,
        "issues": issues,
        "issue_events": _events(issues),
        "run_coverages": _coverages(laterals),
        "due": pd.DataFrame(
            {
                "lateral": ["L-0", "L-0", "L-1"],
                "state": ["lapsed", "due", "checked"],
                "check_by": pd.to_datetime(["2025-01-01", "2026-02-01", "2026-03-01"]),
            }
        ),
        "parcels": gpd.GeoDataFrame({"property": range(len(plots))}, geometry=plots, crs=METRES),
        "buildings": gpd.GeoDataFrame(
            {"building": range(len(plots) + 1)},
            geometry=[*(shapely.box(*(np.array(plot.bounds) + YARD)) for plot in plots), holed],
            crs=METRES,
        ),
        "streets": gpd.GeoDataFrame(
            {"street": [f"Alder Lane {i}" for i in range(STREETS)]},
            geometry=[shapely.LineString([(x, 950), (x, 1250)]) for x in x0],
            crs=METRES,
        ),
        "mains": gpd.GeoDataFrame(
            {"main": ["M-1"]}, geometry=[shapely.MultiLineString([[(x, 960), (x, 1240)] for x in x0])], crs=METRES
        ),
    }
    return {name: _in(frame, crs) for name, frame in frames.items()}


def city_tables(crs: CRS = METRES, shuffled_by: int | None = None) -> SiteTables:
    """The city as a site's tables, its rows in another order where a seed is given (events keep theirs)."""
    frames = city_frames(crs)
    if shuffled_by is not None:
        frames = {
            name: frame if name == "issue_events" else frame.sample(frac=1, random_state=shuffled_by, ignore_index=True)
            for name, frame in frames.items()
        }
    return site_tables(frames, crs=crs, title="Fernhollow", as_of=AS_OF)


def _in(frame: pd.DataFrame, crs: CRS) -> pd.DataFrame:
    return frame.to_crs(crs) if isinstance(frame, gpd.GeoDataFrame) else frame


def _laterals() -> gpd.GeoDataFrame:
    number = np.arange(STREETS * HOUSES)
    street, house = number // HOUSES, number % HOUSES
    x, y = 1000 + STREET_APART_M * street, 1009 + PLOT_M * house
    lines = [shapely.LineString([(a, b), (a + 10, b), (a + 20, b + 2)]) for a, b in zip(x, y, strict=True)]
    wave = np.linspace(0, 30, 300)
    lines[3] = shapely.LineString([(x[3], y[3]), (x[3] + 2000, y[3] + 900)])
    lines[7] = shapely.LineString(np.c_[x[7] + wave, y[7] + np.sin(wave)])
    lines[11] = None
    frame = gpd.GeoDataFrame(geometry=lines, crs=METRES)
    length = frame.length.to_numpy()
    return frame.assign(
        lateral=[f"L-{i}" for i in number],
        street=[f"Alder Lane {i}" for i in street],
        address=[f"{2 * h + 2} Alder Lane {s}" for h, s in zip(house, street, strict=True)],
        length_m=np.where(np.isnan(length), 20.0, length),
        property_line_m=np.where(number % 2, 9.0, np.nan),
        grade=np.where(number % 7, number % 5 + 1, np.nan),
        repeats=number % 4,
        last_run_on=pd.Series(np.where(number % 6, FIRST_DAY + number * 30, np.datetime64("NaT"))).astype("datetime64[s]"),
    )


def _issues(laterals: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    number = np.arange(3 * len(laterals))
    of = laterals.iloc[number // 3].reset_index(drop=True)
    share = (number % 3 + 1) / 4.3
    points = shapely.line_interpolate_point(of.geometry.to_numpy(), share, normalized=True)
    measure = share * of["length_m"].to_numpy()
    return gpd.GeoDataFrame(
        {
            "issue": [f"{lateral}/{i % 3 + 1}" for i, lateral in zip(number, of["lateral"], strict=True)],
            "lateral": of["lateral"],
            "kind": np.array(KINDS, dtype=object)[number % len(KINDS)],
            "grade": np.where(number % 11, number % 5 + 1.0, np.nan),
            "measure_m": measure,
            "to_measure_m": np.where(number % 10 == 1, measure + 2.0, np.nan),
            "sigma_m": 0.2 + (number % 4) / 10,
            "side": np.array(["private", "public", None, "undetermined"], dtype=object)[number % 4],
            "state": np.array(STATES, dtype=object)[number % len(STATES)],
            "first_seen": FIRST_DAY + number,
            "last_seen": FIRST_DAY + 2 * number + 1,
            "is_repeat": number % 5 == 0,
        },
        geometry=points,
        crs=METRES,
    )


def _events(issues: pd.DataFrame) -> pd.DataFrame:
    """Each issue was new on the day it was first seen, and has been what it is since the last."""
    twice = pd.concat([issues, issues], ignore_index=True)
    first = np.arange(len(twice)) < len(issues)
    told = pd.DataFrame(
        {
            "issue": twice["issue"],
            "day": twice["first_seen"].where(first, twice["last_seen"]),
            "state": twice["state"].where(~first, "new"),
            "grade": twice["grade"].where(~first, 1.0),
        }
    )
    return told.sort_values(["issue", "day"], kind="stable", ignore_index=True)


def _coverages(laterals: pd.DataFrame) -> pd.DataFrame:
    seen = laterals[laterals["last_run_on"].notna()]
    return pd.DataFrame(
        {"run": "R-" + seen["lateral"], "lateral": seen["lateral"], "ran_on": seen["last_run_on"], "from_measure_m": 0.0}
    ).reset_index(drop=True)
