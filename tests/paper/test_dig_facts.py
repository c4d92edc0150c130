"""What a dig sheet rests on: stretch, ties, measures and depth, against arithmetic done by hand and by shapely."""

import dataclasses
import math
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import shapely
import sqlalchemy as sa
from scipy.stats import norm

import sewermap
from sewermap.answers.dig import DigFacts, dig_facts, dig_facts_of
from sewermap.answers.dig_depth import depth_at
from sewermap.book import Book
from sewermap.errors import MeasureError, UnknownNameError
from sewermap.store import tables as schema
from tests.line.test_ties import circles_meet
from tests.paper.dig_town import PLACES, write_dig_town

FEET = ("EPSG:2225", (5_000_000.0, 2_000_000.0), 1200 / 3937)
"""A map in US survey feet (California zone 1), off the coast."""


def facts_of(book: Book, lateral: str, kind: str) -> DigFacts:
    issues = book.layer("issues")
    name = issues.loc[(issues["lateral"] == lateral) & (issues["kind"] == kind), "issue"].iloc[0]
    return dig_facts(book.store, name)


def test_what_to_open_holds_95_percent(dig_book: Book):
    """The stretch reaches 1.96 sigma to both sides of the measure, the tolerance 1.96 times the map's accuracy across.

    1.96: the two-sided 95 % point of the normal distribution, here out of scipy.
    """
    facts = facts_of(dig_book, "A-1", "roots")
    z = norm.ppf(0.975)
    low, high = facts.place.open_m
    assert low == pytest.approx(facts.issue["measure_m"] - z * facts.issue["sigma_m"], abs=1e-3)
    assert high == pytest.approx(facts.issue["measure_m"] + z * facts.issue["sigma_m"], abs=1e-3)
    assert facts.place.across_m == pytest.approx(z * 0.2, abs=1e-3)
    assert facts.place.stretch.length == pytest.approx(high - low, abs=1e-6)
    assert facts.place.band.area == pytest.approx((high - low) * 2 * facts.place.across_m, rel=1e-6)


def test_a_sag_is_opened_from_end_to_end(dig_book: Book):
    """What runs along the line is opened over all its length, widened at both ends, and never past the ends of the line."""
    facts = facts_of(dig_book, "A-1", "sag")
    low, high = facts.place.open_m
    ends = sorted([20 - 33 * 0.3048, 20 - 46 * 0.3048])
    assert low < ends[0] + 0.3
    assert high > ends[1] - 0.3
    assert high - low >= (ends[1] - ends[0]) * 0.97 + 2 * 1.9 * facts.issue["sigma_m"]
    near_main = facts_of(dig_book, "A-1", "crack")
    assert near_main.issue["measure_m"] == pytest.approx(20 - 58 * 0.3048, abs=0.5)
    assert near_main.place.open_m[0] >= 0


def test_swing_ties_reproduce_the_issues_coordinates(dig_book: Book):
    """For every issue that has ties, shapely's circles meet within 1 cm of its x, y (must-show 7), at 40° to 140°."""
    issues = dig_book.layer("issues")
    pairs = 0
    for issue in issues.itertuples():
        for pair in dig_facts(dig_book.store, issue.issue).ties:
            assert min(math.dist((issue.x, issue.y), meet) for meet in circles_meet(pair)) <= 0.01 + 2e-4
            assert 40 <= pair.angle_deg <= 140
            pairs += 1
    assert pairs >= len(issues)


def test_ties_go_to_what_can_be_seen(dig_book: Book):
    """Corners are called by the way they point and by the house; a surveyed clean-out serves, one known by measure not."""
    facts = facts_of(dig_book, "A-1", "roots")
    names = [tie.name for pair in facts.ties for tie in (pair.first, pair.second)]
    assert "south-west corner of building HA, 1 Gannet Row" in names
    assert "south-east corner of building HA, 1 Gannet Row" in names
    assert not any("CO2" in name or "north" in name for name in names)
    first = next(pair for pair in facts.ties if "building" in pair.first.name and "building" in pair.second.name)
    assert first.wind == "south"
    assert first.street_side is True


def test_far_from_everything_there_are_no_ties(dig_book: Book):
    """Where the map has no building, parcel or surveyed point near, no tie is made up."""
    facts = facts_of(dig_book, "C-1", "offset joint")
    assert facts.ties == ()
    assert facts.ground.own_parcel is None
    assert facts.issue["side"] is None


