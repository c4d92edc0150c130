"""sewermap: building sewers on the map, with the history of every look into them.

``sewermap.open("town.gpkg")`` opens a database and gives its answers as GeoDataFrames; ``sewermap.create`` makes an empty one.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from sewermap.book import Book, Where

__version__ = "0.1.0"
__all__ = ["create", "open"]


def open(where: Where = "sewermap.gpkg", **options: Any) -> Book:  # noqa: A001 - the name a reader expects, as in gzip.open
    """Open a database: see ``sewermap.book.open_book``."""
    from sewermap.book import open_book  # noqa: PLC0415 - keeps `import sewermap` and the command line's help quick

    return open_book(where, **options)


def create(where: Where, crs: str | int) -> Book:
    """Create an empty database and open it: see ``sewermap.book.create_book``."""
    from sewermap.book import create_book  # noqa: PLC0415 - as above

    return create_book(where, crs)
