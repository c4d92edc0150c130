"""The town map: ``index.html``, the page that people open first, and the files that only it reads."""

import json
from typing import Any
from urllib.parse import urlsplit

from branca.element import Element, Figure, MacroElement
from folium.template import Template

from sewermap.errors import SewermapError
from sewermap.web import city_files
from sewermap.web.pages import page
from sewermap.web.site_index import SiteIndex
from sewermap.web.site_tables import SiteTables
from sewermap.web.town_details import details_file
from sewermap.web.town_file import town_bounds
from sewermap.web.town_map import OfflineMap
from sewermap.web.words import Words

SCRIPTS = (
    "leaflet/leaflet.js",
    *city_files.SCRIPTS,
    *("town_details.js", "town_wanted.js", "town_list.js", "town_filters.js", "town_legend.js", "town_card.js", "town_search.js"),
    *("town_time.js", "town_places.js", "town_view.js", "data/town.js", "data/city.js", "data/map.js"),
)
"""After the scripts of every page, in their order."""

STYLES = ("leaflet/leaflet.css", "town_page.css")
SCHEMES = ("https", "http")


def files(tables: SiteTables, index: SiteIndex) -> dict[str, str]:
    """``index.html``, data/map.js (folium's script) and data/details.js.

    Where the tables name a background (``https://tiles.example.org/{z}/{x}/{y}.png``), the page offers a switch for it and asks
    nothing of its host before that. Raises SewermapError where it is none.
    """
    source = tables.background and background_source(tables.background)
    figure = MapFigure(town_bounds(tables), {"background": tables.background})
    words = Words(tables.language)
    return {
        "index.html": page(
            "index",
            words,
            tables,
            SCRIPTS,
            "town_body.html",
            styles=STYLES,
            map_markup=figure.markup(),
            unplaced=int(tables.placed_observations["geometry"].isna().sum()),
            image_source=source or "",
            background_host=urlsplit(source).netloc if source else "",
        ),
        "data/map.js": figure.script_text(),
        "data/details.js": details_file(tables, index),
    }


def background_source(template: str) -> str:
    """The origin of a background's tiles, as a content-security policy names it.

    >>> background_source("https://{s}.tiles.example.org:8080/{z}/{x}/{y}.png")
    'https://*.tiles.example.org:8080'

    Raises SewermapError for what is no template of tiles.
    """
    parts = urlsplit(template)
    host = parts.netloc.replace("{s}", "*", 1)
    plain = host.removeprefix("*.").replace("-", "").replace(".", "").replace(":", "")
    told = all(place in template for place in ("{z}", "{x}", "{y}"))
    if parts.scheme not in SCHEMES or not told or not (plain.isascii() and plain.isalnum()):
        raise SewermapError(
            f"'{template}' is no background; give the address of a map's tiles, like https://tiles.example.org/{{z}}/{{x}}/{{y}}.png"
        )
    return f"{parts.scheme}://{host}"


class TownCall(MacroElement):
    """The one call that puts the city and its panels on folium's map."""

    _template = Template(
        "{% macro script(this, kwargs) %}sewermap.townPage({{ this._parent.get_name() }}, {{ this.options_text }});{% endmacro %}"
    )

    def __init__(self, options: dict[str, Any]) -> None:
        """Remember what the page must know besides its data."""
        super().__init__()  # type: ignore[no-untyped-call]  # branca leaves it untyped
        self._name = "TownCall"
        self.options_text = json.dumps(options).replace("<", "\\u003c")


class MapFigure(Figure):
    """folium's map without a page around it: the markup of its place and, for a file of its own, its script."""

    def __init__(self, bounds: list[list[float]] | None, options: dict[str, Any]) -> None:
        """Make the map that opens on ``bounds`` (south-west and north-east corner, latitude before longitude)."""
        super().__init__()
        town = OfflineMap(bounds)
        town.add_child(TownCall(options))
        self.add_child(town)
        for child in self._children.values():
            child.render()

    def markup(self) -> str:
        """The element that the map is drawn in."""
        return Element.render(self.html).strip()

    def script_text(self) -> str:
        """What folium would have written into the page."""
        return Element.render(self.script)
