"""How fast a big town is followed through its runs: prints seconds, memory, growth, and the ratio to plain Python.

Run it as ``python benchmarks/matching.py``, with ``--laterals 20000`` for less. Each lateral has 3 runs of about 5 observations,
of defects and bends that stay where they are; counters err as assumed in counter.toml.

The whole of ``etl.follow`` is timed at a tenth and at the full number of laterals (growth exponent: the slope of log time over
log size). Plain Python does the matching alone: the same dynamic programme from the same starts, with lists and ``math``, on the
pairs of a sample of runs, timed in the same run as the compiled one on the same pairs; both must find the same partners.
"""

import argparse
import math
import resource
import time
from dataclasses import dataclass

import numpy as np
import pandas as pd
import shapely

from etl import follow as following
from sewermap.history import matching_runs
from sewermap.history.kinds import vocabulary
from sewermap.history.matching_kernel import Pairs, search
from sewermap.line.known_points import Ground
from sewermap.line.place_rules import rules_from_texts
from sewermap.line.scene import Scene, scene_of
from sewermap.store import tables as schema

RUNS, KINDS = 3, ("roots", "crack", "offset joint", "grease", "infiltration", "bend")
THINGS, SEEN = 6, 0.83
SAMPLE = 400


def rows(table, count: int, **columns) -> pd.DataFrame:
    """Rows in the shape of a table of the store; what is not given is empty."""
    made = {}
    for column in table.c:
        kind = {"TEXT": "str", "DATE": "datetime64[s]"}.get(str(column.type), "float64")
        kind = "object" if column.name == "geometry" else kind
        values = columns.get(column.name)
        made[column.name] = pd.Series(values, dtype=kind) if values is not None else pd.Series(index=range(count), dtype=kind)
    return pd.DataFrame(made)


def town(laterals: int) -> tuple[Scene, pd.DataFrame, pd.DataFrame]:
    """A scene of straight laterals of 10 to 40 m, its observations and no works."""
    random = np.random.default_rng(20_240_229)
    length_m = random.uniform(10.0, 40.0, laterals)
    names = np.char.mod("L-%06d", np.arange(laterals))
    ends = np.stack([np.zeros((laterals, 2)), np.column_stack([np.zeros(laterals), length_m])], axis=1)
    lines = rows(schema.lateral_lines, laterals, lateral=names, geometry=shapely.linestrings(ends))
    of = np.repeat(np.arange(laterals), RUNS)
    run_names = np.char.mod("R-%07d", np.arange(len(of)))
    days = np.datetime64("2020-01-01") + random.integers(0, 1500, len(of))
    runs = rows(
        schema.runs, len(of), run=run_names, lateral=names[of], ran_on=days.astype("datetime64[s]"), end_reading_m=length_m[of]
    )
    ground = Ground(*(rows(table, 0) for table in (schema.parcels, schema.buildings, schema.referents)))
    scene = scene_of(rules_from_texts({}), lines, ground, runs, metres_per_unit=1.0)
    thing_m = np.sort(random.uniform(0.5, 1.0, (laterals, THINGS)).cumsum(axis=1), axis=1)
    thing_m *= (length_m / (thing_m[:, -1] + 1.0))[:, None]
    kind = random.integers(0, len(KINDS), (laterals, THINGS))
    off_m, scale = random.normal(0.0, 0.3, len(of)), random.normal(0.0, 0.015, len(of))
    reading_m = ((length_m[of][:, None] - thing_m[of]) * (1.0 + scale[:, None]) + off_m[:, None]).round(2)
    run, thing = np.nonzero(random.random((len(of), THINGS)) < SEEN)
    seen = rows(
        schema.observations,
        len(run),
        run=run_names[run],
        reading_m=np.maximum(reading_m[run, thing], 0.0),
        kind=np.array(KINDS)[kind[of[run], thing]],
    )
    seen = seen.assign(push=run, located_map_x=np.nan, located_map_y=np.nan)
    return scene, seen, rows(schema.works, 0)


