"""Four laterals in the open sea, made to be dug for: one with all that a sheet can say, one bare, one hostile, one alone."""

import json
from pathlib import Path

import geopandas as gpd
import pandas as pd
import shapely
from shapely import affinity

HOSTILE = "{{7*7}}<script>alert(1)</script>\"'><img src=x onerror=alert(2)>{% raw %}&amp;\u202etxet]]>--><svg onload=alert(3)>"
"""Markup, template code, quotes, and a mark that turns the writing round."""

PNG = bytes.fromhex(
    "89504e470d0a1a0a0000000d4948445200000001000000010800000000"
    "3a7e9b550000000a49444154789c6360000000020001e221bc330000000049454e44ae426082"
)
"""The smallest grey picture."""

RUNS = [
    # run, lateral, day, unit, launch, reason, crew, remark
    ("R-1", "A-1", "2024-03-05", "ft", "building", "check", "Quillfeather", "wet"),
    ("R-2", "A-1", "2025-06-07", "ft", "building", "complaint", "Quillfeather", ""),
    ("R-3", "B-1", "2025-01-09", "ft", "building", "check", "Brackenmoor", ""),
    ("R-4", "C-1", "2025-02-03", "m", "building", "check", "Brackenmoor", ""),
    ("R-5", "E-1", "2025-05-01", "ft", "building", "check", HOSTILE, HOSTILE),
    *(
        (f"R-{number}", "A-1", f"2023-0{number - 9}-05", "ft", "building", "check", "Quillfeather", "")
        for number in range(10, 15)
    ),
]
OBSERVATIONS = [
    # run, reading, to_reading, kind, clock, percent, grade, remark, picture, depth
    ("R-1", "26.2", "", "roots", "3", "20", "2", "as it was", "one.png", ""),
    ("R-2", "26' 5\"", "", "roots", "3", "35", "3", "the house smells of it", "film/two.png", ""),
    ("R-2", "58", "", "crack", "9", "", "2", "", "gone.jpg", ""),
    ("R-2", "33", "46", "sag", "", "", "2", "", "", ""),
    ("R-3", "20", "", "cross-bore", "12", "", "5", "", "", ""),
    ("R-3", "30", "", "crack", "12", "", "2", "", "", ""),
    ("R-4", "4.5", "", "offset joint", "", "", "3", "", "", ""),
    ("R-5", "22", "", "crack", "6", "", "3", HOSTILE, HOSTILE, ""),
    *((f"R-{number}", "26.3", "", "roots", "3", "15", "2", f"look {number}", f"p{number}.png", "") for number in range(10, 15)),
]
WORKS = [
    ("W-1", "A-1", "2024-05-01", "cleaning", "", "", "Quillfeather", ""),
    ("W-5", "E-1", "2024-05-01", "cleaning", "", "", HOSTILE, HOSTILE),
    ("W-3", "B-1", "2025-02-01", "root cutting", "3.0", "17.0", "Brackenmoor", ""),
]
PLACES = {"A-1": 0.0, "B-1": 200.0, "C-1": 500.0, "E-1": 800.0}
"""How far east each lateral lies, metres."""


