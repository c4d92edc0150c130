"""Pictures that runs named: found in folders without ever being led out of them, and known by what they hold."""

from collections.abc import Iterable, Sequence
from pathlib import Path

_HEAD = 12
_STARTS = ((b"\xff\xd8\xff", "jpeg"), (b"\x89PNG\r\n\x1a\n", "png"), (b"GIF8", "gif"))
"""How files of each sort begin; the suffix proves nothing. Drawings (SVG) are left out: they may hold programs."""


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


def found_in(folders: Sequence[Path], name: str) -> Path | None:
    """The file of a name in the first folder that has it, there or below; a name that leads out of it is not followed."""
    return next((file for folder in folders if (file := _inside(folder, name)) is not None), None)


def kind_of_picture(content: bytes) -> str | None:
    """What a page can show this as: ``jpeg``, ``png``, ``gif`` or ``webp``; None where it is no picture.

    >>> kind_of_picture(b"GIF89a"), kind_of_picture(b"<svg></svg>")
    ('gif', None)
    """
    if content[:4] == b"RIFF" and content[8:_HEAD] == b"WEBP":
        return "webp"
    return next((kind for start, kind in _STARTS if content.startswith(start)), None)


def kind_of_file(file: Path) -> str | None:
    """What a page can show a file as; None where it is no picture or cannot be read."""
    try:
        with file.open("rb") as stream:
            return kind_of_picture(stream.read(_HEAD))
    except OSError:
        return None


def _inside(folder: Path, name: str) -> Path | None:
    """The file of a name, if it lies in a folder or below it."""
    try:
        base = folder.resolve()
        file = (base / name.replace("\\", "/")).resolve()
        return file if file.is_relative_to(base) and file.is_file() else None
    except (OSError, ValueError):
        # A name that no file can have: too long, or with a zero byte.
        return None