def plain_align(pair, missed, new, swaps):
    """The dynamic programme with lists."""
    n, count = len(new), len(missed)
    best = [[0.0] * (count + 1) for _ in range(n + 1)]
    step = [[0] * (count + 1) for _ in range(n + 1)]
    for j in range(1, count + 1):
        best[0][j], step[0][j] = best[0][j - 1] + missed[j - 1], 4
    for i in range(1, n + 1):
        above, here, cost, how = best[i - 1], best[i], pair[i - 1], step[i]
        here[0], how[0] = above[0] + new[i - 1], 3
        for j in range(1, count + 1):
            least, what = above[j - 1] + cost[j - 1], 1
            if i > 1 and j > 1 and swaps[i - 1][j - 1]:
                crossed = best[i - 2][j - 2] + pair[i - 2][j - 1] + cost[j - 2]
                if crossed < least:
                    least, what = crossed, 2
            if above[j] + new[i - 1] < least:
                least, what = above[j] + new[i - 1], 3
            if here[j - 1] + missed[j - 1] < least:
                least, what = here[j - 1] + missed[j - 1], 4
            here[j], how[j] = least, what
    partner, i, j = [-1] * n, n, count
    while i or j:
        what = step[i][j]
        if what == 1:
            i, j = i - 1, j - 1
            partner[i] = j
        elif what == 2:
            partner[i - 1], partner[i - 2] = j - 2, j - 1
            i, j = i - 2, j - 2
        elif what == 3:
            i -= 1
        else:
            j -= 1
    return partner


def plain_costs(p, t0, t1, edge_m):
    """Costs of pairs and of passing clusters by, with lists."""
    pair = []
    for apart, weight, fixed, a in zip(p.apart_m, p.weight, p.fixed, p.from_centre_m, strict=True):
        moved = t0 + t1 * a
        pair.append([0.5 * w * (d - moved) ** 2 + f for d, w, f in zip(apart, weight, fixed, strict=True)])
    missed = []
    for at, chance in zip(p.at_m, p.seen, strict=True):
        place = at - t0 - t1 * (at - p.centre_m)
        inside = 1.0 / (1.0 + math.exp(-(place - p.low_m) / edge_m)) / (1.0 + math.exp(-(p.high_m - place) / edge_m))
        missed.append(-math.log(1.0 - chance * inside))
    return pair, missed


def plain_settled(p, partner):
    """Shift and stretch of a matching, and their cost."""
    m00 = m01 = m11 = b0 = b1 = 0.0
    for i, j in enumerate(partner):
        if j >= 0:
            weight, a = p.weight[i][j], p.from_centre_m[i]
            m00, m01, m11 = m00 + weight, m01 + weight * a, m11 + weight * a * a
            b0, b1 = b0 + weight * p.apart_m[i][j], b1 + weight * a * p.apart_m[i][j]
    a00, a01 = 1.0 + p.shift * m00 + p.both * m01, p.shift * m01 + p.both * m11
    a10, a11 = p.both * m00 + p.stretch * m01, 1.0 + p.both * m01 + p.stretch * m11
    r0, r1 = p.shift * b0 + p.both * b1, p.both * b0 + p.stretch * b1
    determinant = a00 * a11 - a01 * a10
    t0, t1 = (r0 * a11 - a01 * r1) / determinant, (a00 * r1 - a10 * r0) / determinant
    far = t0 * (b0 - m00 * t0 - m01 * t1) + t1 * (b1 - m01 * t0 - m11 * t1)
    return t0, t1, 0.5 * far + 0.5 * math.log(determinant)


def plain_climb(p, t0, t1, edge_m):
    """Match and settle in turn."""
    partner, cost = None, math.inf
    for _ in range(5):
        pair, missed = plain_costs(p, t0, t1, edge_m)
        found = plain_align(pair, missed, p.new, p.swaps)
        if found == partner:
            break
        partner = found
        t0, t1, own = plain_settled(p, partner)
        pair, missed = plain_costs(p, t0, t1, edge_m)
        cost = own + sum(missed)
        cost += sum(p.new[i] if j < 0 else pair[i][j] - missed[j] for i, j in enumerate(partner))
    return cost, partner


