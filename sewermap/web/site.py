"""The web map as a folder: ``index.html`` opens from the disk, without a network and without a server."""

import json
from pathlib import Path
from typing import Any

from sewermap.errors import SewermapError
from sewermap.web import bundled
from sewermap.web.town_data import town_data
from sewermap.web.town_map import TownPage
from sewermap.web.town_tables import TownTables

__all__ = ["TownTables", "build"]


def build(tables: TownTables, outdir: Path) -> list[Path]:
    """Write the town's map into ``outdir`` (made if missing) and return the files written, ``index.html`` first.

    The same tables give the same files, byte for byte. Raises SewermapError when a layer does not say its CRS or the
    folder cannot be written.
    """
    data = town_data(tables)
    page = TownPage(tables.title, data["bounds"])
    texts = {"index.html": page.render(), "town.js": page.script_text(), "data.js": _call("sewermap.take", data)}
    try:
        outdir.mkdir(parents=True, exist_ok=True)
        return [_write(outdir / name, text) for name, text in texts.items()] + bundled.copy_into(outdir)
    except OSError as error:
        raise SewermapError(f"the map cannot be written to {outdir}: {error.strerror or error}; choose another folder") from error


def _call(function: str, data: dict[str, Any]) -> str:
    """A script that hands the data over. Escaped so far that it could even stand in a page without becoming markup."""
    text = json.dumps(data, ensure_ascii=True, allow_nan=False, separators=(",", ":"))
    return f"{function}({text.replace('<', chr(92) + 'u003c')});\n"


def _write(path: Path, text: str) -> Path:
    path.write_text(text, encoding="utf-8", newline="\n")
    return path
