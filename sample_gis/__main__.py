"""``python -m sample_gis OUTDIR``: write an invented town as files."""

import argparse
import sys
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from sample_gis.generator import make_town
from sample_gis.plans import plan_names
from sample_gis.settings import DEMO, EASY, HARD, SEED
from sample_gis.writer import write

FEWEST = 20
"""With fewer laterals, one of the crews may never have run."""

_TOWNS = {"demo": DEMO, "easy": EASY, "hard": HARD}


def main(arguments: Sequence[str] | None = None) -> int:
    """Write the town that the arguments ask for, and say what to load. Returns the exit status."""
    parser = argparse.ArgumentParser(prog="python -m sample_gis", description="write an invented town as files")
    parser.add_argument("outdir", type=Path, help="folder to write to")
    parser.add_argument("--seed", type=int, default=SEED)
    parser.add_argument("--laterals", type=int, default=DEMO.laterals)
    parser.add_argument("--difficulty", choices=sorted(_TOWNS), default="demo")
    asked = parser.parse_args(arguments)
    if asked.laterals < FEWEST:
        parser.error(f"--laterals must be {FEWEST} or more")
    town = make_town(asked.seed, asked.laterals, replace(_TOWNS[asked.difficulty], crews=DEMO.crews))
    write(town, asked.outdir)
    sys.stderr.write(f"wrote {len(town.laterals)} laterals to {asked.outdir}; load {', then '.join(plan_names())}\n")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
