"""Which files a site has: each module named here makes some of them."""

from collections.abc import Callable, Mapping

from sewermap.web import bundled, city_files, list_pages, property_page, public_pages, street_page, town_page
from sewermap.web.pages import COMMON
from sewermap.web.site_index import SiteIndex
from sewermap.web.site_tables import SiteTables

Files = Mapping[str, str | bytes]
Maker = Callable[[SiteTables, SiteIndex], Files]

MAKERS: dict[str, Maker] = {
    "the map's data": city_files.files,
    "the town map": town_page.files,
    "streets": street_page.files,
    "properties": property_page.files,
    "lists": list_pages.files,
}
"""By what a progress bar calls them: each ``files(tables, index)`` gives contents by name, like ``data/town.js``."""

PUBLIC_MAKERS: dict[str, Maker] = {"streets": public_pages.files}
"""A public site is made by these alone: no other module is asked, so nothing of a house can slip through."""


def makers(tables: SiteTables) -> dict[str, Maker]:
    """What makes the files of this site, in order; the files that every site has come last."""
    return {**(PUBLIC_MAKERS if tables.public else MAKERS), "scripts and styles": _static}


def _static(tables: SiteTables, _index: SiteIndex) -> Files:
    """Scripts, styles, libraries with their licences."""
    every = bundled.contents()
    if not tables.public:
        return every
    wanted = (
        "site.css",
        "THIRD_PARTY.md",
        *(name for name in COMMON if not name.startswith("data/")),
        *public_pages.STYLES,
        *public_pages.SCRIPTS,
    )
    return {name: every[name] for name in (f"static/{file}" for file in wanted)}
