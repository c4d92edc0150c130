"""How fast readings are placed, beside the usual way with numpy and shapely: prints ratios, for they hold across machines.

Run it as ``python benchmarks/placing.py``, with ``--readings 200000`` for less, ``--shuffled`` for readings in no order,
``--postgis URL`` to time PostGIS too (temporary tables only).

The usual way calibrates by control points (launch, fixes, end; straight between them, one search over all runs) and asks
shapely for the points. Ours gives the posterior measure and sigma of each reading, sets fixes aside, judges the ends, and
interpolates the points. Both do all the work that depends on readings and fixes; the lines are prepared before.
"""

import argparse
import time
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import psycopg
import shapely

from sewermap.line.counter import Fixes, Readings, Runs, calibrate, model_from_toml, place
from sewermap.line.reference import Lines, lines_from_geometries, point_at

READINGS_PER_RUN = 5


@dataclass(frozen=True)
class Case:
    """An invented town: one run on each line."""

    geometries: np.ndarray
    lines: Lines
    runs: Runs
    readings: Readings
    fixes: Fixes


def case_of(readings: int, *, shuffled: bool) -> Case:
    """Lines of 3 to 8 vertices, runs of 5 readings with up to 3 fixes, launch, scale and map as bad as assumed."""
    random = np.random.default_rng(20_240_229)
    n = readings // READINGS_PER_RUN
    vertices = random.integers(3, 9, n)
    line = np.repeat(np.arange(n), vertices)
    steps = random.uniform(0.5, 8.0, (len(line), 2))
    coords = np.cumsum(steps, axis=0) - np.repeat(np.arange(n) * 5.0, vertices)[:, None]
    geometries = np.asarray(shapely.linestrings(coords, indices=line))
    lines = lines_from_geometries(geometries)
    direction = random.choice([-1.0, 1.0], n)
    runs = Runs(np.where(direction > 0, 0.0, lines.length_m), np.full(n, 0.3), direction, lines.length_m)
    run = np.repeat(np.arange(n), random.integers(0, 4, n))
    paid_m = random.uniform(0.0, 1.0, len(run)) * lines.length_m[run]
    paid_m = paid_m[np.lexsort((paid_m, run))]
    off_m = random.normal(0.0, 0.42, n)[run] + random.normal(0.0, 0.015, n)[run] * paid_m + random.normal(0.0, 0.32, len(run))
    fixes = Fixes(run, paid_m, runs.launch_measure_m[run] + direction[run] * paid_m + off_m, np.full(len(run), 0.316))
    of = np.repeat(np.arange(n), READINGS_PER_RUN)
    at_m = np.sort(random.uniform(0.0, 1.0, (n, READINGS_PER_RUN)), axis=1).ravel() * lines.length_m[of]
    order = random.permutation(len(of)) if shuffled else np.arange(len(of))
    return Case(geometries, lines, runs, Readings(of[order], at_m[order]), fixes)


def ours(case: Case) -> np.ndarray:
    """Posterior measure and sigma of every reading, and the points of those that are on their line."""
    placed = place(case.runs, case.readings, case.fixes, model_from_toml())
    if np.isnan(placed.measure_m).any():
        on = np.flatnonzero(~np.isnan(placed.measure_m))
        return point_at(case.lines, case.readings.run[on], placed.measure_m[on])
    return point_at(case.lines, case.readings.run, placed.measure_m)


@dataclass(frozen=True)
class Stretches:
    """Straight stretches between the control points of all runs (launch, fixes, end), in order of run and cable paid out."""

    run: np.ndarray
    paid_m: np.ndarray
    measure_m: np.ndarray


def control_points(case: Case) -> Stretches:
    """Launch, fixes and end of every run."""
    runs, fixes = case.runs, case.fixes
    all_runs = np.arange(len(runs))
    last = runs.launch_measure_m + runs.direction * runs.length_m
    run = np.concatenate([all_runs, fixes.run, all_runs])
    paid = np.concatenate([np.zeros(len(runs)), fixes.paid_m, runs.length_m])
    measure = np.concatenate([runs.launch_measure_m, fixes.measure_m, last])
    order = np.lexsort((paid, run))
    return Stretches(run[order], paid[order], measure[order])


