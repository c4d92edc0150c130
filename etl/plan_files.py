"""Which files a ``from`` names: paths and patterns, told from the folder of the SOURCES.toml."""

import glob
from collections.abc import Iterable
from pathlib import Path

from etl.vocabulary import near
from sewermap.errors import SourceError

_LOCKS = ("~$", ".~lock.")
"""How the names begin of files that spreadsheets put beside a workbook as long as it is open; a pattern does not mean them."""


def files_named(folder: Path, patterns: Iterable[str], *, stick: bool = False) -> tuple[Path, ...]:
    """The files that paths and patterns (``*``, ``?``, ``**``) name, each once, sorted by name.

    A File Geodatabase is a folder whose name ends in ``.gdb``; no other folder is taken. Of a camera's ``stick`` suffixes may be
    in capitals, and not every pattern needs to be there. Raises SourceError (without the file's and section's name, which the
    caller knows) for a pattern that nothing matches.
    """
    found: set[Path] = set()
    missing: list[SourceError] = []
    for pattern in patterns:
        try:
            found.update(_matches(folder, pattern, any_case(pattern) if stick else pattern))
        except SourceError as error:
            missing.append(error)
    if missing and not (stick and found):
        raise missing[0]
    return tuple(sorted(found))


def any_case(pattern: str) -> str:
    """A pattern that takes suffixes in capitals and small letters alike: cameras write ``.JPG``.

    >>> any_case("stick/**/*.jpg"), any_case("stick/IMG_1.jpg")
    ('stick/**/*.[jJ][pP][gG]', 'stick/IMG_1.jpg')
    """
    stem, dot, suffix = pattern.rpartition(".")
    if not dot or not glob.has_magic(stem) or not suffix.isalnum():
        return pattern
    return stem + dot + "".join(f"[{sign.lower()}{sign.upper()}]" if sign.isalpha() else sign for sign in suffix)


def _matches(folder: Path, pattern: str, meant: str) -> list[Path]:
    literal = folder / pattern
    if literal.exists():  # a name may hold brackets, which a pattern would read otherwise
        if not _is_source(literal):
            raise SourceError(f"from = {pattern!r} is a folder; name the files in it, as in {pattern.rstrip('/')}/*.csv")
        return [literal.resolve()]
    matches = [(folder / name).resolve() for name in glob.glob(meant, root_dir=folder, recursive=True)]  # noqa: PTH207 (pathlib's own refuses absolute patterns and ..)
    matches = [path for path in matches if _is_source(path) and not path.name.startswith(_LOCKS)]
    if not matches:
        raise SourceError(f"no file matches from = {pattern!r}{_hint(literal)}")
    return matches


def _is_source(path: Path) -> bool:
    return path.is_file() or path.suffix.casefold() == ".gdb"


def _hint(wanted: Path) -> str:
    if not wanted.parent.is_dir():
        return f"; there is no folder {wanted.parent.name}" if not glob.has_magic(str(wanted.parent)) else ""
    return f"; in its folder, {near(wanted.name, sorted(path.name for path in wanted.parent.iterdir())[:50])}"
