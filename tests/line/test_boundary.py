import importlib.util
import time
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from sewermap.line.boundary import own_parcels, property_line_measures
from sewermap.line.reference import lines_from_geometries

FOOT = 0.3048
REACH_M = 0.0021
"""A stretch outside is not left while its middle is within 1 mm of the parcel, so its far end may be 2 mm away."""

LOT = shapely.box(0, 6, 20, 40)
BEGINS_OUTSIDE = "its building end lies 1.00 m outside its own parcel, no further than the maps may be wrong"


def walked(coords, parcel, unit=1.0):
    """The one row of property_line_measures for one line and parcel."""
    return property_line_measures(lines_from_geometries([shapely.LineString(coords)], unit), [parcel]).iloc[0]


# ---- real buildings, plots and streets: momepy's bubenec.gpkg, inside its wheel ----


@pytest.fixture(scope="module")
def bubenec():
    """Buildings, plots and streets of momepy's dataset in EPSG:32633 (metres), and the streets as one geometry."""
    path = Path(importlib.util.find_spec("momepy").origin).parent / "datasets" / "bubenec.gpkg"
    layers = [gpd.read_file(path, layer=layer).to_crs("EPSG:32633") for layer in ("buildings", "plots", "streets")]
    assert [len(layer) for layer in layers] == [144, 407, 35]
    return layers[0], layers[1].geometry.to_numpy(), shapely.union_all(layers[2].geometry.to_numpy())


def parcels_of(lines, buildings, plots):
    """The plots of lines that know no property, through their buildings."""
    nobody = pd.Series([None] * 144, dtype="str")
    return own_parcels(lines, nobody, pd.Series([None] * len(plots), dtype="str"), plots, nobody, buildings)


def test_real_plots_split_straight_lines_from_centroids(bubenec):
    """Six splits of a line from the nearest street to a building's centroid at its own plot, to 1 mm.

    Figures: shapely alone, on the data of momepy 0.11 (buildings uID 1 to 6): beyond the plot, then within it.
    """
    buildings, plots, streets = bubenec
    centroids = buildings.geometry.centroid.to_numpy()
    lines = lines_from_geometries(shapely.shortest_line(streets, centroids))
    own = parcels_of(lines, buildings.geometry.to_numpy(), plots)
    assert (own["parcel"] >= 0).all()
    found = property_line_measures(lines, plots[own["parcel"]])
    first = buildings["uID"].to_numpy() <= 6
    beyond = found["measure_m"].to_numpy()[first]
    np.testing.assert_allclose(beyond, [14.639, 11.008, 6.684, 6.519, 9.776, 9.641], atol=0.001)
    np.testing.assert_allclose(lines.length_m[first] - beyond, [9.730, 52.992, 10.740, 12.438, 6.597, 6.613], atol=0.001)
    # Each of these straight lines leaves its plot once.
    assert found["crossings"].tolist() == [1] * 144
    assert (found["reason"] == "").all()


