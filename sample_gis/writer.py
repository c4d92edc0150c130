"""A town as a folder of files, as a town would hand them over, with the truth beside them."""

from importlib import resources
from pathlib import Path

import numpy as np
import pandas as pd

from sample_gis.badrows import REJECTED, bad_rows, with_bad_rows
from sample_gis.crews import ALL
from sample_gis.generator import Town
from sample_gis.layers import BROKEN_LINE, write_layers
from sample_gis.logs import Sheet, sheets_of
from sample_gis.pictures import write_pictures
from sample_gis.place_rules import RULE_FILES
from sample_gis.plans import plan_texts
from sample_gis.streets import TOWN
from sample_gis.truth import truth_tables

README = f"""{TOWN}

This town does not exist. Its streets, houses, pipes, crews and everything that happened in them are made up by a program
(python -m sample_gis); it lies in the open sea so that no real place is meant. No real person, firm or utility is described.

SOURCES.toml says how to load the map, the office's papers and the first crew's logs; SOURCES-*.toml add the other crews'.
gis/ and logs/ and office/ are what a town and three crews might hand over, with a few rows that are wrong on purpose
(truth/bad_rows.csv lists them). truth.csv and truth/ say what is really so: no file of a real town can.

Nothing here is fit to dig by. Where a real line is to be opened: have all buried lines located and marked first, keep to the
local code, and leave the work to those who are licensed to do it.
"""


def data_folder() -> Path:
    """The folder of the town that is installed with this package."""
    return Path(str(resources.files("sample_gis"))) / "data"


def write(town: Town, folder: Path) -> None:
    """Write layers, logs, papers, SOURCES files and truth below ``folder``; files of the same names are replaced.

    Raises ValueError for a town in which one of the three crews never ran: its SOURCES file would name no file.
    """
    if town.runs["crew"].nunique() < len(ALL):
        raise ValueError("only a town with runs of all three crews can be written; ask for crews=3 and more laterals")
    folder.mkdir(parents=True, exist_ok=True)
    write_layers(town, folder)
    sheets, where = sheets_of(town)
    sheets, bad = with_bad_rows(sheets, bad_rows(*_good(town)))
    for sheet in sheets:
        _write_sheet(sheet, folder)
    for name, table in _papers(town).items():
        _write_csv(table, folder / "office" / name)
    tables = truth_tables(town)
    tables["truth.csv"] = tables["truth.csv"].join(where)
    tables["truth/bad_rows.csv"] = pd.concat([bad, _bad_layer_rows(len(town.laterals))], ignore_index=True)
    for name, table in tables.items():
        _write_csv(table, folder / name)
    for name, text in (plan_texts() | dict(RULE_FILES.values())).items():
        (folder / name).parent.mkdir(exist_ok=True)
        (folder / name).write_text(text, encoding="utf-8", newline="\n")
    write_pictures(town, folder)
    (folder / "README.txt").write_text(README, encoding="utf-8")


def _good(town: Town) -> tuple[dict[str, str], str]:
    """The last run of each crew, on which wrong observations are hung, and the address of the second house."""
    last = town.runs.drop_duplicates("crew", keep="last").set_index("crew")["name"]
    return {crew.folder: str(last[number]) for number, crew in enumerate(ALL)}, str(town.laterals["address"].iloc[1])


def _bad_layer_rows(laterals: int) -> pd.DataFrame:
    row = {
        "file": "gis/town.gpkg",
        "row": laterals + 1,
        "section": "laterals",
        "field": "geometry",
        "expect": REJECTED,
        "why": f"{BROKEN_LINE} is drawn in two parts that do not meet",
    }
    return pd.DataFrame([row])


def _write_sheet(sheet: Sheet, folder: Path) -> None:
    path = folder / sheet.path
    path.parent.mkdir(parents=True, exist_ok=True)
    newline = "\r\n" if sheet.crew.encoding == "cp1252" else "\n"
    sheet.cells.to_csv(path, sep=sheet.crew.separator, encoding=sheet.crew.encoding, index=False, lineterminator=newline)


def _write_csv(table: pd.DataFrame, path: Path) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    table.to_csv(path, index=False, date_format="%Y-%m-%d", lineterminator="\n")


def _papers(town: Town) -> dict[str, pd.DataFrame]:
    """The office's own sheets, under our names of fields: known points (those recorded), works and warranties."""
    name = town.laterals["lateral"].to_numpy(object)
    points = town.points[town.points["recorded"].to_numpy(bool)].sort_values(["lateral", "name"])
    return {
        "known-points.csv": pd.DataFrame(
            {
                "lateral": name[points["lateral"].to_numpy(np.int64)],
                "name": points["name"],
                "kind": points["kind"],
                "measure": points["measure_m"].to_numpy(float),
                "x": points["x"].to_numpy(float),
                "y": points["y"].to_numpy(float),
                "sigma": points["sigma_m"].to_numpy(float),
            }
        ),
        "works.csv": pd.DataFrame(
            {
                "work": town.works["name"],
                "lateral": name[town.works["lateral"].to_numpy(np.int64)],
                "done_on": town.works["done_on"],
                "kind": town.works["kind"],
                "from_measure": town.works["from_measure_m"],
                "to_measure": town.works["to_measure_m"],
                "by": town.works["by"],
            }
        ),
        "warranties.csv": pd.DataFrame(
            {
                "warranty": town.warranties["name"],
                "lateral": name[town.warranties["lateral"].to_numpy(np.int64)],
                "begins_on": town.warranties["begins_on"],
                "term": town.warranties["term"],
                "check_lead": town.warranties["check_lead"].astype(int),
                "cure": town.warranties["cure"].astype(int),
                "answerable": town.warranties["answerable"],
                "work": town.warranties["work"],
                "from_measure": town.warranties["from_measure_m"].astype(float),
                "to_measure": town.warranties["to_measure_m"].astype(float),
                "kinds": town.warranties["kinds"],
                "start_event": town.warranties["start_event"],
                "notice_by": town.warranties["notice_by"],
            }
        ),
    }
