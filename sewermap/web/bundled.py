"""The files that every page needs, packaged beside this module and copied next to each site."""

from collections.abc import Iterator
from importlib import resources
from importlib.resources.abc import Traversable
from pathlib import Path

SCRIPTS = (
    "leaflet/leaflet.js",
    *("sewermap.js", "columns.js", "projection.js", "words.js", "symbols.js", "ground.js", "labels.js", "dots.js"),
    *("finding.js", "filters.js", "rows.js", "list.js", "unplaced.js", "legend.js", "popup.js", "picking.js", "view.js"),
)
"""In the order in which a page loads them: each uses only those before it."""

STYLES = ("leaflet/leaflet.css", "town.css")


def template(name: str) -> str:
    """The text of a page's template."""
    return (resources.files(__package__) / "templates" / name).read_text(encoding="utf-8")


def copy_into(folder: Path) -> list[Path]:
    """Copy every static file into ``folder``/static and say which files are there now."""
    return [_copy(file, folder / "static" / name) for name, file in _files(resources.files(__package__) / "static")]


def _files(folder: Traversable, prefix: str = "") -> Iterator[tuple[str, Traversable]]:
    for entry in sorted(folder.iterdir(), key=lambda entry: entry.name):
        if entry.is_dir():
            yield from _files(entry, f"{prefix}{entry.name}/")
        else:
            yield f"{prefix}{entry.name}", entry


def _copy(file: Traversable, target: Path) -> Path:
    target.parent.mkdir(parents=True, exist_ok=True)
    target.write_bytes(file.read_bytes())
    return target