def test_real_plots_and_lines_from_walls(bubenec):
    """From its wall to the nearest street, a building's line has 0, 1 or more crossings: each is measured or has a reason.

    Half of these walls stand outside the plot that shares most of their floor, by 1 to 24 cm: as far as both maps may be wrong.
    Plots touched by the 144 lines, shapely alone: none 44, one 65, two 26, three 4, four 4, five 1.
    """
    buildings, plots, streets = bubenec
    walls = buildings.geometry.to_numpy()
    drawn = shapely.shortest_line(streets, walls)
    touched = np.bincount(shapely.STRtree(plots).query(drawn, predicate="intersects")[0], minlength=144)
    assert np.bincount(touched).tolist() == [44, 65, 26, 4, 4, 1]

    lines = lines_from_geometries(drawn)
    own = parcels_of(lines, walls, plots)
    parcel = plots[own["parcel"]]
    found = property_line_measures(lines, parcel)
    inside = shapely.dwithin(parcel, shapely.get_point(drawn, -1), 1e-3)
    assert (found["reason"].str.contains("outside its own parcel").to_numpy() == ~inside).all()
    assert (~inside).sum() == 66
    assert np.bincount(found["crossings"]).tolist() == [62, 77, 4, 1]
    # Lines that begin in their plot are in it from the crossing to the wall, but for the little by which a plot reaches further.
    inner = lines.length_m - found["measure_m"].to_numpy()
    grown = shapely.buffer(parcel, REACH_M, join_style="mitre")
    for line, drawn_plot, grown_plot, length in zip(drawn[inside], parcel[inside], grown[inside], inner[inside], strict=True):
        assert last_part(line, drawn_plot) - 1e-6 <= length <= last_part(line, grown_plot) + 1e-6
    # Of the others, those that never come into their plot end on its boundary: all of them is public.
    never = ~shapely.intersects(grown, drawn)
    assert never.sum() > 50
    assert (inner[never] == 0).all()
    assert found["reason"][never].str.contains("taken to be at the building").all()
    # Were the maps as good as a millimetre, such a wall would not stand on the boundary: no property line, and the reason.
    exact = property_line_measures(lines, parcel, 0.001, 0.001)
    assert exact["measure_m"].isna().sum() == 65
    assert (
        exact["reason"][exact["measure_m"].isna()].str.fullmatch(r"its building end lies 0\.\d\d m outside its own parcel").all()
    )
    # A line without its parcel is handled too.
    assert (property_line_measures(lines, [None] * 144)["reason"] == "its own parcel is not known").all()


def last_part(line, parcel):
    """Length of the part of a line that is in the parcel and ends at the line's end, by shapely's overlay alone."""
    parts = shapely.get_parts(shapely.intersection(line, parcel))
    reaching = parts[shapely.distance(parts, shapely.get_point(line, -1)) < 1e-3]
    return shapely.length(reaching).max(initial=0.0)


# ---- the property line ----


def test_one_crossing():
    """A straight lateral from the main to the building leaves its parcel once, at the parcel's front."""
    row = walked([(10, 0), (10, 20)], LOT)
    assert (row["measure_m"], row["crossings"], row["reason"]) == (6.0, 1, "")
    assert row["sigma_m"] == pytest.approx(0.3)


def test_the_first_crossing_from_the_building_counts():
    """A line that leaves its parcel, comes in again and leaves for good: the crossing next to the building counts."""
    row = walked([(10, 0), (10, 10), (25, 10), (25, 20), (10, 20)], LOT)
    assert row["measure_m"] == pytest.approx(10 + 15 + 10 + 5)
    assert row["crossings"] == 3
    assert "3 times" in row["reason"]


def test_a_parcel_in_parts_and_with_a_hole():
    """Leaving one part of a parcel is leaving it, and so is entering a hole that belongs to somebody else."""
    strip, house = shapely.box(0, 6, 20, 10), shapely.box(0, 12, 20, 40)
    assert walked([(10, 0), (10, 20)], shapely.MultiPolygon([strip, house]))["measure_m"] == pytest.approx(12)
    holed = shapely.difference(LOT, shapely.box(8, 14, 12, 16))
    row = walked([(10, 0), (10, 20)], holed)
    assert row["measure_m"] == pytest.approx(16)
    assert row["crossings"] == 3


def test_touching_is_not_leaving():
    """A line that touches the boundary at a vertex, or comes back along it, has not left the parcel."""
    row = walked([(10, 0), (10, 8), (20, 15), (10, 22)], LOT)
    assert (row["measure_m"], row["crossings"]) == (6.0, 1)
    row = walked([(10, 0), (10, 8), (20, 12), (20, 20), (10, 24)], LOT)
    assert (row["measure_m"], row["crossings"]) == (6.0, 1)


def test_along_the_boundary():
    """A line that runs along the boundary before it goes out leaves where it parts from it, on slanted boundaries too."""
    assert walked([(10, 0), (10, 6), (15, 6), (15, 20)], LOT)["measure_m"] == pytest.approx(6)
    turned = shapely.affinity.rotate(LOT, 17.3, origin=(500, 300))
    line = shapely.affinity.rotate(shapely.LineString([(10, 0), (10, 6), (15, 6), (15, 20)]), 17.3, origin=(500, 300))
    row = walked(line.coords, turned)
    assert row["measure_m"] == pytest.approx(6, abs=1e-6)
    assert row["crossings"] == 1


