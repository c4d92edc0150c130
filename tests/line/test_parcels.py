import numpy as np
import pandas as pd
import shapely

from sewermap.line.boundary import own_parcels
from sewermap.line.reference import lines_from_geometries

LEFT, RIGHT = shapely.box(0, 6, 20, 40), shapely.box(20, 6, 40, 40)
LINE = shapely.LineString([(10, 0), (10, 20)])


def keys(*names):
    """A text column of keys."""
    return pd.Series(names, dtype="str")


def parcel_of(line=LINE, key=None, parcels=((None, LEFT), (None, RIGHT)), buildings=(), unit=1.0):
    """Place and reason of the parcel of one lateral; parcels and buildings are pairs of key and geometry."""
    row = own_parcels(
        lines_from_geometries([line], unit),
        keys(key),
        keys(*(name for name, _ in parcels)),
        np.array([shape for _, shape in parcels], dtype=object),
        keys(*(name for name, _ in buildings)),
        np.array([shape for _, shape in buildings], dtype=object),
    ).iloc[0]
    return row["parcel"], row["reason"]


def test_by_key_before_all_else():
    """A lateral's own property decides, wherever its line is drawn."""
    assert parcel_of(key="B", parcels=[("A", LEFT), ("B", RIGHT)]) == (1, "the parcel of its property")


def test_missing_keys_match_nothing():
    """Missing keys are not equal to each other; a key that no parcel bears falls back on place."""
    assert parcel_of(key=None, parcels=[(None, RIGHT), ("A", LEFT)]) == (1, "the parcel that holds its building end")
    assert parcel_of(key="Z", parcels=[("B", RIGHT), ("A", LEFT)]) == (1, "the parcel that holds its building end")


def test_through_the_building_by_shared_area():
    """The building's parcel is the one it shares most floor with, though its wall, where the line ends, is over the line."""
    house = shapely.box(19, 20, 35, 30)
    line = shapely.LineString([(19.5, 0), (19.5, 20)])
    assert parcel_of(line, buildings=[(None, house)]) == (1, "the parcel of the building at its end")


def test_through_the_building_by_its_property():
    """A building with a property of its own leads to that parcel, whatever area it shares."""
    house = shapely.box(2, 20, 18, 30)
    assert parcel_of(parcels=[("A", LEFT), ("B", RIGHT)], buildings=[("B", house)]) == (
        1,
        "the parcel of the building at its end",
    )


def test_only_a_near_building_counts():
    """A building more than 2 m from the building end is not the lateral's; metres also on a map in feet."""
    line = shapely.LineString([(17, 0), (17, 20)])
    house = shapely.box(20, 15, 39, 30)
    assert parcel_of(line, buildings=[(None, house)]) == (0, "the parcel that holds its building end")
    assert parcel_of(line, buildings=[(None, house)], unit=0.3048) == (1, "the parcel of the building at its end")


def test_equally_near_buildings():
    """At a wall between two houses, the parcel in which the lateral runs decides, in any order of rows."""
    houses = [(None, shapely.box(10, 20, 20, 30)), (None, shapely.box(20, 20, 30, 30))]
    line = shapely.LineString([(24, 0), (24, 10), (20, 20)])
    assert parcel_of(line, buildings=houses)[0] == 1
    assert parcel_of(line, parcels=((None, RIGHT), (None, LEFT)), buildings=houses[::-1])[0] == 0


def test_an_end_on_a_shared_boundary():
    """An end on the boundary of two parcels belongs to the one in which the lateral runs."""
    line = shapely.LineString([(24, 0), (24, 10), (20, 20)])
    assert parcel_of(line) == (1, "the parcel that holds its building end")


def test_a_building_without_a_parcel():
    """A near building on no parcel leads nowhere, and the parcel that holds the end is taken."""
    gap = shapely.LineString([(10, 0), (10, 39.5)])
    assert parcel_of(gap, buildings=[(None, shapely.box(5, 40.5, 15, 50))]) == (0, "the parcel that holds its building end")


def test_nothing_found():
    """No key, no building, no parcel: -1, and the reason says what was tried."""
    place, reason = parcel_of(shapely.LineString([(100, 0), (100, 20)]))
    assert place == -1
    assert "neither a building nor a parcel" in reason
    assert parcel_of(parcels=[])[0] == -1
    assert parcel_of(parcels=[(None, None)], buildings=[(None, None)])[0] == -1


def test_many_laterals_at_once():
    """Each lateral of a batch gets its own answer by its own way."""
    lines = lines_from_geometries([LINE, shapely.LineString([(30, 0), (30, 20)]), shapely.LineString([(90, 0), (90, 9)])])
    found = own_parcels(lines, keys("B", None, None), keys("A", "B"), [LEFT, RIGHT], keys(None), [shapely.box(25, 20, 35, 30)])
    assert found["parcel"].tolist() == [1, 1, -1]
    assert found["reason"].nunique() == 3


def test_an_invalid_parcel_is_mended():
    """A ring that crosses itself still shares area with a building, and stops nobody."""
    bow = shapely.Polygon([(0, 6), (20, 40), (20, 6), (0, 40)])
    line = shapely.LineString([(18, 0), (18, 20)])
    assert parcel_of(line, parcels=[(None, bow), (None, LEFT)], buildings=[(None, shapely.box(16, 18, 19.5, 28))])[0] in (0, 1)
    assert parcel_of(line, parcels=[(None, bow)], buildings=[(None, shapely.box(16, 18, 19.5, 28))])[0] == 0
