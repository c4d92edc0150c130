"""How fast a big town is followed through its runs: prints seconds, memory, growth, and the ratio to plain Python.

Run it as ``python benchmarks/matching.py``, with ``--laterals 20000`` for less. Each lateral has 3 runs of about 5 observations,
of defects and bends that stay where they are; counters err as assumed in counter.toml.

The whole of ``follow`` is timed at a tenth and at the full number of laterals (growth exponent: the slope of log time over log
size). Plain Python (benchmarks/plain_matching.py) does the matching alone, with lists and ``math``: the same costs, the same
search with the same dynamic programme, on the runs of a sample of laterals in one round; the compiled one does the same runs in
the same minute, and both must find the same partners. The dynamic programme alone is compared on the same tables of costs.
"""

import argparse
import math
import resource
import time
from collections.abc import Callable
from typing import Any

import numba
import numpy as np
import pandas as pd
import plain_matching
import shapely
import sqlalchemy as sa
from numba.typed import List

from sewermap.follow import following
from sewermap.history import matching_kernel as kernel
from sewermap.history.kinds import vocabulary
from sewermap.history.matching_tables import Frame, Matched
from sewermap.line.known_points import Ground
from sewermap.line.place_rules import rules_from_texts
from sewermap.line.scene import Scene, scene_of
from sewermap.store import tables as schema

RUNS, KINDS = 3, ("roots", "crack", "offset joint", "grease", "infiltration", "bend")
THINGS, SEEN = 6, 0.83
SAMPLE = 1000
TIMES = 5


def rows(table: sa.Table, count: int, **columns: Any) -> pd.DataFrame:
    """Rows in the shape of a table of the store; what is not given is empty."""
    made = {}
    for column in table.c:
        kind = {"TEXT": "str", "DATE": "datetime64[s]"}.get(str(column.type), "float64")
        kind = "object" if column.name == "geometry" else kind
        values = columns.get(column.name)
        made[column.name] = pd.Series(index=range(count), dtype=kind) if values is None else pd.Series(values, dtype=kind)
    return pd.DataFrame(made)


def town(laterals: int) -> tuple[Scene, pd.DataFrame, pd.DataFrame]:
    """A scene of straight laterals of 10 to 40 m, its observations and no works."""
    random = np.random.default_rng(20_240_229)
    length_m = random.uniform(10.0, 40.0, laterals)
    names = np.char.mod("L-%06d", np.arange(laterals))
    ends = np.stack([np.zeros((laterals, 2)), np.column_stack([np.zeros(laterals), length_m])], axis=1)
    lines = rows(schema.lateral_lines, laterals, lateral=names, geometry=shapely.linestrings(ends))
    of = np.repeat(np.arange(laterals), RUNS)
    run = np.char.mod("R-%07d", np.arange(len(of)))
    days = (np.datetime64("2020-01-01") + random.integers(0, 1500, len(of))).astype("datetime64[s]")
    runs = rows(schema.runs, len(of), run=run, lateral=names[of], ran_on=days, end_reading_m=length_m[of])
    ground = Ground(*(rows(table, 0) for table in (schema.parcels, schema.buildings, schema.referents)))
    scene = scene_of(rules_from_texts({}), lines, ground, runs, metres_per_unit=1.0)
    thing_m = random.uniform(0.5, 1.0, (laterals, THINGS)).cumsum(axis=1)
    thing_m *= (length_m / (thing_m[:, -1] + 1.0))[:, None]
    kind = random.integers(0, len(KINDS), (laterals, THINGS))
    off_m, scale = random.normal(0.0, 0.3, len(of)), random.normal(0.0, 0.015, len(of))
    reading_m = ((length_m[of][:, None] - thing_m[of]) * (1.0 + scale[:, None]) + off_m[:, None]).round(2)
    at, thing = np.nonzero(random.random((len(of), THINGS)) < SEEN)
    noted = np.array(KINDS)[kind[of[at], thing]]
    seen = rows(schema.observations, len(at), run=run[at], reading_m=np.maximum(reading_m[at, thing], 0.0), kind=noted)
    return scene, seen.assign(push=at, located_map_x=np.nan, located_map_y=np.nan), rows(schema.works, 0)


