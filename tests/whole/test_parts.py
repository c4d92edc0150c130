"""Runs of one line up, down and in parts, in feet and metres, give the same issues; runs in parts cover it together."""

import datetime as dt
from dataclasses import dataclass
from pathlib import Path

import geopandas
import numpy as np
import pandas as pd
import pytest
import shapely

import sewermap
from sewermap.book import Book
from sewermap.follow.together import placed_together
from tests.line.one_pipe import LINE, NO_WORKS, WORDS, one_pipe, paid_out, seen

FOOT_M = 0.3048
"""International foot, exact (NIST Special Publication 811, appendix B)."""
LENGTH_M, CLEAN_OUT_M = 40.0, 24.0
THINGS = {
    2.5: "roots", 5.5: "crack", 8.6: "open joint", 11.4: "deposits", 14.9: "roots", 17.8: "offset joint", 20.6: "infiltration",
    26.7: "crack", 29.4: "hole", 32.2: "roots", 34.9: "open joint", 37.4: "deformation",
}  # fmt: skip
"""A dozen defects of the invented pipe, by true measure."""


@dataclass(frozen=True)
class Push:
    """From a known point to a true measure; ``zero_m``: what the counter showed at the launch (set to zero late or not at all),
    ``riser_m``: cable in the riser of a clean-out; ``unsaid_m``: how far in the counter was set to zero, which nobody wrote down.
    """

    launch: str
    to_m: float
    unit: str
    zero_m: float = 0.0
    riser_m: float = 0.0
    unsaid_m: float = 0.0

    @property
    def from_m(self) -> float:
        """The true measure of the launch."""
        return {"building": LENGTH_M, "tie-in": 0.0, "CO": CLEAN_OUT_M}[self.launch]


UP_FT, DOWN_M = Push("tie-in", LENGTH_M, "ft"), Push("building", 0.0, "m")
WAYS = {
    "down, in feet": [Push("building", 0.0, "ft")],
    "up, in metres": [Push("tie-in", LENGTH_M, "m")],
    "from a clean-out both ways": [Push("CO", 0.0, "ft", riser_m=1.5), Push("CO", LENGTH_M, "ft", riser_m=1.5)],
    "given up at an obstruction and finished from the other end": [Push("building", 16.4, "m"), Push("tie-in", 16.4, "ft")],
    "in three parts over one another": [
        Push("building", 22.0, "m"),
        Push("CO", 9.0, "ft", zero_m=2.0),
        Push("tie-in", 13.0, "m"),
    ],
    "zeroed late": [Push("building", 0.0, "ft", unsaid_m=1.3)],
}


def logs(pushes: list[Push], rng: np.random.Generator, name: str, day: str) -> tuple[pd.DataFrame, pd.DataFrame]:
    """The runs and observations of a look in one or more pushes; readings are as the counter shows them, in the push's unit.
    Observations carry ``thing``, the true measure of what was seen (empty at known points).
    """
    runs, rows = [], []
    for number, push in enumerate(pushes):
        run, low, high = f"{name}{number}", min(push.from_m, push.to_m), max(push.from_m, push.to_m)
        known = {0.0: ("tie-in", None), LENGTH_M: ("building", None), CLEAN_OUT_M: ("clean-out", "CO")}
        passed = [at for at in known if low <= at <= high and abs(at - push.from_m) > 1.0]
        ats = [at for at in THINGS if low < at < high] + passed + [push.to_m]
        step = 0.1 * FOOT_M if push.unit == "ft" else 0.01
        shown = np.abs(np.array(ats) - push.from_m)
        shown = np.maximum(paid_out(shown, rng) - push.unsaid_m, 0.0) + push.zero_m + push.riser_m
        texts = np.round(np.round(shown / step) * step / (FOOT_M if push.unit == "ft" else 1.0), 2)
        way = "to building" if push.to_m > push.from_m else "to main"
        runs.append([run, "L", day, push.unit, push.launch, way, push.zero_m, push.riser_m, texts[-1]])
        for at, reading in zip(ats[:-1], texts[:-1], strict=True):
            kind, referent = known.get(at, (THINGS.get(at), None))
            rows.append([run, reading, kind, referent, np.nan if at in known else at])
    columns = ["run", "lateral", "ran_on", "unit", "launch", "direction", "launch_reading", "lead_in", "end_reading"]
    table = pd.DataFrame(runs, columns=columns)
    metres = np.where(table["unit"] == "ft", FOOT_M, 1.0)
    for column in ("launch_reading", "lead_in"):
        table[column] = np.round(table[column] / metres, 3)
    return table, pd.DataFrame(rows, columns=["run", "reading", "kind", "referent", "thing"])


