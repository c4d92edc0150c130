"""The map of one lateral or street: folium's map, which static/small_map.js points at what the page is about."""

from branca.element import Element, Figure, MacroElement
from folium.template import Template

from sewermap.web import city_files
from sewermap.web.site_tables import SiteTables
from sewermap.web.town_file import town_bounds
from sewermap.web.town_map import OfflineMap

SCRIPTS = ("leaflet/leaflet.js", *city_files.SCRIPTS, "small_map.js")
"""What the map needs, before the page's own scripts; the data and ``DATA`` come after those."""

DATA = ("data/town.js", "data/city.js", "data/small-map.js")
STYLES = ("leaflet/leaflet.css",)


class SmallMapCall(MacroElement):
    """The one call that hands folium's map to the page."""

    _template = Template("{% macro script(this, kwargs) %}sewermap.smallMap({{ this._parent.get_name() }});{% endmacro %}")

    def __init__(self) -> None:
        """Bear a name that is the same in every build."""
        super().__init__()  # type: ignore[no-untyped-call]  # branca leaves it untyped
        self._name = "SmallMapCall"


def small_map(tables: SiteTables) -> tuple[str, str]:
    """The markup of the map's place, and the script that makes it."""
    figure, town = Figure(), OfflineMap(town_bounds(tables))
    town.add_child(SmallMapCall())
    figure.add_child(town)
    for child in figure._children.values():  # noqa: SLF001  # a figure renders itself as a whole page
        child.render()
    return Element.render(figure.html).strip(), Element.render(figure.script)
