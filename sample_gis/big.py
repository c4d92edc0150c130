"""A large town for benchmarks: exact counts of laterals, runs and observations, written in seconds."""

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sample_gis.layers import areas, line_strings
from sample_gis.laying import FIRST_DAY
from sample_gis.pipes import Ground, ground_of
from sample_gis.readings import read_counters
from sample_gis.settings import EASY, SEED
from sample_gis.streets import CRS, streets_and_lots
from sample_gis.wording import as_written

Names = NDArray[np.object_]
KINDS = {"roots": 0.25, "crack": 0.15, "offset joint": 0.2, "grease": 0.1, "property line": 0.2, "tie-in": 0.1}
DAYS = 1095

SOURCES = f"""crs = "{CRS}"

[laterals]
from = "laterals.gpkg"

[parcels]
from = "parcels.gpkg"

[runs]
from = "runs.csv"
[runs.defaults]
unit = "ft"

[observations]
from = "observations.csv"
"""


def write_big(folder: Path, laterals: int = 20_000, runs: int = 44_000, observations: int = 150_000, seed: int = SEED) -> None:
    """Write laterals.gpkg, parcels.gpkg, runs.csv, observations.csv and a SOURCES.toml that loads them, all rows good.

    Each lateral has one run or more (``runs`` must not be fewer than ``laterals``), the counters err as in an easy town.
    """
    if runs < laterals:
        raise ValueError(f"{runs} runs are too few for {laterals} laterals: each has one or more")
    folder.mkdir(parents=True, exist_ok=True)
    settings = replace(EASY, laterals=laterals)
    chances = [np.random.default_rng(child) for child in np.random.SeedSequence(seed).spawn(3)]
    streets, lots = streets_and_lots(laterals, chances[0])
    ground = ground_of(streets, lots, settings, chances[1])
    names = np.char.mod("L-%06d", np.arange(1, laterals + 1)).astype(object)
    owners = np.char.mod("P-%06d", np.arange(1, laterals + 1)).astype(object)
    street = streets.name[lots.street]
    lines = {"lateral": names, "street": street, "property": owners, "map_accuracy": ground.map_accuracy_m}
    lots_drawn = {"property": owners, "map_accuracy": ground.parcel_accuracy_m}
    _layer(lines, line_strings(ground.drawn)).to_file(folder / "laterals.gpkg", engine="pyogrio")
    _layer(lots_drawn, areas(ground.parcel)).to_file(folder / "parcels.gpkg", engine="pyogrio")
    made = _runs(laterals, runs, ground, chances[2])
    seen = _observations(made, observations, ground, chances[2])
    read_counters(made, seen, settings, chances[2])
    _write(made, seen, names, folder)
    (folder / "SOURCES.toml").write_text(SOURCES, encoding="utf-8")


def _layer(columns: Mapping[str, object], shapes: Names) -> gpd.GeoDataFrame:
    return gpd.GeoDataFrame(dict(columns), geometry=gpd.array.from_shapely(shapes, crs=CRS))


def _runs(laterals: int, count: int, ground: Ground, rng: np.random.Generator) -> pd.DataFrame:
    """Runs from the building to the main, the first of each lateral in order."""
    lateral = np.concatenate([np.arange(laterals), rng.integers(0, laterals, count - laterals)])
    zero = np.zeros(count)
    return pd.DataFrame(
        {
            "lateral": lateral,
            "crew": np.zeros(count, dtype=np.int64),
            "ran_on": FIRST_DAY + rng.integers(0, DAYS, count),
            "true_launch_m": ground.true.length_m[lateral],
            "true_end_m": zero,
            "launch_error_m": rng.normal(0.0, EASY.launch_sd_m, count),
            "scale_error": rng.normal(0.0, EASY.scale_sd, count),
            "launch_reading_m": zero,
            "lead_in_m": zero,
        }
    )


def _observations(runs: pd.DataFrame, count: int, ground: Ground, rng: np.random.Generator) -> pd.DataFrame:
    run = np.sort(rng.integers(0, len(runs), count))
    lateral = runs["lateral"].to_numpy()[run]
    kind = rng.choice(list(KINDS), count, p=list(KINDS.values())).astype(object)
    anywhere = rng.random(count) * ground.true.length_m[lateral]
    measure_m = np.where(kind == "property line", ground.property_line_m[lateral], np.where(kind == "tie-in", 0.0, anywhere))
    return pd.DataFrame(
        {
            "run": run,
            "lateral": lateral,
            "kind": kind,
            "true_measure_m": measure_m,
            "true_to_measure_m": np.nan,
            "grade": rng.integers(1, 6, count),
        }
    )


def _write(runs: pd.DataFrame, seen: pd.DataFrame, names: Names, folder: Path) -> None:
    name = np.char.mod("R-%06d", np.arange(1, len(runs) + 1)).astype(object)
    crew = np.zeros(max(len(runs), len(seen)), dtype=np.int64)
    sheet = pd.DataFrame(
        {
            "run": name,
            "lateral": names[runs["lateral"].to_numpy()],
            "ran_on": np.datetime_as_string(runs["ran_on"].to_numpy("datetime64[D]")),
            "end_reading": as_written(runs["end_reading_m"].to_numpy(float), crew[: len(runs)]),
        }
    )
    sheet.to_csv(folder / "runs.csv", index=False)
    defect = ~seen["kind"].isin(["property line", "tie-in"])
    sheet = pd.DataFrame(
        {
            "run": name[seen["run"].to_numpy()],
            "reading": as_written(seen["reading_m"].to_numpy(float), crew[: len(seen)]),
            "kind": seen["kind"],
            "grade": seen["grade"].astype("str").where(defect),
        }
    )
    sheet.to_csv(folder / "observations.csv", index=False)