@pytest.mark.parametrize(
    ("coords", "parcel", "reason"),
    [
        ([(10, 8), (10, 20)], LOT, "it never leaves its own parcel"),
        ([(10, 6), (10, 20)], LOT, "it never leaves its own parcel"),
        ([(10, 0), (10, 4.7)], LOT, "its building end lies 1.30 m outside its own parcel"),
        ([(10, 0), (10, 42)], LOT, "its building end lies 2.00 m outside its own parcel"),
        ([(10, 8), (10, 41)], LOT, BEGINS_OUTSIDE + ", and it never leaves it"),
        ([(10, 0), (10, 20)], None, "its own parcel is not known"),
        ([(10, 0), (10, 20)], shapely.Polygon(), "its own parcel is not known"),
    ],
)
def test_no_property_line_has_a_reason(coords, parcel, reason):
    """Where a line has no property line, the measure is missing and plain words say why."""
    row = walked(coords, parcel)
    assert np.isnan(row["measure_m"])
    assert np.isnan(row["sigma_m"])
    assert row["reason"] == reason


def test_a_wall_drawn_outside_its_parcel_and_a_line_that_comes_in():
    """Within 3 sigma of both maps it begins inside: the property line is where it leaves after that, and the reason says so."""
    row = walked([(10, 0), (10, 41)], LOT)
    assert (row["measure_m"], row["crossings"], row["sigma_m"]) == (6.0, 2, pytest.approx(0.3))
    assert row["reason"] == BEGINS_OUTSIDE + ": it is taken to begin inside"
    again = walked([(10, 0), (10, 10), (25, 10), (25, 20), (10, 20), (10, 41)], LOT)
    assert again["measure_m"] == pytest.approx(10 + 15 + 10 + 5)
    assert again["reason"].startswith(BEGINS_OUTSIDE)
    assert "4 times" in again["reason"]


def test_a_wall_drawn_outside_its_parcel_and_a_line_that_stays_out():
    """The building stands on the boundary: the property line is at its end, as certain as the parcel and the gap allow."""
    row = walked([(10, 0), (10, 5.75)], LOT)
    assert (row["measure_m"], row["crossings"]) == (5.75, 0)
    assert row["sigma_m"] == pytest.approx(np.hypot(0.3, 0.25))
    assert row["reason"].endswith("the property line is taken to be at the building")


def test_a_line_that_strays_from_its_parcel_has_not_come_in():
    """From a wall just outside, 5 m away along the neighbour's, then across a corner of its own parcel: it began outside."""
    row = walked([(10, 0), (10, 10), (25, 10), (25, 40.5), (20.5, 40.5), (20.5, 39)], LOT)
    assert row["measure_m"] == pytest.approx(10 + 15 + 30.5 + 4.5 + 1.5)
    assert "taken to be at the building" in row["reason"]


@pytest.mark.parametrize(("gap_m", "known"), [(1.26, True), (1.28, False)])
def test_how_far_outside_a_wall_may_stand(gap_m, known):
    """3 sigma of line and parcel together: 3 * hypot(0.3, 0.3) = 1.273 m; with better maps less."""
    assert np.isfinite(walked([(10, 0), (10, 40 + gap_m)], LOT)["measure_m"]) == known
    lines = lines_from_geometries([shapely.LineString([(10, 0), (10, 40 + gap_m / 3)])])
    assert np.isfinite(property_line_measures(lines, [LOT], 0.1, 0.1)["measure_m"][0]) == known


def test_a_building_on_the_boundary():
    """Where the wall stands on the boundary and the line goes straight out, all of the lateral is public."""
    row = walked([(10, 0), (10, 6)], LOT)
    assert (row["measure_m"], row["crossings"], row["reason"]) == (6.0, 1, "")


def test_three_dimensions_and_feet():
    """The measure is along the 3-D line, in metres, also on a map in feet."""
    row = walked([(10, 0, 0), (10, 20, 15)], LOT, unit=FOOT)
    assert row["measure_m"] == pytest.approx(6 * 1.25 * FOOT)
    assert "1.52 m outside" in walked([(10, 0), (10, 1)], LOT, unit=FOOT)["reason"]


