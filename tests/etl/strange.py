"""Strange files as offices and crews keep them, of invented content: each with what a draft of it must find."""

import json
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import geopandas as gpd
import openpyxl
import pandas as pd
import shapely

X, Y = 500_000.0, 4_000_000.0
CRS = "EPSG:26910"
LINES = {name: shapely.LineString([(X + 20 * at, Y), (X + 20 * at, Y + 15)]) for at, name in enumerate(("L1", "L2", "L3"))}


@dataclass(frozen=True)
class Strange:
    """A file: who writes it into a folder, what the draft must map, and how many rows of each section load once it is loaded."""

    write: Callable[[Path], Path]
    fields: dict[str, dict[str, str]]
    loaded: dict[str, int]
    options: dict[str, dict[str, str]]


def flat_american(folder: Path) -> Path:
    """One flat log, semicolons, month first, feet by the heading, codes and remarks of the crew."""
    (folder / "scoped.csv").write_text(
        "Job #;Line;Date;Dist. (ft);Observation;Clock;Severity;Comments;Operator;Weather\n"
        "J1;L1;05/31/2024;3.5;Roots;3;2;fine hairs;Ann;wet\nJ1;L1;05/31/2024;12;Crack;12;3;;Ann;wet\n"
        "J2;L2;06/01/2024;5;root-mass;;4;;Bo;dry\n"
    )
    return folder / "scoped.csv"


def flat_one_run(folder: Path) -> Path:
    """One line on one day, no column for the run, day first, metres by signs in the cells, a column `remark` that changes."""
    (folder / "visit 12.csv").write_text(
        "House,Inspected on,Meterage,What,remark\n"
        "3 Alder Street,31/05/2024,3.5 m,roots,a\n3 Alder Street,31/05/2024,7 m,crack,b\n"
    )
    return folder / "visit 12.csv"


def european(folder: Path) -> Path:
    """A workbook with a title, sheets of their own for jobs and findings, and a sheet that is nothing."""
    book = openpyxl.Workbook()
    book.active.title = "Read me"  # type: ignore[union-attr]
    book.active["A1"] = "Please fill both sheets"  # type: ignore[index]
    jobs = book.create_sheet("Inspections")
    for row in (
        ["Jobs of May"],
        ["Inspection No", "Sewer", "Survey date", "Unit", "Launched from"],
        ["7", "L1", "31.05.2024", "m", "tie-in"],
    ):
        jobs.append(row)
    seen = book.create_sheet("Findings")
    for row in (["Inspection No", "Chainage", "Defect", "Blockage %"], ["7", 3.5, "roots", 30], ["7", 9, "grease", 10]):
        seen.append(row)
    book.save(folder / "mai.xlsx")
    return folder / "mai.xlsx"


def runs_only(folder: Path) -> Path:
    """Runs alone, as JSON lines of a phone."""
    rows: list[dict[str, Any]] = [{"job_id": "A", "lateral_id": "L1", "when": "2024-05-31", "units": "feet", "technician": "Ann"}]
    (folder / "phone.jsonl").write_text("\n".join(json.dumps(row) for row in rows) + "\n")
    return folder / "phone.jsonl"


def repairs(folder: Path) -> Path:
    """Works with stretches in feet, typed, as Parquet."""
    frame = pd.DataFrame({
        "WO No": [1, 2], "Line ID": ["L1", "L2"], "Completed": pd.to_datetime(["2023-01-02", "2023-02-03"]),
        "Type": ["jetting", "point repair"], "From (ft)": [None, 3.0], "To (ft)": [None, 9.5], "Contractor": ["Weir", "Weir"],
    })  # fmt: skip
    frame.to_parquet(folder / "orders.parquet", index=False)
    return folder / "orders.parquet"


def guarantees(folder: Path) -> Path:
    """Warranties with tabs between, days by name."""
    (folder / "guarantees.tsv").write_text(
        "Guarantee\tLine\tEffective date\tPeriod\tContractor\nG1\tL1\t31 May 2024\tP2Y\tWeir\n"
    )
    return folder / "guarantees.tsv"


def bends(folder: Path) -> Path:
    """Legs of a line without a map."""
    (folder / "bends.csv").write_text("Lateral ID,Footage,Turn,Side\nL1,12,45,left\nL1,20,90,R\nL1,31,,\n")
    return folder / "bends.csv"


