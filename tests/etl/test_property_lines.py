"""Property lines through loads and recomputes, on both engines: notes, rules, and no trace of the order of loading."""

import itertools

import numpy as np
import pandas as pd
import pytest
import shapely

import sewermap
from sewermap.book import Book

PLAN = """
crs = "EPSG:26910"
[laterals]
from = "laterals.gpkg"
tie_in = "start"
[parcels]
from = "parcels.gpkg"
[runs]
from = "runs-*.csv"
[runs.defaults]
unit = "m"
[observations]
from = "seen-*.csv"
[rules]
boundary = "place.toml"
"""
RUNS = {
    "A": ("2023-05-01", ["13.9,material change", "4.0,roots"]),
    "B": ("2024-05-02", ["14.2,material change", "14.1,crack"]),
    "C": ("2025-05-03", ["9.0,material change", "13.7,roots"]),
}
"""On lateral L1 of 20 m, whose parcel begins at 6 m; C launched elsewhere, or saw another change: it contradicts the others."""
TABLES = ("laterals", "placed_observations", "issues", "run_coverages", "lateral_states")


@pytest.fixture
def empty(engine_where: str, town) -> Book:
    """A database, three laterals of which one knows its parcel, and the rule."""
    town.laterals()
    plot = shapely.box(500000, 4000006, 500015, 4000040)
    town.layer("parcels.gpkg", [plot], property=["P1"])
    town.csv("place.toml", "material_change_at_property_line = true")
    return sewermap.create(engine_where, "EPSG:26910")


def load_run(book: Book, town, name: str) -> None:
    """One run of L1 and what it saw, in files of their own."""
    day, seen = RUNS[name]
    town.csv(f"runs-{name}.csv", "run,lateral,ran_on,end_reading", f"{name},L1,{day},19")
    town.csv(f"seen-{name}.csv", "run,reading,kind", *(f"{name},{row}" for row in seen))
    book.load(town.toml(PLAN))


def as_text(book: Book) -> dict[str, pd.DataFrame]:
    """Computed tables in an order of their own, without row ids and names of files, which differ with the order of loading."""
    found = {}
    for name in TABLES:
        table = pd.DataFrame(book.layer(name)).drop(columns=["id", "source_row", "issue"], errors="ignore").astype(str)
        found[name] = table.sort_values(list(table.columns), ignore_index=True)
    return found


def test_any_order_of_loading_gives_the_same_property_line(empty: Book, town, tmp_path) -> None:
    """A run moves the property line of its lateral when it comes in; the order leaves no trace, and recompute changes nothing."""
    tables = []
    for at, order in enumerate(itertools.permutations(RUNS)):
        book = sewermap.create(tmp_path / f"order{at}.gpkg", "EPSG:26910") if at else empty
        for path in town.folder.glob("*-?.csv"):
            path.unlink()
        for name in order:
            load_run(book, town, name)
        tables.append(as_text(book))
    empty.recompute()
    for other in (*tables[1:], as_text(empty)):
        for name in TABLES:
            pd.testing.assert_frame_equal(tables[0][name], other[name])
    assert tables[0]["laterals"].set_index("lateral").loc["L1", "property_line_from"] == "parcel and material change"


def test_a_run_alone_moves_its_own_property_line(empty: Book, town) -> None:
    """The line is told by the parcel, then by the parcel and a run; the counter's fix stays where the map has it."""
    town.csv("runs-0.csv", "run,lateral,ran_on", "Z,L2,2022-01-01")
    town.csv("seen-0.csv", "run,reading,kind", "Z,3,roots")
    empty.load(town.toml(PLAN))
    before = empty.layer("laterals").set_index("lateral").loc["L1"]
    load_run(empty, town, "A")
    after = empty.layer("laterals").set_index("lateral").loc["L1"]
    assert (before["property_line_m"], before["property_line_from"]) == (pytest.approx(6.0), "parcel")
    assert 6.0 < after["property_line_m"] < 6.1
    assert after["property_line_sigma_m"] < before["property_line_sigma_m"]
    assert after["property_line_fix_m"] == pytest.approx(6.0)


def test_another_rule_moves_every_side(empty: Book, town) -> None:
    """A rule that comes later places everything anew; where all is private there is no doubt, and none is hidden before."""
    for name in RUNS:
        load_run(empty, town, name)
    counts = {side: len(empty.defects(side=side, state="all")) for side in ("private", "public", "undetermined", "unknown")}
    assert counts["undetermined"] > 0
    assert sum(counts.values()) == len(empty.defects(state="all"))
    town.csv("place.toml", 'private_ends = "tie-in"')
    empty.load(town.toml(PLAN))
    assert set(empty.defects(state="all")["side"]) == {"private"}
    assert (empty.layer("laterals")["private_ends_at"] == "tie-in").all()
    placed = empty.layer("placed_observations")
    assert (placed["side_probability"][placed["measure_m"].notna()] == 1.0).all()


def test_every_lateral_has_a_property_line_or_a_note(empty: Book, town) -> None:
    """The note stands in the layer, in ``history`` and in ``where``; a defect of unknown side can be asked for."""
    load_run(empty, town, "A")
    town.csv("runs-0.csv", "run,lateral,ran_on", "Z,L2,2022-01-01")
    town.csv("seen-0.csv", "run,reading,kind", "Z,3,roots")
    empty.load(town.toml(PLAN))
    laterals = empty.layer("laterals")
    assert (laterals["property_line_m"].notna() | laterals["property_line_note"].notna()).all()
    story, place = empty.history("L2"), empty.where("L2", "3", "Z")
    assert story["property_line_m"] is None
    assert story["property_line_note"] == place["property_line_note"]
    assert story["property_line_note"].startswith("its own parcel is not known: no parcel bears its property")
    assert place["side"] is None
    assert empty.defects(side="unknown")["lateral"].tolist() == ["L2"]
    near = empty.where("L1", "3", "A")
    assert near["private_ends_at"] == "property line"
    assert near["private_ends_m"] == near["property_line_m"] == empty.history("L1")["property_line_m"]


def test_an_issues_side_is_no_less_sure_than_its_best_sighting(empty: Book, town) -> None:
    """Issue and sightings are judged against the same end of private, with what their errors have in common taken off."""
    for name in RUNS:
        load_run(empty, town, name)
    placed, issues = (pd.DataFrame(empty.layer(name)) for name in ("placed_observations", "issues"))
    best = placed.groupby("issue")["side_sigma_m"].min()
    assert (best <= np.hypot(placed["sigma_m"].max(), 0.3)).all()
    one = issues[issues["times_seen"] == 1].set_index("issue")
    same = placed.dropna(subset="issue").set_index("issue")["side_probability"].reindex(one.index)
    np.testing.assert_allclose(one["side_probability"], same, atol=1e-12)
