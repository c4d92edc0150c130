import numpy as np
import pytest
from pyproj import Geod

GROUND = Geod(ellps="WGS84")


@pytest.mark.parametrize("latitude", [-41.3, 0.0, 25.0, 38.5, 61.2])
def test_a_metre_on_the_ground_is_that_of_geodesy(site, open_page, latitude):
    """World units per metre, east and north, agree with pyproj's geodesic on WGS 84 (GeographicLib)."""
    page = open_page(site).page
    scale = page.evaluate(f"sewermap.projection.perMetre({latitude})")
    east_lon, _, _ = GROUND.fwd(0, latitude, 90, 10)
    _, north_lat, _ = GROUND.fwd(0, latitude, 0, 10)
    east = page.evaluate(f"sewermap.projection.x({east_lon}) - sewermap.projection.x(0)") / 10
    north = page.evaluate(f"sewermap.projection.y({latitude}) - sewermap.projection.y({north_lat})") / 10
    assert scale["east"] == pytest.approx(east, rel=1e-5)
    assert scale["north"] == pytest.approx(north, rel=1e-5)


def test_a_drawn_circle_has_its_radius_in_true_metres(site, open_page):
    """The offset joint's circle of 1.8 m, read back from its pixels: its western and eastern edges lie 1.8 m from the middle."""
    visit = open_page(site)
    row = visit.page.evaluate("sewermap.town.observations.within_m.indexOf(1.8)")
    lon, lat = visit.page.evaluate(f"[sewermap.town.observations.lon[{row}] / 1e7, sewermap.town.observations.lat[{row}] / 1e7]")
    visit.page.evaluate(f"map_town.setView([{lat}, {lon}], 22, {{animate: false}})")
    left, right = edges(visit, lat, lon)
    west_lon, east_lon = (visit.page.evaluate(f"map_town.containerPointToLatLng([{x}, 0]).lng") for x in (left, right))
    for edge in (west_lon, east_lon):
        _, _, distance_m = GROUND.inv(lon, lat, edge, lat)
        assert distance_m == pytest.approx(1.8, abs=0.06)  # a pixel is 2.9 cm here


def edges(visit, lat, lon):
    """First and last container pixel that is not see-through in the row of pixels through a place."""
    script = """([lat, lon]) => {
        const at = map_town.latLngToContainerPoint([lat, lon]), box = map_town.getContainer().getBoundingClientRect(), all = [];
        for (const canvas of document.querySelectorAll(".leaflet-signs-pane canvas")) {
            const tile = canvas.getBoundingClientRect(), y = Math.round(at.y - (tile.y - box.y));
            if (y < 0 || y >= canvas.height) continue;
            const data = canvas.getContext("2d").getImageData(0, y, canvas.width, 1).data;
            for (let x = 0; x < canvas.width; x += 1) if (data[4 * x + 3] > 0) all.push(x + 0.5 + tile.x - box.x);
        }
        return all.filter((x) => Math.abs(x - at.x) < 120).sort((a, b) => a - b);
    }"""
    found = np.array(visit.page.evaluate(script, [lat, lon]))
    assert len(found) > 20
    return float(found[0]), float(found[-1])
