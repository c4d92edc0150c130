"""A site's files into its folder: all of them or none, and never a stranger's file touched."""

import tempfile
from collections.abc import Mapping
from pathlib import Path, PurePosixPath

from sewermap.errors import SewermapError

MANIFEST = "data/files.txt"
"""The list of a site's own files, one a line: what an earlier build made, a later one may replace or remove."""


def write_folder(files: Mapping[str, str | bytes], outdir: Path) -> list[Path]:
    """Write files (names with ``/``, relative to ``outdir``) and return their paths, ``index.html`` first.

    All are written beside their places before the first is moved in, so a full disk leaves the folder as it was. What an
    earlier build made and this one does not is removed. Raises SewermapError where a file that no build made stands in the way,
    or the folder cannot be written.
    """
    listed = "".join(f"{name}\n" for name in sorted({*files, MANIFEST}))
    try:
        before = _made_before(outdir)
        _refuse_strangers(files, before, outdir)
        outdir.mkdir(parents=True, exist_ok=True)
        # Inside the folder: a file moved within one file system is moved whole.
        with tempfile.TemporaryDirectory(prefix=".building-", dir=outdir) as beside:
            for name, content in {**files, MANIFEST: listed}.items():
                _write(Path(beside) / name, content)
            # Should the computer stop halfway, the next build still knows all that either made.
            _write(Path(beside) / "both", "".join(f"{name}\n" for name in sorted({*before, *files, MANIFEST})))
            _move(Path(beside) / "both", outdir / MANIFEST)
            for name in sorted(files, key=lambda name: (name.endswith(".html"), name)):
                _move(Path(beside) / name, outdir / name)
            _remove(before - set(files) - {MANIFEST}, outdir)
            _move(Path(beside) / MANIFEST, outdir / MANIFEST)
    except OSError as error:
        raise SewermapError(
            f"the site cannot be written to {outdir}: {error.strerror or error}; choose another folder"
        ) from error
    return [outdir / name for name in sorted({*files, MANIFEST}, key=lambda name: (name != "index.html", name))]


def _made_before(outdir: Path) -> set[str]:
    """Names that an earlier build listed; a name that leads out of the folder is none of ours."""
    manifest = outdir / MANIFEST
    if not manifest.is_file():
        return set()
    names = manifest.read_text(encoding="utf-8").splitlines()
    return {name for name in names if name and not PurePosixPath(name).is_absolute() and ".." not in PurePosixPath(name).parts}


def _refuse_strangers(files: Mapping[str, str | bytes], before: set[str], outdir: Path) -> None:
    strange = sorted(name for name in {*files, MANIFEST} - before if (outdir / name).exists())
    if strange:
        raise SewermapError(
            f"'{outdir / strange[0]}' is there already and was not made by an earlier site; choose another folder, or remove it"
        )


def _write(path: Path, content: str | bytes) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(content if isinstance(content, bytes) else content.encode("utf-8"))


def _move(source: Path, target: Path) -> None:
    target.parent.mkdir(parents=True, exist_ok=True)
    source.replace(target)


def _remove(names: set[str], outdir: Path) -> None:
    """Take away files of an earlier build, and the folders that are empty then."""
    for name in names:
        (outdir / name).unlink(missing_ok=True)
    folders = {parent for name in names for parent in PurePosixPath(name).parents if str(parent) != "."}
    for folder in sorted(folders, key=str, reverse=True):
        place = outdir / folder
        if place.is_dir() and not any(place.iterdir()):
            place.rmdir()
