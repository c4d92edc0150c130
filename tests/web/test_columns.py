import numpy as np
import pandas as pd
import pytest
import shapely
from geopandas import GeoDataFrame
from hypothesis import given
from hypothesis import strategies as st

from sewermap.errors import SewermapError
from sewermap.web import columns


@given(st.lists(st.one_of(st.none(), st.text(max_size=6))))
def test_words_give_every_text_back(texts):
    """A column of texts survives its packing; only blanks and missing values are both 'nothing said'."""
    packed = columns.words(pd.Series(texts, dtype="object"))
    back = [None if code < 0 else packed["words"][code] for code in packed["codes"]]
    assert back == [text if text and text.strip() else None for text in texts]


@given(st.lists(st.tuples(st.floats(-179, 179), st.floats(-85, 85)), min_size=2, max_size=8))
def test_shapes_give_every_vertex_back(vertices):
    """A line's steps, summed up, are its vertices to half a step (numpy's own cumulative sum reads them)."""
    packed = columns.shapes(np.array([shapely.LineString(vertices)], dtype=object), columns.LINE_TYPES)
    back = np.cumsum([packed["lon"], packed["lat"]], axis=1).T / columns.STEPS_PER_DEGREE
    assert np.allclose(back, vertices, atol=0.51e-7, rtol=0)


def test_shapes_keep_parts_holes_and_owners():
    """Rows with several parts, holes, no geometry or another type: each part knows its row, the rest is left out."""
    holed = shapely.box(0, 0, 3, 3).difference(shapely.box(1, 1, 2, 2))
    two = shapely.MultiPolygon([shapely.box(10, 0, 11, 1), shapely.box(12, 0, 13, 1)])
    rows = np.array([None, holed, shapely.Point(0, 0), two, shapely.Polygon()], dtype=object)
    packed = columns.shapes(rows, columns.POLYGON_TYPES)
    assert packed["owner"] == [1, 1, 3, 3]
    assert packed["vertices"] == [5, 5, 5, 5]


def test_a_line_on_the_ground_is_where_pyproj_says():
    """Degrees agree with the corner that EPSG:26910's own definition gives: central meridian 123 W at easting 500 000."""
    layer = GeoDataFrame(geometry=[shapely.Point(500_000, 4_000_000)], crs=26910)
    point = columns.in_degrees(layer, "laterals")[0]
    assert point.x == pytest.approx(-123, abs=1e-9)
    assert point.y == pytest.approx(36.144718, abs=1e-6)  # pyproj 3.7, run


def test_a_place_that_no_map_can_show_is_no_place():
    """A point far outside its projection comes back without a geometry instead of at infinity."""
    layer = GeoDataFrame(geometry=[shapely.Point(float("inf"), 0), shapely.Point(500_000, 4_000_000)], crs=26910)
    there = columns.in_degrees(layer, "placed_observations")
    assert there[0] is None
    assert there[1] is not None


def test_a_layer_without_crs_is_refused_with_its_name():
    """Nobody guesses where a layer lies."""
    with pytest.raises(SewermapError, match=r"layer parcels does not say its CRS"):
        columns.in_degrees(GeoDataFrame(geometry=[shapely.box(0, 0, 1, 1)]), "parcels")


def test_flags_and_numbers_take_what_databases_give():
    """Yes and no come as booleans, 0 and 1 or blanks; numbers with blanks; none of them ends as NaN in the page."""
    assert columns.flags(pd.Series([True, None, False], dtype="object")) == [1, 0, 0]
    assert columns.flags(pd.Series([1.0, np.nan, 0.0])) == [1, 0, 0]
    assert columns.numbers(pd.Series([4, None], dtype="object")) == [4.0, None]
    assert columns.numbers(pd.Series([np.inf])) == [None]
