"""Typed notes: an observation whose reading or kind stands in a note is read out of it where that is safe.

``note`` keeps the note as it was typed, and says by being filled that the row was read so.
"""

from dataclasses import replace

import numpy as np
import pandas as pd

from etl.batch import Batch
from etl.fields.note_text import Note, read_note, words_of
from etl.problems import Finding, finding, warning
from sewermap.history.kinds import Vocabulary, kind_of
from sewermap.history.words import folded

REMARK = "remark"
"""The kind of what was noted at a reading without naming a kind."""

_FROM_WORDS = ("kind", "words", "danger", "remark", "doubt", "no_reading")
_FROM_FIGURES = ("reading", "to_reading", "percent", "clock_from", "clock_to")


def noted(batch: Batch) -> tuple[Batch, list[Finding]]:
    """The batch with cells filled from its notes, and what could not be read out of them.

    A note is read only where the cell of the reading or of the kind is empty; cells that are filled go first. Where a kind is
    not sure the row is a remark at its reading, with a warning; but what may be a cross-bore is one, so that nobody is hurt.
    Without a reading it is rejected. A note beside a filled reading and kind joins the remark.
    """
    note = batch.cells["note"] if batch.name == "observations" else pd.Series(dtype="str")
    if not note.notna().any():
        return batch, []
    empty = {name: batch.cells[name].isna() for name in ("reading", "kind")}
    is_read = note.notna() & (empty["reading"] | empty["kind"])
    batch = _joined_remarks(batch, note.notna() & ~is_read)
    said = _said(batch, note.where(is_read))
    other = said["reading"].notna() & ~empty["reading"] & ~_same(said["reading"], batch.cells["reading"])
    doubt = said["doubt"].where(~other, "its reading is not that of the reading's cell").where(is_read).astype("str")
    unsure = doubt.notna() & empty["kind"]
    cells, written = _filled(batch, said, is_read, unsure, doubt.notna())
    without = is_read & cells["reading"].isna()
    reason = said["no_reading"].fillna("it names no reading")
    kept = "kept as a " + said["danger"].fillna(REMARK) + " at its reading: "
    hint = "; write the reading first, as in 31.5 roots 30%, or into its own cell"
    batch = replace(batch, cells=cells, written=written)
    return batch, [
        finding(without, "note", "no reading can be read out of the note: " + reason + hint, value=note),
        warning(unsure & ~without, "note", kept + doubt, value=note),
    ]


def _same(one: "pd.Series[str]", other: "pd.Series[str]") -> "pd.Series[bool]":
    """Where two readings are the same text, or plain numbers of the same worth."""
    return one.eq(other) | pd.to_numeric(one, errors="coerce").eq(pd.to_numeric(other, errors="coerce"))


def _said(batch: Batch, notes: "pd.Series[str]") -> pd.DataFrame:
    """What each note says, a column a field; each different note is read once."""
    given = (batch.section.values or {}).get("kind", {})  # noqa: PD011 (a section's, no frame's)
    own = {folded(theirs): kind_of(ours, batch.vocabulary) for theirs, ours in given.items()}
    words = words_of({**batch.vocabulary.synonyms, **own})
    codes, unique = pd.factorize(notes)
    rows = [_row(read_note(str(text), words), batch.vocabulary) for text in unique]
    table = pd.DataFrame([*rows, {}], columns=[*_FROM_FIGURES, *_FROM_WORDS], dtype="str")
    return table.iloc[codes].set_axis(notes.index)


def _row(note: Note, vocabulary: Vocabulary) -> dict[str, object]:
    row = {name: getattr(note.figures, name) for name in (*_FROM_FIGURES, "no_reading")}
    row |= {"kind": note.kind, "words": note.words, "remark": note.remark, "doubt": note.doubt}
    cautions = {kind: vocabulary.caution[vocabulary.code(kind)] for kind in sorted(note.not_denied)}
    row["danger"] = next((kind for kind, caution in cautions.items() if caution), "")
    if row["danger"] and note.doubt:
        row["doubt"] = f"{note.doubt}; {cautions[row['danger']]}"
    return {name: value or np.nan for name, value in row.items()}


def _filled(
    batch: Batch, said: pd.DataFrame, is_read: "pd.Series[bool]", unsure: "pd.Series[bool]", doubt: "pd.Series[bool]"
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Cells, and cells as written, with what the notes say where they are empty."""
    cells, written = batch.cells.copy(), batch.written.copy()
    figures = said.mask(doubt, other=pd.DataFrame({"reading": said["reading"]}).reindex(columns=said.columns))
    for name in _FROM_FIGURES:
        cells[name] = cells[name].fillna(figures[name])
        written[name] = written[name].fillna(figures[name])
    kind = said["kind"].mask(unsure, said["danger"].fillna(REMARK))
    cells["kind"] = cells["kind"].fillna(kind)
    written["kind"] = written["kind"].fillna(said["words"].mask(unsure))
    whole = batch.cells["note"].where(is_read)
    cells["remark"] = cells["remark"].fillna(whole.where(doubt, said["remark"]))
    return cells, written


def _joined_remarks(batch: Batch, beside: "pd.Series[bool]") -> Batch:
    """Notes of rows that need none, as remarks: what is written is kept, and nothing claims to be read out of it."""
    if not beside.any():
        return batch
    remark, note = batch.cells["remark"], batch.cells["note"]
    joined = (remark + "; " + note).fillna(note)
    cells = batch.cells.assign(remark=remark.where(~beside, joined), note=note.mask(beside))
    return replace(batch, cells=cells)
