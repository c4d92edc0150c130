"""Geometries: one line a lateral, from tie-in to building, whatever way it was drawn."""

from importlib import resources
from itertools import pairwise
from pathlib import Path

import geopandas
import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from etl.fields.joining import joined
from etl.pipeline import Known
from etl.sources.layers import read_layer, without_m
from sewermap.errors import SourceError

LINE = shapely.LineString([(500000, 4000000), (500000, 4000020)])


def laterals(town, tie_in, *lines, mains=(), known=None):
    """The laterals of a layer with these lines."""
    town.layer("l.gpkg", list(lines), lateral=[f"L{at}" for at in range(len(lines))])
    text = f'[laterals]\nfrom = "l.gpkg"\ntie_in = "{tie_in}"\n'
    if mains:
        town.layer("m.gpkg", list(mains), main=[f"M{at}" for at in range(len(mains))])
        text += '[mains]\nfrom = "m.gpkg"\n'
    return town.gather(text, known)


def ends(gathered):
    """First and last y of each line, from 4,000,000."""
    lines = gathered.tables["laterals"]["geometry"]
    return [(line.coords[0][1] - 4000000, line.coords[-1][1] - 4000000) for line in lines]


def test_tie_in_says_which_end_is_measure_zero(town):
    """A line drawn from the building is turned, so that its first vertex is the tie-in."""
    assert ends(laterals(town, "start", LINE)) == [(0, 20)]
    assert ends(laterals(town, "end", LINE)) == [(20, 0)]


def test_tie_in_by_the_mains(town):
    """The end nearer to a main is the tie-in, with mains of this load or of the database; equally far is rejected."""
    main = shapely.LineString([(499990, 3999999), (500090, 3999999)])
    turned = shapely.reverse(LINE)
    along = shapely.LineString([(500040, 4000005), (500060, 4000005)])
    gathered = laterals(town, "main", LINE, turned, along, mains=[main])
    assert ends(gathered) == [(0, 20), (0, 20)]
    assert "equally far from the mains" in gathered.rejects["reason"][0]
    known = Known(mains=np.array([main], dtype=object))
    assert ends(laterals(town, "main", turned, known=known)) == [(0, 20)]
    with pytest.raises(SourceError, match="no mains are known"):
        laterals(town, "main", LINE)


def multi(*parts):
    """A line of several parts, each from y to y."""
    return shapely.MultiLineString([[(500000, 4000000 + y) for y in part] for part in parts])


@pytest.mark.parametrize(
    ("parts", "expected"),
    [
        ([(0, 8), (8, 20)], (0, 20)),
        ([(8, 20), (0, 8)], (0, 20)),
        ([(0, 8), (20, 8)], (0, 20)),
        ([(8, 0), (8, 20)], (0, 20)),
        ([(20, 8), (8, 0)], (20, 0)),
        ([(0, 20)], (0, 20)),
    ],
)
def test_parts_that_meet_are_joined_the_way_they_are_drawn(town, parts, expected):
    """Parts that join end to end are one line, which goes as its parts go, in whatever order they are listed."""
    gathered = laterals(town, "start", multi(*parts))
    assert ends(gathered) == [expected]
    assert gathered.tables["laterals"]["geometry"][0].geom_type == "LineString"


def test_parts_that_do_not_meet_are_rejected(town):
    """A gap of a millimetre is a gap; a branch is no single line."""
    gathered = laterals(town, "start", multi((0, 8), (8.001, 20)), multi((0, 8), (8, 20), (8, 30)))
    assert gathered.tables["laterals"].empty
    assert gathered.rejects["reason"].tolist() == [
        "its 2 parts do not join end to end into one line",
        "its 3 parts do not join end to end into one line",
    ]


def test_parts_drawn_against_each_other_need_the_mains():
    """Where neither the first part's start nor the last one's end is an end of the whole, only the mains can tell its tie-in."""
    backwards = shapely.MultiLineString([[(5, 0), (0, 0)], [(9, 0), (20, 0)], [(5, 0), (9, 0)]])
    geometry = np.array([backwards], dtype=object)
    line, findings = joined(geometry, "start")
    assert line[0] is None
    assert [found.where.tolist() for found in findings] == [[False], [True]]
    line, findings = joined(geometry, "main")
    assert line[0].length == 20
    assert not any(found.where.any() for found in findings)


@settings(max_examples=50)
@given(st.lists(st.integers(1, 30), min_size=2, max_size=6), st.randoms())
def test_cut_lines_are_joined_again(lengths, chance):
    """A line cut into parts, listed in any order, comes out as it was."""
    stops = np.concatenate([[0], np.cumsum(lengths)]).astype(float)
    parts = [[(start, 0.0), (end, 0.0)] for start, end in pairwise(stops)]
    chance.shuffle(parts)
    line, _ = joined(np.array([shapely.MultiLineString(parts)], dtype=object), "start")
    assert [x for x, _ in line[0].coords] == stops.tolist()


def test_heights_are_kept(town):
    """A line with Z keeps it through the pipeline."""
    town.layer("l.gpkg", [shapely.LineString([(25, 50, 70), (100, 125, 90), (150, 190, 200)])], lateral=["L1"])
    shape = town.gather('[laterals]\nfrom = "l.gpkg"\ntie_in = "start"\n').tables["laterals"]["geometry"][0]
    steps = np.diff(np.array(shape.coords), axis=0)
    # PostGIS manual, chapter Linear Referencing: the 3-D length of this line is 245.13939306473696.
    assert np.linalg.norm(steps, axis=1).sum() == pytest.approx(245.13939306473696)


def test_measures_are_dropped_and_curves_straightened():
    """A file with Z and M (pyogrio's own fixture line_zm) gives Z alone; one of curves (its fixture curve) gives lines.

    What comes as M otherwise (from PostGIS) is dropped by hand.
    """
    measured = shapely.from_wkt(["LINESTRING ZM (0 0 1 9, 1 1 2 8)", "LINESTRING M (0 0 9, 1 1 8)"])
    assert shapely.to_wkt(without_m(measured)).tolist() == ["LINESTRING Z (0 0 1, 1 1 2)", "LINESTRING (0 0, 1 1)"]
    fixtures = Path(str(resources.files("pyogrio"))) / "tests" / "fixtures"
    line = read_layer(fixtures / "line_zm.gpkg").geometry[0]
    assert (line.has_z, line.has_m) == (True, False)
    curve = read_layer(fixtures / "curve.gpkg").geometry[0]
    assert shapely.get_type_id(curve) in {1, 5}


def test_heights_follow_the_unit_of_the_map(town):
    """Heights of a layer in US survey feet (1200/3937 m, NIST SP 811) are metres on a map in metres."""
    feet = "EPSG:2227"  # California zone 3, US survey feet
    line = shapely.LineString([(6000000, 2000000, 100), (6000050, 2000000, 101)])
    town.layer("l.gpkg", [line], feet, lateral=["L1"])
    shape = town.gather('[laterals]\nfrom = "l.gpkg"\ntie_in = "start"\n').tables["laterals"]["geometry"][0]
    assert [z for *_, z in shape.coords] == pytest.approx([100 * 1200 / 3937, 101 * 1200 / 3937])
    again = geopandas.GeoSeries([line], crs=feet).to_crs("EPSG:26910")[0]
    assert np.array(shape.coords)[:, :2] == pytest.approx(np.array(again.coords)[:, :2], abs=1e-6)
