"""The two maps that benchmarks/maps.py compares: ours in cells, and folium's own with every line and point as GeoJSON."""

from dataclasses import replace
from pathlib import Path

import folium
import geopandas as gpd
import pandas as pd
from branca.element import Figure

from sewermap.web import bundled
from sewermap.web.build_site import build_site
from sewermap.web.site_tables import COLUMNS, SiteTables
from sewermap.web.town_map import OfflineMap

COLOURS = ("#8d9299", "#b9a2da", "#9d7fcb", "#7d56b3", "#5b3192", "#35105e")
STOCK_READY = "window.isReady = () => document.readyState === 'complete' && document.querySelectorAll('path').length > 0;"


def part_of(tables: SiteTables, laterals: int) -> SiteTables:
    """The tables of the first so many laterals."""
    names = set(tables.laterals["lateral"].sort_values().head(laterals))
    owned = ("laterals", "placed_observations", "issues", "issue_sightings", "run_coverages", "runs", "works", "referents", "due")
    frames = {name: getattr(tables, name) for name in COLUMNS}
    frames |= {name: frames[name][frames[name]["lateral"].isin(names)] for name in owned}
    frames["issue_events"] = frames["issue_events"][frames["issue_events"]["issue"].isin(set(frames["issues"]["issue"]))]
    plots = set(frames["laterals"]["property"])
    frames["parcels"] = frames["parcels"][frames["parcels"]["property"].isin(plots)]
    return replace(tables, **frames)


def a_house(tables: SiteTables) -> list[float]:
    """Latitude and longitude of a lateral in the middle of the list."""
    line = tables.laterals.sort_values("lateral")["geometry"].iloc[len(tables.laterals) // 2]
    point = gpd.GeoSeries([line], crs=tables.crs).to_crs(4326).iloc[0].centroid
    return [point.y, point.x]


def ours(tables: SiteTables, folder: Path) -> None:
    """Our whole site, whose town map is measured as it is: with filters, list and all."""
    build_site(tables, folder)


def stock(tables: SiteTables, folder: Path) -> None:
    """Folium's own way: laterals and placed observations as GeoJson layers, coloured by a style_function, all in the page."""
    for name, content in bundled.contents().items():
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_bytes(content)
    lines = _layer(tables.laterals, ["lateral", "street", "grade"], tables)
    seen = _layer(tables.placed_observations, ["lateral", "kind", "grade"], tables)
    west, south, east, north = lines.total_bounds
    figure = Figure()
    town = OfflineMap([[south, west], [north, east]])
    town.default_js = [("leaflet", "static/leaflet/leaflet.js")]
    figure.add_child(town)
    folium.GeoJson(lines, style_function=_style).add_to(town)
    folium.GeoJson(seen, style_function=_style, marker=folium.CircleMarker(radius=3)).add_to(town)
    page = figure.render().replace("</html>", f"<script>window.town = map_town; {STOCK_READY}</script></html>")
    (folder / "index.html").write_text(page, encoding="utf-8")


def _layer(table: pd.DataFrame, columns: list[str], tables: SiteTables) -> gpd.GeoDataFrame:
    known = table[table["geometry"].notna()]
    layer = gpd.GeoDataFrame(known[columns].fillna(0), geometry=known["geometry"].to_numpy(object), crs=tables.crs)
    return layer.to_crs(4326)


def _style(feature: dict[str, dict[str, float]]) -> dict[str, object]:
    grade = int(feature["properties"]["grade"])
    return {"color": COLOURS[grade], "weight": 1 + 0.5 * grade}