def usual(case: Case) -> np.ndarray:
    """Straight between control points, as numpy.interp does for one run, then shapely."""
    runs, readings, points = case.runs, case.readings, control_points(case)
    apart = 1.0 + points.paid_m.max()
    before = np.searchsorted(points.run * apart + points.paid_m, readings.run * apart + readings.paid_m, side="right") - 1
    first = np.searchsorted(points.run, np.arange(len(runs)))
    before = np.clip(before, first[readings.run], np.append(first[1:], len(points.run))[readings.run] - 2)
    gap = points.paid_m[before + 1] - points.paid_m[before]
    share = (readings.paid_m - points.paid_m[before]) / np.where(gap > 0, gap, 1.0)
    placed = points.measure_m[before] + share * (points.measure_m[before + 1] - points.measure_m[before])
    placed = np.clip(placed, 0.0, runs.length_m[readings.run])
    return shapely.get_coordinates(shapely.line_interpolate_point(case.geometries[readings.run], placed))


PLACE_IN_SQL = """
    SELECT sum(ST_X(p) + ST_Y(p)) FROM (
        SELECT ST_LineInterpolatePoint(l.line, least(1.0, greatest(0.0, (s.from_m + (r.paid_m - s.paid_from)
            * (s.to_m - s.from_m) / greatest(s.paid_to - s.paid_from, 1e-9)) / l.length_m))) AS p
        FROM readings r JOIN lines l ON l.run = r.run
        JOIN stretches s ON s.run = r.run AND r.paid_m >= s.paid_from AND r.paid_m < s.paid_to OFFSET 0) AS placed
"""
"""Set-wise: each reading finds the stretch of control points that holds it; no sigma, nothing set aside."""


def postgis_s(case: Case, url: str) -> float:
    """Seconds that PostGIS takes for the usual way, from tables that are loaded, indexed and analysed before."""
    points = control_points(case)
    same = points.run[1:] == points.run[:-1]
    stretches = zip(
        *(
            column.tolist()
            for column in (
                points.run[1:][same],
                points.paid_m[:-1][same],
                points.paid_m[1:][same] + 1e-6,
                points.measure_m[:-1][same],
                points.measure_m[1:][same],
            )
        ),
        strict=True,
    )
    rows = {
        "lines (run int, length_m float8, line geometry)": zip(
            range(len(case.runs)), case.runs.length_m.tolist(), shapely.to_wkb(case.geometries, hex=True), strict=True
        ),
        "readings (run int, paid_m float8)": zip(case.readings.run.tolist(), case.readings.paid_m.tolist(), strict=True),
        "stretches (run int, paid_from float8, paid_to float8, from_m float8, to_m float8)": stretches,
    }
    with psycopg.connect(url) as conn:
        for table, values in rows.items():
            name = table.split()[0]
            conn.execute(f"CREATE TEMP TABLE {table}")
            with conn.cursor().copy(f"COPY {name} FROM STDIN") as copy:
                for row in values:
                    copy.write_row(row)
            conn.execute(f"CREATE INDEX ON {name} (run)")
            conn.execute(f"ANALYZE {name}")
        return best_s(lambda: conn.execute(PLACE_IN_SQL).fetchone(), times=3)


def best_s(job: Callable[[], object], times: int = 5) -> float:
    """The shortest of a few trials, in seconds."""
    seconds = []
    for _ in range(times):
        begin = time.perf_counter()
        job()
        seconds.append(time.perf_counter() - begin)
    return min(seconds)


def main() -> None:
    """Print millions of readings a second, and the ratio."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--readings", type=int, default=1_000_000)
    options.add_argument("--shuffled", action="store_true")
    options.add_argument("--postgis", metavar="URL", help="also time PostGIS there, in temporary tables")
    asked = options.parse_args()
    case = case_of(asked.readings, shuffled=asked.shuffled)
    million = len(case.readings) / 1e6
    print(f"{len(case.readings)} readings, {len(case.runs)} runs, {len(case.fixes)} fixes; millions of readings a second")
    reference = best_s(lambda: usual(case))
    print(f"numpy calibration + shapely points      {million / reference:6.1f}   1.0")
    whole = best_s(lambda: ours(case))
    print(f"measure, sigma, reasons, points (ours)  {million / whole:6.1f}  {reference / whole:4.1f} times as fast")
    if asked.postgis:
        by_server = postgis_s(case, asked.postgis)
        print(f"PostGIS, set-wise                       {million / by_server:6.1f}  {reference / by_server:4.1f}")
    model = model_from_toml()
    placing = best_s(lambda: place(case.runs, case.readings, case.fixes, model))
    print(f"  of which placing                      {million / placing:6.1f}  {reference / placing:4.1f}")
    calibrating = best_s(lambda: calibrate(case.runs, case.fixes, model))
    print(f"    of which the runs' calibration      {million / calibrating:6.1f}  {reference / calibrating:4.1f}")


if __name__ == "__main__":
    main()
