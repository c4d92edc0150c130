"""The town's map: folium's map without any tile or link that needs a network."""

import folium
from folium.map import FitBounds

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
        # The instance's own lists (those of the class belong to every map of the program), and empty: a page names its own.
        self.default_js, self.default_css = [], []
        # A name by chance would make every page differ from the last.
        self._id = "town"
        # folium takes max_zoom for its tiles alone; without it Leaflet would zoom in for ever.
        self.options.update(max_zoom=DEEPEST_ZOOM, min_zoom=2, fade_animation=False, attribution_control=False)
        if bounds:
            fit = FitBounds(bounds, padding=(24, 24), max_zoom=CLOSEST_FIT)
            fit.options["animate"] = False  # the town is there at once
            self.add_child(fit)