def in_metres(runs: pd.DataFrame, rows: pd.DataFrame) -> tuple[dict, dict]:
    """The same as recorded columns, lengths in metres."""
    metres = pd.Series(np.where(runs["unit"] == "ft", FOOT_M, 1.0), index=runs["run"])
    lengths = {f"{name}_m": (runs[name] * metres.to_numpy()).tolist() for name in ("launch_reading", "lead_in", "end_reading")}
    said = {name: runs[name].tolist() for name in ("run", "ran_on", "unit", "launch", "direction")}
    reading = (rows["reading"] * metres.reindex(rows["run"]).to_numpy()).tolist()
    return {**said, **lengths}, {**{name: rows[name].tolist() for name in ("run", "kind", "referent")}, "reading_m": reading}


CO = {"name": ["CO"], "measure_m": [CLEAN_OUT_M]}


def looked(*looks: tuple[pd.DataFrame, pd.DataFrame]) -> pd.DataFrame:
    """What is made of these looks: of each defect its thing, run, kind, cluster, measure_m, sigma_m."""
    runs, rows = (pd.concat(parts, ignore_index=True) for parts in zip(*looks, strict=True))
    given, columns = in_metres(runs, rows)
    scene = one_pipe(given, CO)
    places, followed = placed_together(scene, seen(scene, **columns), NO_WORKS, WORDS)
    assert not (places.warnings["field"] == "unit").any()
    table = rows.assign(cluster=followed.observations["cluster"], **{n: places.observations[n] for n in ("measure_m", "sigma_m")})
    return table[table["thing"].notna()].reset_index(drop=True)


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("way", WAYS)
def test_the_line_looked_at_another_way_gives_the_same_issues(way: str, seed: int) -> None:
    """A look down the whole line and one any other way: each thing is one issue in both, of one kind, at one place."""
    rng = np.random.default_rng([seed, len(way)])
    first = logs([DOWN_M], rng, "A", "2024-05-01")
    other = logs(WAYS[way], rng, "B", "2025-05-01")
    both = looked(first, other)
    assert both.groupby("thing")["cluster"].nunique().max() == 1
    assert both.groupby("cluster")["thing"].nunique().max() == 1
    assert both["cluster"].nunique() == len(THINGS)
    assert both.groupby("cluster")["kind"].nunique().max() == 1
    assert set(both.loc[both["run"].str.startswith("B"), "thing"]) == set(THINGS)
    alone, whole = looked(other), looked(first)
    assert alone["cluster"].nunique() == len(THINGS)
    merged = alone.merge(whole, on="thing", suffixes=("", "_whole"))
    apart = (merged["measure_m"] - merged["measure_m_whole"]).abs() / np.hypot(merged["sigma_m"], merged["sigma_m_whole"])
    assert (merged["kind"] == merged["kind_whole"]).all()
    assert len(apart) >= len(THINGS)
    # A counter set to zero late, which nobody wrote down, is known only once the tie-in was passed: its own sigma says so.
    assert apart.max() < 3.0
    off = (both["measure_m"] - both["thing"]).abs() / both["sigma_m"]
    assert off.max() < 3.0