def test_measures_come_from_the_known_points(dig_book: Book):
    """From tie-in, property line, the nearest clean-out up and down, and the building: the differences of measures."""
    facts = facts_of(dig_book, "A-1", "roots")
    at = facts.issue["measure_m"]
    told = {point.name: (round(point.away_m, 2), point.towards) for point in facts.measures}
    assert told == {
        "tie-in": (round(at, 2), "building"),
        "property line": (round(at - 6, 2), "building"),
        "CO2": (round(at - 4, 2), "building"),
        "CO1": (round(16 - at, 2), "main"),
        "building": (round(20 - at, 2), "main"),
    }


def test_a_map_in_feet_gives_the_same_sheet(tmp_path: Path, dig_book: Book):
    """The same town on a map in US survey feet: measures, depths and ties are the same to 1 cm; no length is scaled."""
    feet = load(tmp_path / "feet.gpkg", tmp_path / "sources", *FEET)
    for lateral, kind in (("A-1", "roots"), ("A-1", "sag"), ("E-1", "crack")):
        one, other = facts_of(dig_book, lateral, kind), facts_of(feet, lateral, kind)
        assert other.place.open_m == pytest.approx(one.place.open_m, abs=0.01)
        assert other.depth.depth_m == (None if one.depth.depth_m is None else pytest.approx(one.depth.depth_m, abs=0.01))
        assert [round(point.away_m, 1) for point in other.measures] == [round(point.away_m, 1) for point in one.measures]
        for here, there in zip(one.ties, other.ties, strict=True):
            assert (here.first.name, here.second.name, here.wind) == (there.first.name, there.second.name, there.wind)
            assert there.first.distance_m == pytest.approx(here.first.distance_m, abs=0.02)
            spot = (other.issue["x"], other.issue["y"])
            assert min(math.dist(spot, meet) for meet in circles_meet(there, FEET[2])) * FEET[2] <= 0.0102


def test_both_engines_tell_the_same(engine_where: str, tmp_path: Path, dig_book: Book):
    """A GeoPackage and a PostgreSQL database give the same facts."""
    book = load(engine_where, tmp_path / "sources", *METRES)
    for issue in dig_book.layer("issues")["issue"]:
        one, other = dig_facts(dig_book.store, issue), dig_facts(book.store, issue)
        assert (one.issue, one.measures, one.ties, one.depth, one.cross_bores) == (
            other.issue,
            other.measures,
            other.ties,
            other.depth,
            other.cross_bores,
        )
        pd.testing.assert_frame_equal(one.sightings, other.sightings)
        assert one.place.band.equals(other.place.band)


def test_a_batch_tells_what_its_issues_tell_alone(engine_where: str, tmp_path: Path):
    """The facts of many issues asked for at once, on each engine, are those of each asked for alone, by the names as typed."""
    book = load(engine_where, tmp_path / "sources", *METRES)
    names = book.layer("issues")["issue"].tolist()[::-1]
    typed = [names[0].lower(), *names[1:]]
    batch = dig_facts_of(book.store, typed)
    assert list(batch) == typed
    assert len(typed) > len({facts.lateral["lateral"] for facts in batch.values()}) > 1
    for name, facts in batch.items():
        _same_facts(facts, dig_facts(book.store, name))
    assert dig_facts_of(book.store, []) == {}
    with pytest.raises(UnknownNameError):
        dig_facts_of(book.store, [*names, "Z-9/1"])


def _same_facts(one: object, other: object) -> None:
    """All fields are equal, frames to the type, however deep."""
    for field in dataclasses.fields(one):
        mine, its = getattr(one, field.name), getattr(other, field.name)
        if isinstance(mine, pd.DataFrame):
            pd.testing.assert_frame_equal(mine, its)
        elif dataclasses.is_dataclass(mine):
            _same_facts(mine, its)
        else:
            assert mine == its, field.name


def test_a_cross_bore_stops_all_near_it(dig_book: Book):
    """The cross-bore itself, the crack beside it on its lateral, but not a lateral 200 m away."""
    assert len(facts_of(dig_book, "B-1", "cross-bore").cross_bores) == 1
    assert facts_of(dig_book, "B-1", "crack").cross_bores == facts_of(dig_book, "B-1", "cross-bore").cross_bores
    assert facts_of(dig_book, "A-1", "roots").cross_bores == ()


def test_the_unit_is_that_of_the_last_run(dig_book: Book):
    """Feet where the last run that saw it counted feet, metres where it counted metres."""
    assert facts_of(dig_book, "A-1", "roots").unit == "ft"
    assert facts_of(dig_book, "C-1", "offset joint").unit == "m"


