"""How long a town takes to load and place, beside writing its rows with pyogrio: prints ratios, for they hold across machines.

Run it as ``python benchmarks/loading.py``, with ``--once`` to leave out the town of twice the size, ``--laterals 2000`` for a
smaller one, ``--profile`` to see where the time goes.

Ours is the whole of ``sewermap load`` in a process of its own: it starts Python, reads layers and sheets, checks every cell,
records, estimates the counter's figures, finds property lines, places every reading with its sigma and side, writes tables,
indexes and extents, and commits. The other way only writes ready frames (laterals with lines, runs, observations, placed points)
into a GeoPackage; to start Python and to make the frames is not counted there.
"""

import argparse
import cProfile
import os
import pstats
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import NamedTuple

import geopandas as gpd
import pandas as pd
import pyogrio

import sample_gis
import sewermap
from sewermap.cli import main as command_line

ALMOST_ALL = 0.99
TABLES = ("laterals", "runs", "observations", "placed_observations")
RUNS_A_LATERAL, OBSERVATIONS_A_LATERAL = 2.2, 7.5
PROGRAM = "from sewermap.cli import main; main(prog_name='sewermap')"


class Size(NamedTuple):
    """How many rows a town has."""

    laterals: int
    runs: int
    observations: int

    def times(self, factor: int) -> "Size":
        """A town so many times as big."""
        return Size(*(factor * count for count in self))


def load(folder: Path, size: Size) -> float:
    """Write a town's files, load them in a process of its own; seconds for the load."""
    sample_gis.write_big(folder, *size)
    sewermap.create(folder / "town.gpkg", "EPSG:26910")
    environment = os.environ | {"PYTHONPATH": str(Path(__file__).parents[1])}
    words = [sys.executable, "-c", PROGRAM, "load", str(folder / "SOURCES.toml"), "--db", str(folder / "town.gpkg")]
    start = time.perf_counter()
    subprocess.run(words, check=True, env=environment, stdout=subprocess.DEVNULL)  # noqa: S603 - our own program
    return time.perf_counter() - start


def write(folder: Path, out: Path, *, use_arrow: bool) -> float:
    """Write the same rows with pyogrio; seconds. The frames are made ready before."""
    book = sewermap.open(folder / "town.gpkg", read_only=True)
    frames = {name: book.layer(name) for name in TABLES}
    start = time.perf_counter()
    for name, frame in frames.items():
        geometry = {"geometry_type": frame.geom_type.dropna().iloc[0]} if isinstance(frame, gpd.GeoDataFrame) else {}
        pyogrio.write_dataframe(frame, out, layer=name, append=out.exists(), use_arrow=use_arrow, **geometry)
    return time.perf_counter() - start


def peak_gb() -> float:
    """The most memory that a finished child process held, GB."""
    kilobytes = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss
    return kilobytes * 1024 / 1e9


def counted(folder: Path, size: Size) -> None:
    """The database holds every row, and nearly all readings have a place; else the figures mean nothing."""
    placed: pd.DataFrame = sewermap.open(folder / "town.gpkg", read_only=True).layer("placed_observations")
    assert len(placed) == size.observations
    assert placed["measure_m"].notna().mean() > ALMOST_ALL


def profile(folder: Path) -> None:
    """Load once more, into another database in this process, and print where the time goes."""
    sewermap.create(folder / "again.gpkg", "EPSG:26910")
    profiler = cProfile.Profile()
    profiler.enable()
    command_line(["load", str(folder / "SOURCES.toml"), "--db", str(folder / "again.gpkg")], standalone_mode=False)
    profiler.disable()
    pstats.Stats(profiler).sort_stats("cumulative").print_stats(70)
    pstats.Stats(profiler).sort_stats("tottime").print_stats(40)


def measure(size: Size, *, once: bool, profiled: bool) -> None:
    """Measure and print."""
    print(f"{size.laterals} laterals, {size.runs} runs, {size.observations} observations")
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch)
        loading = load(folder / "one", size)
        memory = peak_gb()
        counted(folder / "one", size)
        writing = {
            use_arrow: write(folder / "one", folder / f"{use_arrow}.gpkg", use_arrow=use_arrow) for use_arrow in (False, True)
        }
        print(f"load and place           {loading:8.2f} s   peak {memory:.2f} GB")
        for use_arrow, seconds in writing.items():
            arrow = "with Arrow" if use_arrow else "without Arrow"
            print(f"pyogrio, {arrow:15} {seconds:8.2f} s   ratio {loading / seconds:.1f}")
        if profiled:
            profile(folder / "one")
        if not once:
            twice = load(folder / "two", size.times(2))
            counted(folder / "two", size.times(2))
            print(f"twice the rows           {twice:8.2f} s   ratio {twice / loading:.2f}   peak {peak_gb():.2f} GB")


if __name__ == "__main__":
    arguments = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    arguments.add_argument("--laterals", type=int, default=20_000)
    arguments.add_argument("--once", action="store_true", help="leave out the town of twice the size")
    arguments.add_argument("--profile", action="store_true", help="print where the time of a load goes")
    asked = arguments.parse_args()
    laterals = asked.laterals
    measure(
        Size(laterals, int(RUNS_A_LATERAL * laterals), int(OBSERVATIONS_A_LATERAL * laterals)),
        once=asked.once,
        profiled=asked.profile,
    )