def write(folder: Path, *looks: tuple[pd.DataFrame, pd.DataFrame], extra: str = "", accuracy: float = 0.2) -> Path:
    """The files of the pipe and these looks; returns their SOURCES.toml."""
    line = shapely.transform(LINE, lambda xy: xy + np.array([500000, 4000000]))
    pipe = geopandas.GeoDataFrame({"lateral": ["L"], "map_accuracy": [accuracy]}, geometry=[line], crs="EPSG:26910")
    pipe.to_file(folder / "lines.gpkg")
    runs, rows = (pd.concat(parts, ignore_index=True) for parts in zip(*looks, strict=True))
    runs.to_csv(folder / "runs.csv", index=False)
    rows.drop(columns="thing").to_csv(folder / "seen.csv", index=False)
    (folder / "points.csv").write_text(f"lateral,name,kind,measure\nL,CO,clean-out,{CLEAN_OUT_M}\n")
    (folder / "warranties.csv").write_text("warranty,lateral,begins_on,term\nW,L,2024-06-01,P1Y\n")
    sections = {"laterals": "lines.gpkg", "referents": "points.csv", "runs": "runs.csv", "observations": "seen.csv"}
    sections["warranties"] = "warranties.csv"
    text = "".join(f'[{name}]\nfrom = "{file}"\n' for name, file in sections.items())
    plan = folder / "SOURCES.toml"
    plan.write_text(text.replace('lines.gpkg"', 'lines.gpkg"\ntie_in = "start"') + extra)
    return plan


def loaded(where: str, plan: Path) -> tuple[Book, pd.DataFrame]:
    """The database with what a plan names, and the load's warnings; nothing may be rejected."""
    book = sewermap.create(where, "EPSG:26910")
    report = book.load(plan)
    assert len(report.rejects) == 0
    return book, report.warnings


def test_parts_are_one_line_in_the_database(engine_where: str, tmp_path: Path) -> None:
    """Two pushes of one day, given up and finished from the other end, in metres and feet: twelve issues, the whole line scoped,
    and the warranty's check counts; a year later the same twelve, seen again.
    """
    rng = np.random.default_rng(7)
    parts = WAYS["given up at an obstruction and finished from the other end"]
    again = logs([UP_FT], rng, "B", "2025-08-01")
    book, warnings = loaded(engine_where, write(tmp_path, logs(parts, rng, "A", "2025-05-01"), again))
    assert warnings["reason"].tolist() == []
    issues = book.layer("issues")
    assert len(issues) == len(THINGS)
    assert set(issues["times_seen"]) == {2}
    assert (np.abs(np.sort(issues["measure_m"]) - np.sort(list(THINGS))) < 3 * issues["sigma_m"].max()).all()
    state = book.layer("lateral_states").iloc[0]
    assert state["scoped_m"] == pytest.approx(LENGTH_M, abs=0.3)
    checked = book.due(dt.date(2025, 6, 15), all_states=True)
    assert checked["state"].tolist() == ["checked"]
    of_parts = book.layer("run_coverages").set_index("run").loc[["A0", "A1"], ["from_measure_m", "to_measure_m"]]
    assert of_parts.loc["A0"].tolist() == pytest.approx([16.4, LENGTH_M], abs=0.8)
    assert of_parts.loc["A1"].tolist() == pytest.approx([0.0, 16.4], abs=0.8)


LOCATED = """[located]
from = "located.csv"
"""