def test_unplaced_and_unknown_issues_are_refused(tmp_path: Path):
    """An issue without a place is refused with what to do, an unknown name with the nearest ones; case does not matter."""
    book = load(tmp_path / "town.gpkg", tmp_path / "sources", *METRES)
    name = str(book.layer("issues")["issue"].iloc[0])
    assert dig_facts(book.store, name.lower()).issue["issue"] == name
    with pytest.raises(UnknownNameError, match=r"no issue is called 'A-1/99'; the nearest are A-1/\d"):
        dig_facts(book.store, "A-1/99")
    with book.store.writing() as conn:
        conn.execute(sa.update(schema.issues).where(schema.issues.c.issue == name).values(x=None, y=None))
    with pytest.raises(
        MeasureError, match=r"cannot be dug for, because nobody knows where on the ground it is .*located from above"
    ):
        dig_facts(book.store, name)


LINE = {"length_m": 20.0, "tie_in_depth_m": None, "building_depth_m": None, "tie_in_invert_m": None, "building_invert_m": None}
NONE = pd.DataFrame({"measure_m": np.empty(0), "depth_m": np.empty(0), "how": pd.Series(dtype="str")})


def test_depth_is_interpolated_between_known_ones(dig_book: Book):
    """Between 2.4 m at the main and 1.2 m at the house the depth falls in proportion, and the sheet says that it was taken so."""
    facts = facts_of(dig_book, "A-1", "roots")
    assert facts.depth.depth_m == pytest.approx(2.4 - 1.2 * facts.issue["measure_m"] / 20, abs=1e-6)
    assert facts.depth.how.startswith("interpolated between")
    assert facts.depth.how.endswith("ground assumed level")


def test_a_depth_located_near_the_place_is_taken_as_it_is():
    """A head located 1 m from the stretch tells the depth; one 5 m away only through interpolation."""
    line = LINE | {"tie_in_depth_m": 2.0, "building_depth_m": 1.0}
    near = pd.DataFrame({"measure_m": [11.5], "depth_m": [1.9], "how": ["the head located by run R"]})
    assert depth_at(line, near, 10.0, (9.5, 10.5)).depth_m == 1.9
    far = near.assign(measure_m=15.0)
    assert depth_at(line, far, 10.0, (9.5, 10.5)).depth_m == pytest.approx(2.0 + (1.9 - 2.0) * 10 / 15)


def test_inverts_serve_where_one_depth_is_known():
    """With inverts of both ends and one depth, the place is as much shallower as the pipe has risen (1:48 of 9.6 m: 0.2 m)."""
    line = LINE | {"tie_in_invert_m": 10.0, "building_invert_m": 10.0 + 20 / 48, "tie_in_depth_m": 2.0}
    assert depth_at(line, NONE, 9.6, (9.0, 10.0)).depth_m == pytest.approx(1.8)
    steep = line | {"building_invert_m": 20.0}
    assert depth_at(steep, NONE, 9.6, (9.0, 10.0)).depth_m is None
    assert "contradict" in depth_at(steep, NONE, 9.6, (9.0, 10.0)).how


def test_an_unknown_depth_is_never_guessed():
    """No depth, a depth on one side only, or inverts alone give none, and say what little is known."""
    assert depth_at(LINE, NONE, 5.0, (4.5, 5.5)).depth_m is None
    one_side = depth_at(LINE | {"tie_in_depth_m": 2.0}, NONE, 5.0, (4.5, 5.5))
    assert one_side.depth_m is None
    assert "the tie-in (2.00 m deep)" in one_side.how
    inverts = depth_at(LINE | {"tie_in_invert_m": 10.0, "building_invert_m": 10.4}, NONE, 5.0, (4.5, 5.5))
    assert inverts.depth_m is None
    assert "10.10 m" in inverts.how


METRES = ("EPSG:26910", (262_000.0, 4_700_000.0), 1.0)


def load(where: object, folder: Path, crs: str, origin: tuple[float, float], metres_per_unit: float) -> Book:
    plan = write_dig_town(folder, crs, origin, metres_per_unit)
    book = sewermap.create(where, crs)
    report = book.load(plan)
    assert not len(report.rejects), report.rejects
    return book


def test_the_town_lies_where_it_was_drawn(dig_book: Book):
    """The laterals are 20 m long and their issues lie on them, so that the checks above check what they say."""
    laterals = dig_book.layer("laterals").set_index("lateral")
    assert laterals["length_m"].to_numpy() == pytest.approx(20.0)
    for issue in dig_book.layer("issues").itertuples():
        assert shapely.distance(issue.geometry, laterals.geometry[issue.lateral]) < 1e-6
        assert issue.x == pytest.approx(262_000 + PLACES[issue.lateral])