def located(folder: Path) -> Path:
    """Points located from above, as longitude and latitude."""
    (folder / "locates.csv").write_text("Line,Distance (m),Lon,Lat,Depth (m)\nL1,7.5,-122.99999,36.14345,1.2\n")
    return folder / "locates.csv"


def private_lines(folder: Path) -> Path:
    """A layer whose name tells it, with diameters in inches by their heading."""
    facts = {"FACILITYID": ["L1", "L2"], "PIPE_MAT": ["clay", "PVC"], "DIA_IN": ["4", "6"]}
    gpd.GeoDataFrame(facts, geometry=list(LINES.values())[:2], crs=CRS).to_file(folder / "ServiceLines.gpkg")
    return folder / "ServiceLines.gpkg"


def lots(folder: Path) -> Path:
    """A layer of areas that only its columns tell."""
    shapely_box = shapely.box(X - 5, Y + 8, X + 5, Y + 30)
    gpd.GeoDataFrame({"APN": ["12-3"]}, geometry=[shapely_box], crs=CRS).to_file(folder / "export_1.geojson", driver="GeoJSON")
    return folder / "export_1.geojson"


STRANGE = {
    "flat, american": Strange(
        flat_american,
        {
            "runs": {"run": "Job #", "lateral": "Line", "ran_on": "Date", "crew": "Operator"},
            "observations": {
                "run": "Job #", "reading": "Dist. (ft)", "kind": "Observation", "clock_from": "Clock", "grade": "Severity",
                "remark": "Comments",
            },
        },
        {"runs": 2, "observations": 3},
        {"runs": {"dates": "mdy"}},
    ),
    "flat, one run": Strange(
        flat_one_run,
        {
            "runs": {"address": "House", "ran_on": "Inspected on"},
            "observations": {"reading": "Meterage", "kind": "What", "remark": "remark"},
        },
        {"runs": 1, "observations": 2},
        {"runs": {"dates": "dmy"}},
    ),
    "two sheets": Strange(
        european,
        {
            "runs": {
                "run": "Inspection No", "lateral": "Sewer", "ran_on": "Survey date", "unit": "Unit", "launch": "Launched from"
            },
            "observations": {"run": "Inspection No", "reading": "Chainage", "kind": "Defect", "percent": "Blockage %"},
        },
        {"runs": 1, "observations": 2},
        {"runs": {"layer": "Inspections"}, "observations": {"layer": "Findings"}},
    ),
    "runs of a phone": Strange(
        runs_only,
        {"runs": {"run": "job_id", "lateral": "lateral_id", "ran_on": "when", "unit": "units", "crew": "technician"}},
        {"runs": 1},
        {},
    ),
    "repairs": Strange(
        repairs,
        {
            "works": {
                "work": "WO No", "lateral": "Line ID", "done_on": "Completed", "kind": "Type", "from_measure": "From (ft)",
                "to_measure": "To (ft)", "by": "Contractor",
            }
        },
        {"works": 2},
        {"works": {"unit": "ft"}},
    ),
    "guarantees": Strange(
        guarantees,
        {
            "warranties": {
                "warranty": "Guarantee", "lateral": "Line", "begins_on": "Effective date", "term": "Period",
                "answerable": "Contractor"
            }
        },
        {"warranties": 1},
        {},
    ),
    "bends": Strange(
        bends, {"legs": {"lateral": "Lateral ID", "reading": "Footage", "angle": "Turn", "hand": "Side"}}, {"legs": 3}, {}
    ),
    "located": Strange(
        located,
        {"located": {"lateral": "Line", "reading": "Distance (m)", "x": "Lon", "y": "Lat", "depth": "Depth (m)"}},
        {"located": 1},
        {"located": {"crs": "EPSG:4326"}},
    ),
    "a layer of lines": Strange(
        private_lines,
        {"laterals": {"lateral": "FACILITYID", "material": "PIPE_MAT", "diameter": "DIA_IN"}},
        {"laterals": 2},
        {},
    ),
    "a layer of areas": Strange(lots, {"parcels": {"property": "APN"}}, {"parcels": 1}, {}),
}  # fmt: skip
"""By name; the flat logs and sheets mirror no product's file."""
