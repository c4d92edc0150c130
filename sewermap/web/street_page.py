"""``street.html#street=NAME``: the roll-up of a street and its laterals in house order; without a name, all streets."""

from sewermap.web import small_map, street_files
from sewermap.web.pages import page
from sewermap.web.site_index import SiteIndex
from sewermap.web.site_tables import SiteTables
from sewermap.web.words import Words

SCRIPTS = (
    *small_map.SCRIPTS,
    *("table_rows.js", "table.js", "table_cells.js", "list_data.js", "street_data.js", "signs.js"),
    *("property_records.js", "street_facts.js", "street_lists.js", "street_page.js"),
    *small_map.DATA,
    "data/streets.js",
)
STYLES = (*small_map.STYLES, "lists.css", "property_page.css")


def files(tables: SiteTables, index: SiteIndex) -> dict[str, str]:
    """street.html, data/streets.js and data/street-N.js; data/small-map.js is of ``property_page``. Nothing on a public site."""
    if tables.public:
        return {}
    markup, _script = small_map.small_map(tables)
    html = page("street", Words(tables.language), tables, SCRIPTS, "street.html", styles=STYLES, map_markup=markup)
    return {"street.html": html, **street_files.files(tables, index)}