def test_located_points_of_a_sheet(engine_where: str, tmp_path: Path) -> None:
    """Points of the section fix the run they name, in its unit; the others are told; history tells all with their distance."""
    rng = np.random.default_rng(8)
    looks = logs([Push("building", 0.0, "ft", unsaid_m=1.0)], rng, "A", "2025-05-01"), logs([UP_FT], rng, "B", "2025-08-01")
    at = "500000.1,4000010"
    rows = [f"L,A0,95.1,{at},", f"L,,95.1 ft,{at},", "L,B0,60,500001.9,4000018.3,0.1", "L,B0,62,500002,4000018.9,0.1"]
    rows += ["L,B0,64,500002,4000019.5,0.1"]
    (tmp_path / "located.csv").write_text("lateral,run,reading,x,y,sigma\n" + "\n".join(rows) + "\n")
    book, warnings = loaded(engine_where, write(tmp_path, *looks, extra=LOCATED))
    told = warnings[(warnings["table"] == "located").to_numpy()]
    assert told["row"].tolist() == [4, 5, 6]
    assert told["reason"].str.contains("m to the right of the line").all()
    line = warnings[(warnings["table"] == "laterals").to_numpy()]
    assert (
        line["reason"]
        .str.startswith("its line is doubtful: 3 of 4 located points lie 1.9 to 2.0 m off it, all to the right")
        .all()
    )
    assert book.layer("laterals")["line_note"].str.startswith("doubtful:").tolist() == [True]
    story = book.history("L")
    assert story["line_note"].startswith("doubtful: 3 of 4")
    points = pd.DataFrame(story["located"])
    assert points["used"].tolist() == [True, False, False, False, False]
    assert points["off_line_m"].round(1).tolist() == [0.1, 0.1, 1.9, 2.0, 2.0]
    assert points["left_or_right"].tolist() == ["right"] * 5
    assert points.loc[1, "why_not"] == "the same as another, and counted once"
    by_run = book.layer("run_coverages").set_index("run")["fixes"]
    before = book.where("L", "95.1", "A0")
    assert before["measure_m"] == pytest.approx(10.0, abs=0.5)
    (tmp_path / "located.csv").write_text("lateral,run,reading,x,y,sigma\n" + "\n".join(rows[2:]) + "\n")
    book.load(tmp_path / "SOURCES.toml")
    assert book.layer("run_coverages").set_index("run")["fixes"].loc["A0"] == by_run.loc["A0"] - 1
    assert book.where("L", "95.1", "A0")["sigma_m"] > before["sigma_m"] + 0.005


def test_where_says_what_was_placed(engine_where: str, tmp_path: Path) -> None:
    """With located points too, `where` of a reading is the place of the observation at it."""
    rng = np.random.default_rng(9)
    looks = logs([Push("building", 0.0, "ft")], rng, "A", "2025-05-01"), logs([UP_FT], rng, "B", "2025-08-01")
    (tmp_path / "located.csv").write_text("lateral,run,reading,x,y\nL,A0,50,500000,4000024.5\n")
    book, _ = loaded(engine_where, write(tmp_path, *looks, extra=LOCATED))
    placed = book.layer("placed_observations").query("run == 'A0' and role == 'defect'").iloc[3]
    answer = book.where("L", placed["reading"], "A0")
    assert answer["measure_m"] == pytest.approx(placed["measure_m"], abs=1e-6)


def test_a_wrong_unit_and_a_counter_that_rolled_back_are_told_by_the_load(engine_where: str, tmp_path: Path) -> None:
    """Both are warnings of the run, with its row, and stand in the notes of its coverage; computing anew changes nothing."""
    rng = np.random.default_rng(10)
    runs, rows = logs([DOWN_M], rng, "A", "2025-05-01")
    slipped, later = logs([DOWN_M], rng, "B", "2025-08-01")
    runs["unit"] = "ft"  # a counter in metres, written down as one in feet
    later = later.sort_values("reading").reset_index(drop=True)
    later["film_time"] = [f"{number // 2}:{30 * (number % 2):02d}" for number in range(1, len(later) + 1)]
    later.loc[later.index >= 6, "reading"] -= 9.0
    slipped["end_reading"] -= 9.0
    book, warnings = loaded(engine_where, write(tmp_path, (runs, rows), (slipped, later)))
    told = warnings[(warnings["table"] == "runs").to_numpy()].set_index("row")["reason"]
    assert (
        "its readings fit the line only if they are metres, not feet: check the unit; nothing was converted" in told[[2]].tolist()
    )
    assert any("its counter went back from" in reason for reason in told[[3]])
    notes = book.layer("run_coverages").set_index("run")["notes"]
    assert "metres, not feet" in notes["A0"]
    assert "went back" in notes["B0"]
    tables = ("placed_observations", "run_coverages", "issues", "laterals")
    before = {name: pd.DataFrame(book.layer(name)) for name in tables}
    placed = before["placed_observations"]
    off = placed[(placed["run"] == "B0") & placed["role"].eq("defect")]["measure_m"].sort_values().to_numpy() - np.sort(
        list(THINGS)
    )
    assert np.abs(off).max() < 1.0
    book.recompute()
    for name, rows_before in before.items():
        pd.testing.assert_frame_equal(rows_before, pd.DataFrame(book.layer(name)))
