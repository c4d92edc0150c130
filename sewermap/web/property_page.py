"""``property.html#lateral=NAME``: all that is known of one lateral; and the pictures and dig sheets that it links to."""

from sewermap.web import picture_files, sheet_files, small_map
from sewermap.web.pages import page
from sewermap.web.site_index import SiteIndex
from sewermap.web.site_tables import SiteTables
from sewermap.web.words import Words

SCRIPTS = (
    *small_map.SCRIPTS,
    *("table_rows.js", "table.js", "table_cells.js", "list_data.js", "street_data.js", "signs.js", "find_lateral.js"),
    *("strip_scale.js", "strip_rows.js", "strip_marks.js", "strip_line.js", "strip.js"),
    *("property_words.js", "property_tables.js", "property_records.js", "property_page.js"),
    *small_map.DATA,
)
STYLES = (*small_map.STYLES, "lists.css", "property_page.css")


def files(tables: SiteTables, _index: SiteIndex) -> dict[str, str | bytes]:
    """property.html, data/small-map.js, pictures/… and dig/…; nothing of these on a public site.

    Raises SewermapError where a picture cannot be read.
    """
    if tables.public:
        return {}
    markup, script = small_map.small_map(tables)
    html = page("property", Words(tables.language), tables, SCRIPTS, "property.html", styles=STYLES, map_markup=markup)
    return {
        "property.html": html,
        "data/small-map.js": script,
        **picture_files.contents(tables.pictures),
        **sheet_files.contents(tables.dig_sheets),
    }
