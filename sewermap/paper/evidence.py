"""A folder of evidence: what was seen, read, placed and done, the pictures unaltered, and a checksum of every file.

``evidence.txt`` to be read, ``sightings.csv``, ``runs.csv`` and ``works.csv`` with source file and row, ``pictures/``, and
``SHA256SUMS``, which ``sha256sum -c SHA256SUMS`` checks. The same facts and pictures give the same bytes.

*When a folder may be written to.* When it is missing or empty; or when it holds an earlier evidence folder of the same thing that
nobody touched: ``evidence.txt`` begins with the same line, and every file in it is named by its ``SHA256SUMS`` and still has
that checksum. In any other folder nothing is altered.
"""

import hashlib
import os
import re
import shutil
import tempfile
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pandas as pd

from sewermap.answers.evidence import WARRANTY, Evidence
from sewermap.errors import SewermapError
from sewermap.paper import case_words as words
from sewermap.paper.evidence_files import Picture, find_pictures
from sewermap.paper.evidence_tables import HINT, csv_bytes
from sewermap.paper.letter import Block, Facts, Heading, Items, Paragraph, plain_text
from sewermap.paper.words import one_line
from sewermap.plain import records

SUMS, TOLD = "SHA256SUMS", "evidence.txt"
_SUM_LINE = re.compile(r"([0-9a-f]{64})  (.+)")

AS_TABLES = (
    "sightings.csv, runs.csv and works.csv hold the same as tables. Readings, kinds and remarks are as written; source_file and "
    "source_row say where (rows are counted from 1, the header being row 1), and source_sha256 is the checksum of that file."
)

Pictures = dict[tuple[str, str | None], Picture]


def write_evidence(case: Evidence, outdir: Path, folders: Sequence[Path]) -> tuple[list[str], list[str]]:
    """Write the folder; pictures are looked for in ``folders``, in their order. Returns the files written (paths in the folder)
    and the pictures that are missing, each with the reason.

    Raises SewermapError where the folder holds anything else, or cannot be written.
    """
    pictures = find_pictures(_named(case.sightings), folders)
    try:
        old = _old_files(outdir, _headline(case))
        outdir.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(dir=outdir, prefix=".sewermap-") as part:
            names = _fill(Path(part), case, pictures)
            for name in old:
                (outdir / name).unlink()
            for name in names:
                (outdir / name).parent.mkdir(exist_ok=True)
                (Path(part) / name).replace(outdir / name)
        if not any(name.startswith("pictures/") for name in names) and (outdir / "pictures").is_dir():
            (outdir / "pictures").rmdir()
    except OSError as error:
        raise SewermapError(f"'{outdir}' cannot be written: {error.strerror or error}; choose another folder") from error
    return names, [f"{one_line(one.name)}: {one.why}" for one in pictures.values() if one.file is None]


def _named(sightings: pd.DataFrame) -> list[tuple[str, str | None]]:
    """Pictures in the order of the sightings, each with the source file that names it."""
    rows = records(sightings[["picture", "source_file"]])
    return [(row["picture"], row["source_file"]) for row in rows if row["picture"] and row["picture"].strip()]


def _fill(folder: Path, case: Evidence, pictures: Pictures) -> list[str]:
    """Write all files into a folder that is empty; their names, the list of checksums last."""
    tables = {"sightings.csv": _with_files(case.sightings, pictures), "runs.csv": case.runs, "works.csv": case.works}
    contents = {TOLD: evidence_text(case, pictures).encode()} | {name: csv_bytes(rows) for name, rows in tables.items()}
    for name, content in contents.items():
        (folder / name).write_bytes(content)
    found = {one.target: one.file for one in pictures.values() if one.file is not None}
    if found:
        (folder / "pictures").mkdir()
    for target, file in found.items():
        shutil.copyfile(file, folder / target)
        # Its day is evidence too.
        os.utime(folder / target, ns=(file.stat().st_atime_ns, file.stat().st_mtime_ns))
    names = sorted([*contents, *found])
    sums = [f"{_sha256(folder / name)}  {name}\n" for name in names]
    (folder / SUMS).write_bytes("".join(sums).encode())
    return [*names, SUMS]


