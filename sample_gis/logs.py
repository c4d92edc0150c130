"""The crews' logs as sheets of text, in each crew's shape, and where each observation stands in them."""

from dataclasses import dataclass

import numpy as np
import pandas as pd
import pyproj

from sample_gis.crews import ALL, OBSERVATION_FIELDS, RUN_FIELDS, Crew
from sample_gis.generator import Town
from sample_gis.streets import CRS

LONLAT = "EPSG:4326"
FIRST_DATA_ROW = 2
"""Rows are counted from 1, the header being row 1."""


@dataclass(frozen=True)
class Sheet:
    """One file of a crew: its path in the town's folder and its cells, all text, missing ones None."""

    path: str
    section: str
    crew: Crew
    cells: pd.DataFrame


def sheets_of(town: Town) -> tuple[list[Sheet], pd.DataFrame]:
    """All logs, one file of runs and one of observations for each crew and year.

    Also returns, row by row with ``town.observations``, source_file and source_row.
    """
    runs, observations = run_cells(town), observation_cells(town)
    year = town.runs["ran_on"].dt.year.to_numpy()
    crew = town.runs["crew"].to_numpy()
    of_run = town.observations["run"].to_numpy()
    where = pd.DataFrame({"source_file": pd.Series(index=observations.index, dtype=object), "source_row": 0})
    sheets = []
    for number, shape in enumerate(ALL):
        for one in np.unique(year[crew == number]):
            mine = (crew == number) & (year == one)
            sheets.append(_sheet(shape, "runs", one, runs[mine]))
            rows = np.flatnonzero(mine[of_run])
            sheets.append(_sheet(shape, "observations", one, observations.iloc[rows]))
            where.loc[rows, "source_file"] = sheets[-1].path
            where.loc[rows, "source_row"] = FIRST_DATA_ROW + np.arange(len(rows))
    return sheets, where


def _sheet(crew: Crew, section: str, year: int, cells: pd.DataFrame) -> Sheet:
    names = crew.runs if section == "runs" else crew.observations
    written = pd.DataFrame({column: _in_words(crew, field, cells[field]) for field, column in names.items()})
    if section == "runs":
        written[names["ran_on"]] = pd.to_datetime(cells["ran_on"]).dt.strftime(crew.day).astype(object)
        if crew.by_address:
            written[names["lateral"]] = cells["address"].to_numpy(object)
    return Sheet(f"logs/{crew.folder}/{section}-{year}.{crew.suffix}", section, crew, written.reset_index(drop=True))


def _in_words(crew: Crew, field: str, values: pd.Series) -> pd.Series:
    theirs = crew.kinds if field == "kind" else crew.words.get(field, {})
    return values.astype(object).map(lambda word: theirs.get(word, word))


def run_cells(town: Town) -> pd.DataFrame:
    """Runs by our field names, as text; ``ran_on`` stays a day."""
    runs = town.runs
    lateral = runs["lateral"].to_numpy()
    nothing = runs["launch_reading_m"] == 0.0
    cells = pd.DataFrame(
        {
            "run": runs["name"],
            "lateral": town.laterals["lateral"].to_numpy(object)[lateral],
            "address": town.laterals["address"].to_numpy(object)[lateral],
            "ran_on": runs["ran_on"],
            "launch": runs["launch"],
            "direction": np.where(runs["towards_building"], "to building", "to main"),
            "launch_reading": runs["launch_reading"].where(~nothing, None),
            # One run in ten does not say where it ended.
            "end_reading": runs["end_reading"].where(runs["run"] % 10 != 7, None),
            "lead_in": runs["lead_in"].where(runs["lead_in_m"] > 0.0, None),
            "reason": runs["reason"],
            "crew": runs["crew_name"],
            "remark": None,
        }
    )
    return cells[[*RUN_FIELDS, "address"]]


def observation_cells(town: Town) -> pd.DataFrame:
    """Observations by our field names, as text. One crew locates in degrees, the others in the map's metres."""
    seen = town.observations
    texts = ("reading", "to_reading", "kind", "material_after", "referent", "remark", "picture")
    cells = {name: seen[name].astype(object) for name in texts}
    cells["run"] = seen["run_name"].astype(object)
    for name in ("clock_from", "percent", "grade"):
        cells[name] = _whole(seen[name])
    cells["located_x"], cells["located_y"] = _located(seen)
    return pd.DataFrame(cells)[[*OBSERVATION_FIELDS]]


def _whole(values: pd.Series) -> pd.Series:
    return values.astype(float).map(lambda value: f"{value:.0f}", na_action="ignore").astype(object)


def _located(seen: pd.DataFrame) -> tuple[pd.Series, pd.Series]:
    x, y = seen["located_x"].to_numpy(float), seen["located_y"].to_numpy(float)
    to_lonlat = pyproj.Transformer.from_crs(CRS, LONLAT, always_xy=True)
    lon, lat = to_lonlat.transform(x, y)
    crew = seen["crew"].to_numpy()
    degrees = np.isin(crew, [number for number, shape in enumerate(ALL) if shape.lonlat])
    texts = []
    for metres, turned in ((x, lon), (y, lat)):
        text = np.where(degrees, np.char.mod("%.7f", turned), np.char.mod("%.2f", metres)).astype(object)
        comma = np.array([shape.separator == ";" for shape in ALL])[crew]
        text = np.where(comma, np.char.replace(text.astype(str), ".", ",").astype(object), text)
        texts.append(pd.Series(text, index=seen.index, dtype=object).where(~np.isnan(metres), None))
    return texts[0], texts[1]
