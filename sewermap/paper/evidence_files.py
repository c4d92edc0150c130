"""Names and places of the files in an evidence folder: what data say leads neither out of it nor out of the pictures' folder."""

import os
import re
import unicodedata
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

LONGEST_BYTES = 100
"""Of a file's name; every file system in use takes 255."""

_FORBIDDEN = re.compile(r'[<>:"/\\|?*]')
_NO_SIGN = ("Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp")


@dataclass(frozen=True)
class Picture:
    """A picture as a sighting names it: ``file`` where it was found and ``target``, its path in the folder; else ``why`` not."""

    name: str
    file: Path | None
    target: str = ""
    why: str = ""


def find_pictures(named: Iterable[tuple[str, str | None]], folders: Sequence[Path]) -> dict[tuple[str, str | None], Picture]:
    """Each picture named (as written, by which source file), looked for in the folders and, below each, beside its source file.

    The targets are numbered in the order given, so that no two are equal on any system, whatever the case of their letters.
    """
    found: dict[tuple[str, str | None], Picture] = {}
    targets: dict[Path, str] = {}
    for key in dict.fromkeys(named):
        picture = _found(*key, folders)
        if picture.file is not None:
            target = targets.setdefault(picture.file, f"pictures/{len(targets) + 1:04d}-{safe_name(picture.name)}")
            picture = Picture(picture.name, picture.file, target)
        found[key] = picture
    return found


def safe_name(name: str) -> str:
    r"""The last part of a path from data as a file's name that every system takes, after a number and a hyphen.

    Signs that Windows forbids and those that show nothing become ``_``; long ones are cut, the suffix kept.

    >>> safe_name("../../etc/passwd"), safe_name(r"C:\films\a<b>.JPG"), safe_name("con. ")
    ('passwd', 'a_b_.JPG', 'con')
    """
    last = re.split(r"[/\\]", name.rstrip("/\\"))[-1]
    plain = "".join("_" if unicodedata.category(sign) in _NO_SIGN else sign for sign in unicodedata.normalize("NFC", last))
    plain = _FORBIDDEN.sub("_", plain).rstrip(". ") or "unnamed"
    suffix = PurePosixPath(plain).suffix if len(PurePosixPath(plain).suffix.encode()) < LONGEST_BYTES // 4 else ""
    stem = plain.removesuffix(suffix).encode()[: LONGEST_BYTES - len(suffix.encode())].decode(errors="ignore")
    return f"{stem}{suffix}"


def _found(name: str, source_file: str | None, folders: Sequence[Path]) -> Picture:
    beside = PurePosixPath((source_file or "").replace("\\", "/")).parent
    written = name.strip().replace("\\", "/")
    outside = False
    for folder in folders:
        for path in (written, str(beside / written)):
            try:
                base = folder.resolve()
                # Links are followed first, so that none leads out either.
                file = (base / path).resolve()
                inside, is_there = file.is_relative_to(base), file.is_file()
            except (OSError, ValueError, RuntimeError):
                return Picture(name, None, why="no file can have such a name, or its folder may not be looked into")
            if inside and is_there:
                return Picture(name, file) if os.access(file, os.R_OK) else Picture(name, None, why="it may not be read")
            outside = outside or not inside
    if outside:
        return Picture(name, None, why="its path leads out of the folders that were searched, so it was not followed")
    return Picture(name, None, why="not found in the folders that were searched")
