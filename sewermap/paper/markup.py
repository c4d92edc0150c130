"""Markup out of plain values: whatever a user wrote is text in it, never markup."""

from importlib import resources

import jinja2
from markupsafe import Markup


def tag(name: str, *children: str, **attributes: object) -> Markup:
    """An element. Children that are plain text are escaped, and so are attributes; ``stroke_width`` becomes ``stroke-width``.

    >>> tag("text", "<b> & co", x=1.5, font_size=3)
    Markup('<text x="1.5" font-size="3">&lt;b&gt; &amp; co</text>')
    """
    given = Markup("").join(
        Markup(' {}="{}"').format(key.rstrip("_").replace("_", "-"), _short(value))
        for key, value in attributes.items()
        if value is not None
    )
    return Markup("<{0}{1}>{2}</{0}>").format(Markup(name), given, Markup("").join(children))  # noqa: S704 - names are ours


def page(template: str, **values: object) -> str:
    """A template of this package, filled in; a name that it asks for and that is not given is an error."""
    folder = resources.files(__package__) / "templates"
    loader = jinja2.FunctionLoader(lambda name: (folder / name).read_text(encoding="utf-8"))
    environment = jinja2.Environment(
        autoescape=True, undefined=jinja2.StrictUndefined, trim_blocks=True, lstrip_blocks=True, loader=loader
    )
    return environment.get_template(template).render(**values)


def _short(value: object) -> str:
    """Numbers to the thousandth: a page of them stays small, and the same on every machine."""
    return f"{value:.3f}".rstrip("0").rstrip(".") if isinstance(value, float) else str(value)
