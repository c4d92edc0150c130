"""The town's map: folium's map without any tile or link that needs a network, and our own layers on it."""

from typing import Any

import folium
from branca.element import Element, Figure, Link, MacroElement
from folium.map import FitBounds
from folium.template import Template

from sewermap.web import bundled

DEEPEST_ZOOM = 22
CLOSEST_FIT = 20
"""A town of one lateral opens on its block, not on its pipe."""


class OfflineMap(folium.Map):
    """folium's map with bundled files only: no tiles, no jQuery, no web fonts."""

    def __init__(self, bounds: list[list[float]] | None) -> None:
        """Make a map that opens on ``bounds`` (south-west and north-east corner, latitude before longitude)."""
        centre = [sum(axis) / 2 for axis in zip(*bounds, strict=True)] if bounds else [0.0, 0.0]
        super().__init__(
            location=centre, zoom_start=17 if bounds else 2, tiles=None, control_scale=True, zoom_control="bottomright"
        )
        # The instance's own lists: those of the class belong to every map of the program.
        self.default_js = [(name, f"static/{name}") for name in bundled.SCRIPTS]
        self.default_css = [(name, f"static/{name}") for name in bundled.STYLES]
        # A name by chance would make every page differ from the last.
        self._id = "town"
        # folium takes max_zoom for its tiles alone; without it Leaflet would zoom in for ever.
        self.options.update(max_zoom=DEEPEST_ZOOM, min_zoom=2, fade_animation=False, attribution_control=False)
        if bounds:
            fit = FitBounds(bounds, padding=(24, 24), max_zoom=CLOSEST_FIT)
            fit.options["animate"] = False  # the town is there at once
            self.add_child(fit)


class TownLayers(MacroElement):
    """Our own layers and panels: one call of static/view.js, with the data that data.js brought."""

    _template = Template(
        "{% macro script(this, kwargs) %}sewermap.view({{ this._parent.get_name() }}, sewermap.town);{% endmacro %}"
    )

    def __init__(self) -> None:
        super().__init__()  # type: ignore[no-untyped-call]  # branca leaves it untyped
        self._name = "TownLayers"


class TownPage(Figure):
    """The page around the map. Its script goes to a file of its own, so that the page may forbid scripts in the text."""

    def __init__(self, title: str, bounds: list[list[float]] | None) -> None:
        """Make the page of one town; ``title`` is text, never markup."""
        super().__init__(title=title)
        self._map = OfflineMap(bounds)
        self._map.add_child(TownLayers())
        self.add_child(self._map)

    def render(self, **kwargs: Any) -> str:
        """The page's markup (the script is not in it)."""
        for child in self._children.values():
            child.render(**kwargs)
        # folium's own head brings a script and styles in the text, and a viewport that forbids zooming.
        # Which parts those are differs between its versions: links alone are kept.
        parts = self.header._children  # noqa: SLF001  # there is no public way to leave one out
        for name in [name for name, part in parts.items() if not isinstance(part, Link)]:
            del parts[name]
        return str(Template(bundled.template("town.html")).render(this=self, kwargs=kwargs))

    def script_text(self) -> str:
        """What folium would have written into the page: makes the map and adds our layers. Call after ``render``."""
        return Element.render(self.script)
