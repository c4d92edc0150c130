"""Markup out of plain values: whatever a user wrote is text in it, never markup."""

from functools import cache
from importlib import resources

import jinja2
from markupsafe import Markup, escape


def tag(name: str, *children: str, **attributes: object) -> Markup:
    """An element. Children that are plain text are escaped, and so are attributes; ``stroke_width`` becomes ``stroke-width``.

    >>> tag("text", "<b> & co", x=1.5, font_size=3)
    Markup('<text x="1.5" font-size="3">&lt;b&gt; &amp; co</text>')
    """
    # Plain strings: a page has hundreds of elements, and Markup's own format is ten times slower.
    given = "".join(
        f' {key.rstrip("_").replace("_", "-")}="{escape(_short(value))}"'
        for key, value in attributes.items()
        if value is not None
    )
    return Markup(f"<{name}{given}>{''.join(map(escape, children))}</{name}>")  # noqa: S704 - names are ours, the rest is escaped


def page(template: str, **values: object) -> str:
    """A template of this package, filled in; a name that it asks for and that is not given is an error."""
    return _templates().get_template(template).render(**values)


@cache
def _templates() -> jinja2.Environment:
    """The one environment, which keeps each template compiled."""
    folder = resources.files(__package__) / "templates"
    loader = jinja2.FunctionLoader(lambda name: (folder / name).read_text(encoding="utf-8"))
    return jinja2.Environment(
        autoescape=True, undefined=jinja2.StrictUndefined, trim_blocks=True, lstrip_blocks=True, loader=loader
    )


def _short(value: object) -> str:
    """Numbers to the thousandth: a page of them stays small, and the same on every machine."""
    return f"{value:.3f}".rstrip("0").rstrip(".") if isinstance(value, float) else str(value)
