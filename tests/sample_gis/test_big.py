"""Large towns for benchmarks, tried small."""

import pandas as pd
import pyproj
import pytest

from etl.known import Known
from etl.pipeline import gather
from etl.plan import read_plan
from sample_gis import write_big
from sample_gis.streets import CRS


def test_counts_are_exact_and_all_rows_good(tmp_path):
    """As many laterals, runs and observations as asked for are written, and a load takes them all."""
    write_big(tmp_path, laterals=120, runs=260, observations=900, seed=1)
    load = gather(read_plan(tmp_path / "SOURCES.toml"), Known(), pyproj.CRS(CRS), 1.0)
    counts = {name: len(table) for name, table in load.tables.items()}
    assert counts == {"parcels": 120, "laterals": 120, "runs": 260, "observations": 900}
    assert load.rejects.empty


def test_same_seed_same_files(tmp_path):
    """A benchmark that is run again measures the same rows."""
    for name in ("a", "b"):
        write_big(tmp_path / name, laterals=30, runs=50, observations=90, seed=4)
    one, other = (pd.read_csv(tmp_path / name / "observations.csv") for name in ("a", "b"))
    pd.testing.assert_frame_equal(one, other)


def test_too_few_runs_are_refused(tmp_path):
    """Each lateral has a run, so fewer runs than laterals cannot be written."""
    with pytest.raises(ValueError, match="9 runs are too few"):
        write_big(tmp_path, laterals=10, runs=9, observations=5)
