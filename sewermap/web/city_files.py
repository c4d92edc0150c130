"""All data files that a town's or city's map reads."""

from sewermap.web.cells import cell_files
from sewermap.web.city_columns import city_file
from sewermap.web.city_places import places
from sewermap.web.ground_cells import ground_files
from sewermap.web.names_file import names_file
from sewermap.web.site_index import SiteIndex
from sewermap.web.site_tables import SiteTables
from sewermap.web.times_file import times_file
from sewermap.web.town_file import town_data, town_file

SCRIPTS = (
    *("packing.js", "projection.js", "symbols.js", "shapes.js", "grid_index.js", "city.js", "names.js", "cells.js", "tiles.js"),
    *("colours.js", "city_layer.js", "city_picking.js", "ground_layer.js", "street_labels.js"),
)
"""The scripts in static/ that ``sewermap.city`` is made of, in their order, after Leaflet and sewermap.js and before the data."""


def files(tables: SiteTables, index: SiteIndex) -> dict[str, str]:
    """Texts by name: data/town.js, city.js, names.js, times.js, and a cell-X-Y.js and ground-X-Y.js for each cell that has some.

    The same tables give the same texts, whatever the order of their rows (in ``issue_events``, those of an issue stand in order
    of time). Raises SewermapError when layers do not say their CRS.
    """
    where = places(tables, index)
    by_cell, cells = cell_files(index, where)
    by_ground, ground = ground_files(tables)
    return {
        "data/town.js": town_file(town_data(tables, index, where, cells, ground)),
        "data/city.js": city_file(tables, index, where),
        **by_cell,
        **by_ground,
        "data/names.js": names_file(index),
        "data/times.js": times_file(tables, index),
    }