def plain_search(p, likely, edge_m, gate):
    """The best of all climbs."""
    partner = [-1] * len(p.new)
    cost = sum(plain_costs(p, 0.0, 0.0, edge_m)[1]) + sum(p.new)
    starts = [(-1, -1), *((i, j) for i in range(len(p.new)) for j in range(len(p.seen)))]
    for i, j in starts:
        from0 = from1 = 0.0
        if i >= 0:
            a, off = p.from_centre_m[i], p.apart_m[i][j]
            to0, to1 = p.shift + p.both * a, p.both + p.stretch * a
            expected = to0 + to1 * a + 1.0 / p.weight[i][j]
            if partner[i] == j or not likely[i][j] or off * off > gate * gate * expected:
                continue
            from0, from1 = to0 * off / expected, to1 * off / expected
        then = plain_climb(p, from0, from1, edge_m)
        if then[0] < cost - 1e-9:
            cost, partner = then
    return partner


@dataclass
class Caught:
    """What one round handed to the compiled matching, and the seconds spent in it."""

    seconds: float = 0.0
    calls: tuple | None = None


def timed_follow(laterals: int) -> tuple[float, Caught, int]:
    """Seconds of the whole following; what matching took of them; how many observations."""
    scene, seen, works = town(laterals)
    caught, original = Caught(), following.match_all

    def watching(*columns):
        start = time.perf_counter()
        original(*columns)
        caught.seconds += time.perf_counter() - start
        caught.calls = columns

    following.match_all = watching
    start = time.perf_counter()
    followed = following.follow(scene, seen, works, vocabulary())
    took = time.perf_counter() - start
    following.match_all = original
    assert len(followed.clusters) >= laterals
    return took, caught, len(seen)


def sample_pairs(laterals: int) -> tuple[list, object]:
    """Pairs of the last run of a sample of laterals against the others, as matching sees them."""
    scene, seen, works = town(laterals)
    kept, original = [], following.match_all

    def keeping(seen, looks, jobs, terms, frame, those, target, out):
        for lateral, run in zip(those, target, strict=True):
            items = matching_runs.items_of_run(seen, lateral, run, frame)
            clusters = matching_runs.items_of_clusters(lateral, frame)
            if len(clusters.name):
                kept.append(matching_runs.pairs_of(seen, looks, jobs, terms, frame, (lateral, run), items, clusters, out.cluster))
        kept.append(terms)
        original(seen, looks, jobs, terms, frame, those, target, out)

    following.match_all = keeping
    following.follow(scene, seen, works, vocabulary())
    following.match_all = original
    terms = kept[-1]
    return [pairs for pairs in kept if pairs is not terms], terms


def compare() -> float:
    """How many times faster the compiled search is than plain Python on the same pairs."""
    sample, terms = sample_pairs(SAMPLE)
    lists = [
        (Pairs(*(c.tolist() if isinstance(c, np.ndarray) else float(c) for c in pairs)), likely.tolist())
        for pairs, likely in sample
    ]
    for pairs, likely in sample[:3]:
        search(pairs, likely, terms.edge_m, terms.gate)
    plain, compiled = [], []
    slow_start = time.perf_counter()
    for pairs, likely in lists:
        plain.append(plain_search(pairs, likely, terms.edge_m, terms.gate))
    slow = time.perf_counter() - slow_start
    fast_start = time.perf_counter()
    for pairs, likely in sample:
        compiled.append(search(pairs, likely, terms.edge_m, terms.gate)[3])
    fast = time.perf_counter() - fast_start
    assert all(one == other.tolist() for one, other in zip(plain, compiled, strict=True))
    per_run = slow / len(sample)
    print(f"plain Python: {per_run * 1e6:.0f} µs a run; compiled, called from Python one by one: {slow / fast:.0f} times faster")
    return per_run


def main() -> None:
    """Print the figures."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--laterals", type=int, default=100_000)
    laterals = parser.parse_args().laterals
    timed_follow(100)  # compiles, or reads what was compiled before
    per_run = compare()
    small, _, _ = timed_follow(laterals // 10)
    took, caught, observations = timed_follow(laterals)
    memory_gb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6
    print(f"{laterals} laterals, {laterals * RUNS} runs, {observations} observations: {took:.1f} s, {memory_gb:.2f} GB at most")
    print(f"matching alone, costs and all rounds: {caught.seconds:.2f} s")
    rounds = 2
    plain_s = per_run * laterals * (RUNS - 1 + RUNS * (rounds - 1))
    print(f"plain Python's dynamic programme for as many runs, two rounds: {plain_s:.0f} s: {plain_s / caught.seconds:.0f} times")
    print(f"growth exponent from {laterals // 10} laterals: {math.log10(took / small):.2f}")


if __name__ == "__main__":
    main()