def followed(laterals: int, around: Callable[..., None]) -> tuple[float, int]:
    """Seconds of following a town, with ``around`` in the place of the matching of one round; how many observations."""
    scene, seen, works = town(laterals)
    original, following.match_all = following.match_all, around
    start = time.perf_counter()
    result = following.follow(scene, seen, works, vocabulary())
    took = time.perf_counter() - start
    following.match_all = original
    assert len(result.clusters) >= laterals
    return took, len(seen)


def timed(laterals: int) -> tuple[float, float, int]:
    """Seconds of the whole following, seconds of the matching alone, and how many observations."""
    original, spent = following.match_all, []

    def watching(*columns: Any) -> None:
        start = time.perf_counter()
        original(*columns)
        spent.append(time.perf_counter() - start)

    took, observations = followed(laterals, watching)
    return took, sum(spent), observations


def compare() -> None:
    """How many times faster the compiled matching is than plain Python on the same runs."""
    original, calls = following.match_all, []

    def keeping(*columns: Any) -> None:
        *fixed, frame, laterals, target, out = columns
        calls.append(
            [*fixed, Frame(*(column.copy() for column in frame)), laterals, target, Matched(*(one.copy() for one in out))]
        )
        original(*columns)

    followed(SAMPLE, keeping)
    call = calls[RUNS - 1]  # the last run of each lateral against the others
    started = [column.copy() for column in call[-1]]
    fast = math.inf
    for _ in range(TIMES):
        out = Matched(*(column.copy() for column in started))
        start = time.perf_counter()
        original(*call[:-1], out)
        fast = min(fast, time.perf_counter() - start)
    lists = plain_matching.as_lists(*call[:-1], Matched(*started))
    start = time.perf_counter()
    partners = plain_matching.match_all(lists)
    slow = time.perf_counter() - start
    assert all(out.cluster[observation] == cluster for observation, cluster in partners.items())
    say("a run's costs, search and programme", slow, fast, len(call[-2]))
    problems = plain_matching.problems(lists)
    tables = List()
    for pair, missed, new in problems:
        tables.append((np.array(pair), np.array(missed), np.array(new)))
    programmes(tables)
    fast = min(timed_once(lambda: programmes(tables)) for _ in range(TIMES))
    slow = timed_once(lambda: [plain_matching.align(new, pair, missed) for pair, missed, new in problems])
    say("the dynamic programme alone", slow, fast, len(problems))


@numba.njit
def programmes(tables: Any) -> float:
    """The compiled dynamic programme on each of the tables of costs; the sum of the costs of what it found."""
    total, most = 0.0, 0
    for pair, _, _ in tables:
        most = max(most, *pair.shape)
    bench, room = kernel.bench_of(most, most), kernel.pairs_for(most, most)
    for pair, missed, new in tables:
        for i in range(len(new)):
            room.new[i] = new[i]
            for j in range(len(missed)):
                bench.pair[i, j] = pair[i, j]
        for j in range(len(missed)):
            bench.missed[j] = missed[j]
        total += kernel.align(room, len(new), len(missed), bench, bench.partner)
    return total


def timed_once(job: Callable[[], Any]) -> float:
    """Seconds that a job takes."""
    start = time.perf_counter()
    job()
    return time.perf_counter() - start


def say(what: str, slow: float, fast: float, runs: int) -> None:
    """One line of figures."""
    print(f"{what}: plain Python {slow / runs * 1e6:.1f} µs, compiled {fast / runs * 1e6:.2f} µs: {slow / fast:.0f} times faster")


def main() -> None:
    """Print the figures."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--laterals", type=int, default=100_000)
    laterals = parser.parse_args().laterals
    timed(100)  # compiles, or reads what was compiled before
    compare()
    small, _, _ = timed(laterals // 10)
    took, matching, observations = timed(laterals)
    memory_gb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6
    print(f"{laterals} laterals, {laterals * RUNS} runs, {observations} observations: {took:.1f} s, at most {memory_gb:.2f} GB")
    print(f"of these, matching (all rounds): {matching:.2f} s")
    print(f"growth exponent from {laterals // 10} laterals: {math.log10(took / small):.2f}")


if __name__ == "__main__":
    main()
