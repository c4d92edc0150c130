"""Pictures that runs named: found in folders, and put into the page itself, so that one file can be sent and printed."""

import base64
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from sewermap.picture_files import found_in, kind_of_picture

LARGEST_BYTES = 2_000_000
"""A larger picture is named only: a sheet goes by mail to a crew's telephone."""


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


def _picture(name: str, folders: Sequence[Path]) -> Picture:
    found = found_in(folders, name)
    if found is None:
        return Picture(name, None, "not found here")
    try:
        if found.stat().st_size > LARGEST_BYTES:
            return Picture(name, None, "too large to be put on the sheet")
        content = found.read_bytes()
    except OSError:
        return Picture(name, None, "cannot be read")
    kind = kind_of_picture(content)
    if kind is None:
        return Picture(name, None, "no picture that a page can show")
    return Picture(name, f"data:image/{kind};base64,{base64.b64encode(content).decode('ascii')}")
