"""Layers by box from the live database, on both engines, against a reading of the whole layer with GeoPandas."""

import json
from datetime import date

import geopandas as gpd
import numpy as np
import pytest
import shapely

from sewermap.answers.features import LAYERS, NAMED_BY, Asked, extent_in_degrees, features, matched
from sewermap.errors import SourceError, UnknownNameError


def _by_hand(served, layer: str) -> gpd.GeoDataFrame:
    whole = served.book.layer(layer)
    return whole.to_crs("OGC:CRS84")


@pytest.mark.parametrize("layer", LAYERS)
def test_a_box_holds_what_geopandas_finds(each_town, layer: str) -> None:
    """What a box answers is what GeoPandas finds in the whole layer by ``intersects``, for small and large boxes."""
    whole = _by_hand(each_town, layer)
    west, south, east, north = whole.total_bounds
    middle = whole.geometry.dropna().iloc[0].coords[0][:2]
    name = NAMED_BY[layer]
    for share in (0.05, 0.3, 1.0):
        half = np.array([east - west, north - south]) / 2 * share + 1e-6
        box = (*(middle - half), *(middle + half))
        wanted = whole[whole.intersects(shapely.box(*box))]
        asked = ",".join(f"{value:.9f}" for value in box)
        answer = each_town.ask(f"/features/{layer}.geojson?bbox={asked}&limit=10000")
        assert answer.headers["content-type"] == "application/geo+json"
        found = json.loads(answer.body)
        assert sorted(one["id"] for one in found["features"]) == sorted(wanted[name])
        assert not found["more"]
        shown = {one["id"]: shapely.geometry.shape(one["geometry"]) for one in found["features"]}
        here = shapely.force_2d(wanted.geometry.to_numpy())
        apart = shapely.distance(here, [shown[one] for one in wanted[name]])
        assert len(apart) > 0
        assert apart.max() < 2e-7  # seven decimals


def test_geojson_is_as_the_standard_says(each_town) -> None:
    """RFC 7946: longitude before latitude, no ``crs`` member, missing values null."""
    told = json.loads(each_town.ask("/features/placed_observations.geojson?limit=10000").body, parse_constant=pytest.fail)
    assert "crs" not in told
    assert told["type"] == "FeatureCollection"
    placed = [one for one in told["features"] if one["geometry"]]
    assert all(-180 <= one["geometry"]["coordinates"][0] < -90 < one["geometry"]["coordinates"][1] <= 90 for one in placed)
    assert len(told["features"]) == len(each_town.book.layer("placed_observations"))


def test_a_limit_says_that_there_is_more(each_town) -> None:
    """A part is said to be a part."""
    told = json.loads(each_town.ask("/features/laterals.geojson?limit=7").body)
    assert (len(told["features"]), told["more"]) == (7, True)


@pytest.mark.parametrize(
    ("asked", "status"),
    [
        ("laterals.geojson?bbox=1,2,3", 400),
        ("laterals.geojson?bbox=1,2,nan,4", 400),
        ("laterals.geojson?bbox=0,10,1,-10", 400),
        ("laterals.geojson?bbox=0,0,181,1", 400),
        ("laterals.geojson?bbox=west", 400),
        ("laterals.geojson?limit=0", 400),
        ("laterals.geojson?limit=-1", 400),
        ("laterals.geojson?limit=1e3", 400),
        ("laterals.geojson?limit=%C2%B2", 400),
        ("laterals.geojson?colour=red", 400),
        ("runs.geojson", 404),
        ("sqlite_master.geojson", 404),
        ("laterals'--.geojson", 404),
    ],
)
def test_a_wrong_question_is_told_so(town, asked: str, status: int) -> None:
    """What cannot be answered is one plain sentence as JSON."""
    answer = town.ask(f"/features/{asked}")
    assert (answer.status, answer.headers["content-type"]) == (status, "application/json")
    assert list(json.loads(answer.body)) == ["error"]


def test_boxes_at_the_ends_of_the_earth(each_town) -> None:
    """The whole earth holds all that is placed, the other side of it nothing, and a box over the antimeridian is two."""
    store = each_town.book.store
    everything = matched(store, "laterals", Asked(box=(-180, -90, 180, 90)))
    assert everything == len(each_town.book.layer("laterals")) > 0
    assert matched(store, "laterals", Asked(box=(0, -90, 180, 90))) == 0
    assert matched(store, "laterals", Asked(box=(170, -90, -100, 90))) == everything
    assert matched(store, "laterals", Asked(box=(170, -90, -170, 90))) == 0


def test_pages_follow_one_another(each_town) -> None:
    """Pages by limit and offset hold every feature once, in a fixed order."""
    store = each_town.book.store
    whole = [one["id"] for one in features(store, "issues", limit=10_000)]
    parts = [one["id"] for offset in range(0, len(whole), 50) for one in features(store, "issues", limit=50, offset=offset)]
    assert parts == whole
    assert len(set(whole)) == len(whole) == matched(store, "issues")


def test_days_and_values_narrow(each_town) -> None:
    """A question by day and by value finds what pandas finds."""
    store, issues = each_town.book.store, each_town.book.layer("issues")
    since, until = date(2024, 1, 1), date(2025, 1, 1)
    inside = issues[issues["last_seen"].between(str(since), str(until)) & (issues["kind"] == "roots")]
    assert 0 < len(inside) < len(issues)
    assert matched(store, "issues", Asked(since=since, until=until, equal={"kind": "roots"})) == len(inside)
    assert matched(store, "issues", Asked(equal={"is_repeat": "true"})) == issues["is_repeat"].tolist().count(True)
    assert matched(store, "issues", Asked(equal={"grade": "4"})) == int((issues["grade"] == 4).sum())
    with pytest.raises(SourceError, match="grade"):
        matched(store, "issues", Asked(equal={"grade": "bad"}))
    with pytest.raises(UnknownNameError):
        matched(store, "issues", Asked(equal={"colour": "red"}))


def test_an_extent_holds_its_layer(each_town) -> None:
    """A layer's extent holds all of it and is less than a metre too large."""
    west, south, east, north = _by_hand(each_town, "laterals").total_bounds
    told = extent_in_degrees(each_town.book.store, "laterals")
    assert told is not None
    assert np.all(np.array(told) * [-1, -1, 1, 1] >= np.array([west, south, east, north]) * [-1, -1, 1, 1])
    assert np.allclose(told, [west, south, east, north], atol=3e-5)
