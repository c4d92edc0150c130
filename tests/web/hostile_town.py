"""A small town in which every text that its files may hold is hostile: markup, quotes, formulas, line ends, 10,000 characters."""

import csv
import json
from collections.abc import Mapping, Sequence
from pathlib import Path

from sewermap.book import Book, create_book

LONG = "<a href='javascript:alert(3)'>x</a>" + "W" * 10_000
STREET_Y, WEST_X, PLOT_M = 5_500_000.0, 500_000.0, 18.0
HOUSES = 6


def hostile(what: str) -> str:
    """A text that means harm to pages, links, scripts and spreadsheets; ``what`` tells where it was written."""
    return (
        f"=1+1|'{what} </title></script><script>document.title='broken'</script>\"`&amp;<img src=x onerror=alert(2)>"
        "{{7*7}}${1}%s#&=?/\\..\u2028\u202eabc\u200f\N{PILE OF POO}"
    )


KIND = "=bad </script><script>alert(4)</script> \"'& kind"
SEEN = (("3.0", "roots"), ("5.0", KIND), ("8.0", "clean-out"), ("9.0", "material change"), ("40.0", "crack"))
NAMES = [hostile(f"lateral {number}") for number in range(HOUSES - 2)] + [f"lateral {LONG}", "__proto__"]
STREETS = [hostile("street"), "toString"]
RUNS = [hostile(f"run {number}") for number in range(HOUSES)]
WORK, WARRANTY = hostile("work"), hostile("warranty")


def house(number: int) -> float:
    """The easting of a house."""
    return WEST_X + PLOT_M * number


def load_hostile(folder: Path) -> Book:
    """Write the town's files below a folder, load them, and give the book."""
    folder.mkdir(parents=True, exist_ok=True)
    _write_layers(folder)
    _write_sheets(folder)
    (folder / "kinds.toml").write_text(f'[words]\n{json.dumps(KIND)} = "grease"\n', encoding="utf-8")
    (folder / "SOURCES.toml").write_text(SOURCES, encoding="utf-8")
    book = create_book(folder / "town.gpkg", "EPSG:26910")
    book.load(folder / "SOURCES.toml")
    return book


SECTIONS = ("laterals", "parcels", "buildings", "streets", "mains")
SHEETS = ("properties", "referents", "runs", "observations", "works", "warranties")
SOURCES = "\n".join(
    [
        'crs = "EPSG:26910"',
        *(f'[{name}]\nfrom = "{name}.geojson"' for name in SECTIONS),
        *(f'[{name}]\nfrom = "{name}.csv"' for name in SHEETS),
        '[rules]\nkinds = "kinds.toml"',
        "",
    ]
)


def _write_layers(folder: Path) -> None:
    y, houses = STREET_Y, range(HOUSES)
    laterals = [
        (
            {
                "lateral": NAMES[number],
                "street": STREETS[number % 2],
                "address": hostile("address") + LONG,
                "property": hostile(f"property {number}"),
                "material": hostile("material") + LONG,
                "diameter": "100 mm",
            },
            {"type": "LineString", "coordinates": [[house(number), y], [house(number), y + 12]]},
        )
        for number in houses
    ]
    parcels = [({"property": hostile(f"property {number}")}, _box(house(number) - 9, y + 5, PLOT_M, 30)) for number in houses]
    buildings = [
        (
            {"building": hostile(f"building {number}"), "property": hostile(f"property {number}")},
            _box(house(number) - 5, y + 12, 10, 10),
        )
        for number in houses
    ]
    line = {"type": "LineString", "coordinates": [[house(-1), y], [house(HOUSES), y]]}
    layers = {
        "laterals": laterals,
        "parcels": parcels,
        "buildings": buildings,
        "streets": [({"street": name}, line) for name in STREETS],
        "mains": [({"main": hostile("main")}, line)],
    }
    for name, rows in layers.items():
        features = [{"type": "Feature", "properties": told, "geometry": shape} for told, shape in rows]
        crs = {"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::26910"}}
        text = json.dumps({"type": "FeatureCollection", "crs": crs, "features": features})
        (folder / f"{name}.geojson").write_text(text, encoding="utf-8")


def _box(west: float, south: float, width: float, height: float) -> dict[str, object]:
    east, north = west + width, south + height
    return {"type": "Polygon", "coordinates": [[[west, south], [east, south], [east, north], [west, north], [west, south]]]}


def _write_sheets(folder: Path) -> None:
    runs = [
        {
            "run": RUNS[number],
            "lateral": NAMES[number % 4],
            "ran_on": f"202{4 + number // 4}-03-0{1 + number}",
            "unit": "m",
            "launch": "building",
            "end_reading": "12",
            "reason": "complaint",
            "crew": hostile("crew") + LONG,
            "remark": hostile("run remark") + "\r" + LONG + "\nend",
            "film": hostile("film"),
        }
        for number in range(HOUSES)
    ]
    seen = [
        {
            "run": RUNS[number],
            "reading": reading,
            "kind": kind,
            "grade": "4",
            "material_after": hostile("material after") if kind == "material change" else "",
            "referent": hostile("clean-out") if kind == "clean-out" else "",
            "remark": hostile("remark") + LONG,
            "picture": hostile("picture"),
            "film_time": hostile("film time"),
        }
        for number in range(HOUSES)
        for reading, kind in (
            ("3.0", "roots"),
            ("5.0", KIND),
            ("8.0", "clean-out"),
            ("9.0", "material change"),
            ("40.0", "crack"),
        )
    ]
    bad = [{"run": RUNS[0], "reading": hostile("reading"), "kind": hostile("kind"), "remark": LONG}]
    work = {"done_on": "2024-06-01", "kind": "root cutting", "by": hostile("by") + LONG, "remark": hostile("work remark")}
    warranty = {
        "begins_on": "2025-06-01",
        "term": "P1Y",
        "answerable": hostile("answerable") + LONG,
        "work": WORK,
        "start_event": hostile("start event"),
    }
    sheets = {
        "properties": [
            {
                "property": hostile("property 0"),
                "street": STREETS[0],
                "address": hostile("address"),
                "remark": hostile("of property"),
            }
        ],
        "referents": [{"lateral": name, "name": hostile("clean-out"), "kind": "clean-out", "measure": "4"} for name in NAMES],
        "runs": runs,
        "observations": [*seen, *bad],
        "works": [{"work": WORK, "lateral": NAMES[0], **work}],
        "warranties": [{"warranty": WARRANTY, "lateral": NAMES[0], **warranty}],
    }
    for name, rows in sheets.items():
        _write_sheet(folder / f"{name}.csv", rows)


def _write_sheet(path: Path, rows: Sequence[Mapping[str, str]]) -> None:
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(rows[0]), restval="", lineterminator="\r\n")
        writer.writeheader()
        writer.writerows(rows)