def _with_files(sightings: pd.DataFrame, pictures: Pictures) -> pd.DataFrame:
    """Sightings with ``picture_file``, the picture's path in the folder, beside its name as written."""
    keys = zip(sightings["picture"], sightings["source_file"], strict=True)
    files = [pictures[key].target or None if key in pictures else None for key in keys]
    at = list(sightings.columns).index("picture") + 1
    table = sightings.copy()
    table.insert(at, "picture_file", pd.Series(files, dtype=object))
    return table


def _old_files(outdir: Path, headline: str) -> list[str]:
    """The files of an earlier folder of the same thing, which may be replaced. Raises SewermapError for any other content."""
    if not outdir.exists():
        return []
    if not outdir.is_dir():
        raise SewermapError(f"'{outdir}' is a file: name a folder for the evidence")
    present = {file.relative_to(outdir).as_posix() for file in outdir.rglob("*") if file.is_symlink() or not file.is_dir()}
    if not present and not any(outdir.iterdir()):
        return []
    wrong = f"'{outdir}' is not empty and will not be touched, because"
    other = "name a folder that is new or empty"
    if not {SUMS, TOLD} <= present:
        raise SewermapError(f"{wrong} it is no evidence folder: {other}")
    first = (outdir / TOLD).read_text(encoding="utf-8", errors="replace").split("\n", 1)[0]
    if first != headline:
        raise SewermapError(f"{wrong} it is about something else ({one_line(first)}): {other}")
    lines = [_SUM_LINE.fullmatch(line) for line in (outdir / SUMS).read_text(encoding="utf-8", errors="replace").splitlines()]
    sums = {found[2]: found[1] for found in lines if found is not None}
    for name in sorted(present - {SUMS}):
        if (outdir / name).is_symlink() or not (outdir / name).is_file() or sums.get(name) != _sha256(outdir / name):
            raise SewermapError(f"{wrong} '{one_line(name)}' in it is not as it was written: {other}")
    return sorted(present)


def _sha256(file: Path) -> str:
    with file.open("rb") as content:
        return hashlib.file_digest(content, "sha256").hexdigest()


def _headline(case: Evidence) -> str:
    return one_line(f"Evidence for {case.what} {case.name}", 200)


def evidence_text(case: Evidence, pictures: Pictures) -> str:
    """What the folder holds, to be read; its first line names what it is about."""
    claims = case.facts["claims"]
    blocks: list[Block] = [
        Paragraph(f"As recorded up to {case.facts['as_of']}, that day included."),
        *words.stop_told(case),
        *_about(case),
        Heading("Sightings"),
    ]
    for claim in claims:
        seen = records(case.sightings[(case.sightings["issue"] == claim["issue"]).to_numpy()])
        why = [("why it is claimed", str(claim["reason"]))] if claim.get("reason") else []
        told = ("seen", *(words.sighting_told(row) for row in seen))
        blocks.append(Facts((("issue", str(claim["issue"])), *words.issue_rows(claim), *why, told)))
    if not claims:
        blocks.append(Paragraph("Nothing that could be claimed is recorded."))
    runs, works = [words.run_told(row) for row in records(case.runs)], [words.work_told(row) for row in records(case.works)]
    blocks += [Heading("Runs through the line"), Items(tuple(runs or ["none"]))]
    blocks += [Heading("Work on the line"), Items(tuple(works or ["none"])), *_pictures_told(pictures), *_how_to_read()]
    headline = _headline(case)
    return f"{headline}\n{'=' * len(headline)}\n\n{plain_text(blocks)}"


def _about(case: Evidence) -> list[Block]:
    if case.what != WARRANTY:
        issue: dict[str, Any] = case.facts["claims"][0]
        return [Facts((("building sewer", f"lateral {issue['lateral']}", words.place_told(issue)),))]
    warranty: dict[str, Any] = case.facts["warranty"]
    return [Facts((*words.line_rows(case.facts["lateral"], warranty["lateral"]), *words.warranty_rows(warranty)))]


def _pictures_told(pictures: Pictures) -> list[Block]:
    found = [f"{one.target}: written as {one.name}" for one in pictures.values() if one.file is not None]
    missing = [f"MISSING {one.name}: {one.why}" for one in pictures.values() if one.file is None]
    return [Heading("Pictures"), Items(tuple([*found, *missing] or ["none is named by these sightings"]))]


def _how_to_read() -> list[Block]:
    notes = (
        AS_TABLES,
        HINT,
        "sha256sum -c SHA256SUMS tells whether a file was altered since this folder was made.",
        words.PLACES,
    )
    return [Heading("How to read this folder"), Items(notes)]
