"""The files that every page needs, packaged beside this module and copied next to each site."""

from collections.abc import Iterator
from importlib import resources
from importlib.resources.abc import Traversable


def template(name: str) -> str:
    """The text of a page's template."""
    return (resources.files(__package__) / "templates" / name).read_text(encoding="utf-8")


def contents() -> dict[str, bytes]:
    """Every static file by its name in a site's folder."""
    return {f"static/{name}": file.read_bytes() for name, file in _files(resources.files(__package__) / "static")}


def _files(folder: Traversable, prefix: str = "") -> Iterator[tuple[str, Traversable]]:
    for entry in sorted(folder.iterdir(), key=lambda entry: entry.name):
        if entry.is_dir():
            yield from _files(entry, f"{prefix}{entry.name}/")
        else:
            yield f"{prefix}{entry.name}", entry
