"""A site as a folder that opens from a disk, a share or any web server, without a network."""

from collections.abc import Callable
from pathlib import Path

from sewermap.errors import SewermapError
from sewermap.web.script_bundles import with_bundles
from sewermap.web.site_folder import write_folder
from sewermap.web.site_index import site_index
from sewermap.web.site_pages import makers
from sewermap.web.site_tables import SiteTables
from sewermap.web.words import Words, words_file

Progress = Callable[[str, int, int], None]
"""Told before each step: what is made now, how many steps are done, of how many."""


def site_files(tables: SiteTables, progress: Progress | None = None) -> dict[str, str | bytes]:
    """Every file of a site by name. The same tables give the same bytes. Raises SewermapError."""
    tell = progress or _silent
    steps = makers(tables)
    files: dict[str, str | bytes] = {"data/words.js": words_file(Words(tables.language), tables)}
    index = site_index(tables)
    for done, (what, make) in enumerate(steps.items()):
        tell(what, done, len(steps) + 1)
        made = make(tables, index)
        twice = sorted(set(made) & set(files))
        if twice:
            raise SewermapError(f"two parts of the site both make '{twice[0]}'; this is a fault of the program")
        files.update(made)
    return with_bundles(files)


def build_site(tables: SiteTables, outdir: Path, progress: Progress | None = None) -> list[Path]:
    """Write a site into ``outdir`` (made if missing), all of it or nothing, and return its files, ``index.html`` first.

    Files of an earlier build that are no longer made are removed; a file that no build made is never touched. Raises
    SewermapError when a layer does not say its CRS or the folder cannot be written.
    """
    files = site_files(tables, progress)
    if progress is not None:
        progress("the folder", len(makers(tables)), len(makers(tables)) + 1)
    return write_folder(files, outdir)


def _silent(what: str, done: int, steps: int) -> None:
    """Tell nobody."""
