"""GeoJSON as RFC 7946 has it (sections 3.1.6 and 4): WGS 84, longitude first, no crs member, outer rings counter-clockwise."""

import json

import geopandas as gpd
import numpy as np
import pyproj
import pytest
import shapely

import sewermap as door
from tests.cli.running import good, sewermap

LAYERS = ("laterals", "placed_observations", "parcels", "streets", "mains", "buildings", "lateral_lines", "defects")


@pytest.mark.parametrize("table", LAYERS)
def test_exported_layers_follow_the_standard(town, tmp_path, table):
    """Each layer's GeoJSON is a FeatureCollection in degrees without crs; rings turn the right way; the places are the map's."""
    out = tmp_path / "out.geojson"
    good(sewermap("export", out, "--table", table, "--db", town.db))
    text = out.read_text(encoding="utf-8")
    answer = good(sewermap("where", "L-0051", "5", "--run", "BF-1007", "--db", town.db, "--format", "json")).json
    collection = json.loads(text)
    assert collection["type"] == "FeatureCollection"
    assert "crs" not in collection
    features = collection["features"]
    assert all(feature["type"] == "Feature" for feature in features)
    assert all({"geometry", "properties"} <= set(feature) for feature in features)
    shapes = [shapely.geometry.shape(feature["geometry"]) for feature in features if feature["geometry"]]
    west, south, east, north = shapely.total_bounds(np.array(shapes, dtype=object))
    assert abs(west - answer["lon"]) < 0.1
    assert abs(north - answer["lat"]) < 0.1
    assert east - west < 0.1
    assert north - south < 0.1
    for shape in shapes:
        for part in shapely.get_parts(shape):
            if part.geom_type == "Polygon":
                assert part.exterior.is_ccw
                assert not any(ring.is_ccw for ring in part.interiors)
    book = door.open(town.db, read_only=True)
    ours = book.answer(table)
    assert len(features) == len(ours)
    back = gpd.GeoSeries(shapes, crs=4326).to_crs(book.store.crs)
    missing = ours.geometry.isna().to_numpy()
    assert [feature["geometry"] is None for feature in features] == missing.tolist()
    # Seven digits of a degree are about a centimetre (RFC 7946, section 11.2).
    assert shapely.hausdorff_distance(back.to_numpy(), ours.geometry[~missing].to_numpy()).max() < 0.02


def test_properties_keep_their_types(town):
    """Numbers are numbers, yes and no are true and false, days are texts of ISO 8601, missing is null."""
    features = good(sewermap("defects", "--format", "geojson", "--db", town.db)).json["features"]
    rows = good(sewermap("defects", "--format", "json", "--db", town.db)).json
    assert [feature["properties"] for feature in features] == [
        {name: value if not isinstance(value, float) else pytest.approx(value, rel=1e-14) for name, value in row.items()}
        for row in rows
    ]


def test_where_is_a_feature(town):
    """``where`` as GeoJSON is one Feature with its place, or with a null geometry where the reading has none (section 3.2)."""
    words = ["--run", "BF-1007", "--format", "geojson", "--db", town.db]
    feature = good(sewermap("where", "L-0051", "53.3", *words)).json
    assert feature["type"] == "Feature"
    lon, lat = feature["geometry"]["coordinates"]
    turn = pyproj.Transformer.from_crs("EPSG:4326", feature["properties"]["crs"], always_xy=True)
    assert turn.transform(lon, lat) == pytest.approx((feature["properties"]["x"], feature["properties"]["y"]), abs=0.01)
    lost = good(sewermap("where", "L-0051", "900", *words)).json
    assert lost["geometry"] is None
    assert lost["properties"]["lon"] is None
