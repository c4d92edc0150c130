"""Pictures that runs named: found in folders, and put into the page itself, so that one file can be sent and printed."""

import base64
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

LARGEST_BYTES = 2_000_000
"""A larger picture is named only: a sheet goes by mail to a crew's telephone."""

_STARTS = ((b"\xff\xd8\xff", "image/jpeg"), (b"\x89PNG\r\n\x1a\n", "image/png"), (b"GIF8", "image/gif"))
"""How files of each sort begin; the suffix proves nothing. Drawings (SVG) are left out: they may hold programs."""


@dataclass(frozen=True)
class Picture:
    """A picture's name as written; ``data`` is its ``data:`` address where it could be put into the page, else ``why`` not."""

    name: str
    data: str | None
    why: str = ""


def pictures_in(names: Iterable[str], folders: Sequence[Path]) -> list[Picture]:
    """Each picture named, once, looked for in the folders in their order.

    A name that leads out of a folder (``../``, an absolute path) is not followed.
    """
    return [_picture(name, folders) for name in dict.fromkeys(names)]


def folders_beside(database: str, sources: Iterable[str]) -> list[Path]:
    """Where pictures are looked for when nobody says where: beside the database, and in the folders of its sources.

    ``sources`` are folders as the load wrote them down, relative to the database's own. A server's database lies in none.

    >>> [folder.as_posix() for folder in folders_beside("towns/quay.gpkg", ["logs/2024"])]
    ['towns', 'towns/logs/2024']
    """
    if "://" in database:
        return []
    beside = Path(database).parent
    return list(dict.fromkeys([beside, *(beside / source for source in sources)]))


def _picture(name: str, folders: Sequence[Path]) -> Picture:
    found = next((file for folder in folders if (file := _inside(folder, name)) is not None), None)
    if found is None:
        return Picture(name, None, "not found here")
    try:
        if found.stat().st_size > LARGEST_BYTES:
            return Picture(name, None, "too large to be put on the sheet")
        content = found.read_bytes()
    except OSError:
        return Picture(name, None, "cannot be read")
    kind = next((kind for start, kind in _STARTS if content.startswith(start)), None)
    if kind is None and content[:4] == b"RIFF" and content[8:12] == b"WEBP":
        kind = "image/webp"
    if kind is None:
        return Picture(name, None, "no picture that a page can show")
    return Picture(name, f"data:{kind};base64,{base64.b64encode(content).decode('ascii')}")


def _inside(folder: Path, name: str) -> Path | None:
    """The file of a name, if it lies in a folder or below it."""
    try:
        base = folder.resolve()
        file = (base / name.replace("\\", "/")).resolve()
        return file if file.is_relative_to(base) and file.is_file() else None
    except (OSError, ValueError):
        # A name that no file can have: too long, or with a zero byte.
        return None
