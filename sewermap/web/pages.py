"""The shell that all pages of a site share: head, links to the other pages, cautions, scripts in their order."""

from importlib import resources

import jinja2

from sewermap.web.site_tables import SiteTables
from sewermap.web.words import Words

PAGES = ("index", "street", "property", "due", "repeats", "changes", "quality")
"""Every page type, in the order in which the navigation tells them."""

PUBLIC_PAGES = ("index",)

COMMON = ("sewermap.js", "i18n.js", "data/words.js", "units.js", "url.js")
"""The scripts that every page has, before its own."""


def page(
    name: str,
    words: Words,
    tables: SiteTables,
    scripts: tuple[str, ...],
    body_template: str | None = None,
    *,
    styles: tuple[str, ...] = (),
    **values: object,
) -> str:
    """The markup of one page.

    ``name``: one of ``PAGES``. ``scripts`` and ``styles`` stand in static/, or in data/ when they say so; the scripts come after
    ``COMMON`` in the order given. ``body_template``: a template that extends page.html and fills its blocks ``main`` (and
    ``head``, ``cautions``). It sees t, tn, day, kind, number (see ``Words``), title, public, as_of, and the ``values``; text in
    them is never markup.
    """
    environment = jinja2.Environment(
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        loader=jinja2.FunctionLoader(_text),
    )
    shell = {
        "name": name,
        "language": words.language,
        "title": tables.title,
        "public": tables.public,
        "as_of": tables.as_of,
        "pages": PUBLIC_PAGES if tables.public else PAGES,
        "scripts": [_placed(script) for script in (*COMMON, *scripts)],
        "styles": [_placed(style) for style in ("site.css", *styles)],
        **{told: getattr(words, told) for told in ("t", "tn", "day", "kind", "number")},
    }
    return environment.get_template(body_template or "page.html").render(**{**shell, **values}) + "\n"


def _placed(file: str) -> str:
    return file if file.startswith("data/") else f"static/{file}"


def _text(name: str) -> str:
    return (resources.files(__package__) / "templates" / name).read_text(encoding="utf-8")