def write_dig_town(folder: Path, crs: str, origin: tuple[float, float], metres_per_unit: float) -> Path:
    """Write the town's files into a folder; gives the path of its SOURCES.toml."""
    folder.mkdir(parents=True, exist_ok=True)

    def placed(shape: shapely.Geometry, east_m: float) -> shapely.Geometry:
        moved = affinity.translate(shape, east_m, 0)
        scaled = affinity.scale(moved, 1 / metres_per_unit, 1 / metres_per_unit, origin=(0, 0))
        return affinity.translate(scaled, *origin)

    def layer(name: str, rows: list[dict[str, object]]) -> None:
        frame = gpd.GeoDataFrame(rows, geometry="geometry", crs=crs)
        frame.to_file(folder / f"{name}.gpkg", driver="GPKG", layer=name, engine="pyogrio")

    bare = {"street": "Gannet Row", "material": None, "diameter": None, "map_accuracy": None}
    rich = {"street": "Gannet Row", "material": "clay", "diameter": "4 in", "map_accuracy": "0.2"}
    layer(
        "laterals",
        [
            _line(placed, "A-1", "1 Gannet Row", "PA", rich, "2.4", "1.2", None, None),
            _line(placed, "B-1", "2", "PB", bare, None, None, None, None),
            _line(placed, "C-1", None, None, bare, None, None, "10.0", "10.4"),
            _line(
                placed, "E-1", HOSTILE, "PE" + HOSTILE, rich | {"material": HOSTILE, "street": HOSTILE}, None, None, None, None
            ),
        ],
    )
    house, lot = shapely.box(-6, 20, 6, 28), shapely.box(-12, 6, 12, 40)
    known = [name for name in PLACES if name != "C-1"]
    bad = {"E-1": HOSTILE}
    layer(
        "buildings",
        [
            {"building": bad.get(name, f"H{name[0]}"), "property": f"P{name[0]}", "geometry": placed(house, PLACES[name])}
            for name in known
        ],
    )
    layer("parcels", [{"property": f"P{name[0]}{bad.get(name, '')}", "geometry": placed(lot, PLACES[name])} for name in known])
    way = shapely.LineString([(-50, -3), (900, -3)])
    layer("streets", [{"street": "Gannet Row", "geometry": placed(way, 0)}])
    mains = [shapely.LineString([(-50, 0), (400, 0)]), shapely.LineString([(400, 0), (900, 0)])]
    layer("mains", [{"main": f"M{at}{HOSTILE if at else ''}", "geometry": placed(shape, 0)} for at, shape in enumerate(mains)])
    _tables(folder, placed)
    plan = [f"crs = {json.dumps(crs)}"]
    plan += [f'[{name}]\nfrom = "{name}.gpkg"' for name in ("parcels", "buildings", "streets", "mains")]
    plan += ['[laterals]\nfrom = "laterals.gpkg"\ntie_in = "start"']
    plan += [f'[{name}]\nfrom = "logs/{name}.csv"' for name in ("runs", "observations", "works", "referents")]
    (folder / "SOURCES.toml").write_text("\n".join(plan) + "\n", encoding="utf-8")
    return folder / "SOURCES.toml"


def _line(placed, name, address, lot, more, *depths):
    words = ("tie_in_depth", "building_depth", "tie_in_invert", "building_invert")
    shape = placed(shapely.LineString([(0, 0), (0, 20)]), PLACES[name])
    return {
        "lateral": name,
        "address": address,
        "property": lot,
        **more,
        **dict(zip(words, depths, strict=True)),
        "geometry": shape,
    }


def _tables(folder: Path, placed) -> None:
    logs = folder / "logs"
    logs.mkdir(exist_ok=True)
    clean_out = placed(shapely.Point(0, 16), 0)
    frames = {
        "runs": pd.DataFrame(RUNS, columns=["run", "lateral", "ran_on", "unit", "launch", "reason", "crew", "remark"]),
        "observations": pd.DataFrame(
            OBSERVATIONS,
            columns=["run", "reading", "to_reading", "kind", "clock_from", "percent", "grade", "remark", "picture", "depth"],
        ),
        "works": pd.DataFrame(
            WORKS, columns=["work", "lateral", "done_on", "kind", "from_measure", "to_measure", "by", "remark"]
        ),
        "referents": pd.DataFrame(
            [("A-1", "CO1", "clean-out", "", clean_out.x, clean_out.y), ("A-1", "CO2", "clean-out", "4.0", "", "")],
            columns=["lateral", "name", "kind", "measure", "x", "y"],
        ),
    }
    for name, frame in frames.items():
        frame.to_csv(logs / f"{name}.csv", index=False)
    (logs / "film").mkdir(exist_ok=True)
    for name in ("one.png", "film/two.png"):
        (logs / name).write_bytes(PNG)