def test_an_invalid_parcel_is_mended():
    """A drawn ring that crosses itself does not stop the others: its two loops are its parts."""
    bow = shapely.Polygon([(0, 6), (20, 40), (20, 6), (0, 40)])
    lines = lines_from_geometries([shapely.LineString([(10, 0), (17, 10), (17, 20)]), shapely.LineString([(10, 0), (10, 20)])])
    found = property_line_measures(lines, [bow, LOT])
    assert found["measure_m"].notna().all()
    assert found["measure_m"][1] == 6


def test_a_slanted_crossing_is_less_certain():
    """The parcel's error, and the line's across itself, are stretched by the angle: hypot(p, l cos) / sin (closed form)."""
    lines = lines_from_geometries(
        [shapely.LineString([(2, 0), (2 + 20 * np.cos(angle), 20 * np.sin(angle))]) for angle in (np.pi / 2, np.pi / 6)]
    )
    found = property_line_measures(lines, [LOT, LOT], line_accuracy_m=0.4, parcel_accuracy_m=[0.3, 0.2])
    expected = [0.3, np.hypot(0.2, 0.4 * np.cos(np.pi / 6)) / np.sin(np.pi / 6)]
    np.testing.assert_allclose(found["sigma_m"], expected, rtol=1e-6)
    flat = walked([(-100, 5.999), (10, 6.001), (10, 20)], LOT)
    assert flat["sigma_m"] <= 0.3 * np.hypot(1, 1) / 0.1


@settings(deadline=None)
@given(
    st.lists(st.floats(5, 30), min_size=5, max_size=12),
    st.lists(st.tuples(st.floats(0.5, 12), st.floats(-12, 12)), min_size=1, max_size=6),
)
def test_against_the_overlay(radii, steps):
    """In any star-shaped parcel, the measure is the length less the part that reaches the building (shapely's overlay)."""
    turn = np.linspace(0, 2 * np.pi, len(radii), endpoint=False)
    # Away from the origin, as every map is: next to it, GEOS warns of steps too small to square.
    parcel = shapely.Polygon(np.column_stack([700 + radii * np.cos(turn), 300 + radii * np.sin(turn)]))
    line = shapely.LineString(np.cumsum([(700, 300), *steps], axis=0)[::-1])
    row = walked(line.coords, parcel)
    # A parcel reaches a little further than drawn, so the answer lies between those for two drawn parcels.
    least, most = last_part(line, parcel), last_part(line, parcel.buffer(REACH_M, join_style="mitre"))
    inner = line.length if np.isnan(row["measure_m"]) else line.length - row["measure_m"]
    assert least - 1e-6 <= inner <= most + 1e-6
    assert (row["reason"] == "it never leaves its own parcel") == np.isnan(row["measure_m"])


def test_twenty_thousand_laterals_take_a_moment():
    """Twenty thousand laterals find their parcels and property lines in about a second of processor time."""
    x, y = np.arange(20_000) % 200 * 15.0, np.arange(20_000) // 200 * 60.0
    corners = np.stack([np.column_stack([x + 7 + bend, y + 8 * step]) for step, bend in enumerate((0, 1, 0, 1))], axis=1)
    lines = lines_from_geometries(shapely.linestrings(corners))
    parcels = shapely.box(x, y + 5, x + 15, y + 50)
    names = pd.Series(np.arange(20_000).astype(str), dtype="str")
    began = time.process_time()
    own = own_parcels(lines, names, names, parcels, names, shapely.box(x, y + 24, x + 9, y + 30))
    found = property_line_measures(lines, parcels[own["parcel"]])
    took = time.process_time() - began
    assert found["measure_m"].notna().all()
    assert took < 1.5


def test_no_lines():
    """No laterals, no rows, and the columns are there."""
    found = property_line_measures(lines_from_geometries([]), [])
    assert found.columns.tolist() == ["measure_m", "sigma_m", "crossings", "reason"]
    assert len(found) == 0
