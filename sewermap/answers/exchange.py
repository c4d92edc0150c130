"""Runs and observations into the exchange form of EN 13508-2 (XML: DATA, ZA, ZB, ZC), as far as its public description goes.

What each letter holds, and from where that is known, says docs/exchange.md. What no letter holds stands in elements of our own
namespace, so that loading the file again gives the same rows. No conformity with the standard is claimed.
"""

import re
import tempfile
from collections.abc import Mapping
from pathlib import Path
from xml.sax.saxutils import escape

import pandas as pd

from sewermap.errors import SourceError
from sewermap.history.kinds import Vocabulary, vocabulary

OURS = "urn:sewermap:exchange:1"
SUFFIX = ".xml"

_RUN_LETTERS = {"AAA": "lateral", "ABF": "ran_on", "ABH": "crew", "ABI": "run", "ABS": "film", "ADE": "remark"}
_RUN_OURS = ("unit", "launch", "direction", "launch_measure_m", "launch_reading", "end_reading", "lead_in", "reason")
_LETTERS = {
    "A": "code", "F": "remark", "G": "clock_from", "H": "clock_to", "I": "reading_m", "M": "picture", "N": "film_time",
}  # fmt: skip
_OURS = (
    "kind", "reading", "to_reading", "percent", "grade", "material_after", "referent", "located_x", "located_y", "located_crs",
    "depth_m", "note",
)  # fmt: skip
_NO_XML = re.compile(r"[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
"""Characters that no XML 1.0 file can hold (its production 2)."""

_HEAD = f'<?xml version="1.0" encoding="UTF-8"?>\n<DATA xmlns:s="{OURS}">\n<ZA>\n<A2>en</A2>\n<A6>2010</A6>\n</ZA>\n'


def write_exchange(runs: pd.DataFrame, observations: pd.DataFrame, out: Path) -> dict[str, int]:
    """Write the current rows of both tables to ``out``, replacing it as a whole; gives what was left out: rows by kind.

    Left out are observations of kinds without a main code in ``kinds.toml``, and those whose run is not there (by the name
    ``run NAME``). Raises SourceError where the file cannot be written, or a text holds a character that XML cannot.
    """
    text, left = exchange_text(runs, observations)
    if not out.parent.is_dir():
        raise SourceError(f"there is no folder '{out.parent}' to write '{out.name}' to; make it first")
    try:
        with tempfile.TemporaryDirectory(dir=out.parent, prefix=".sewermap-") as folder:
            part = Path(folder) / out.name
            part.write_text(text, encoding="utf-8", newline="")
            part.replace(out)
    except OSError as error:
        raise SourceError(f"'{out}' cannot be written: {error.strerror or error}") from error
    return left


def exchange_text(runs: pd.DataFrame, observations: pd.DataFrame) -> tuple[str, dict[str, int]]:
    """The text of a file (it says that it is UTF-8), and what it leaves out: rows by kind. As ``write_exchange``."""
    ours: Vocabulary = vocabulary()
    code = observations["kind"].map(dict(zip(ours.names, ours.en13508, strict=True))).astype("str")
    code = code.mask(code == "")
    known = observations["run"].isin(runs["run"])
    kept = (code.notna() & known).to_numpy(bool)
    lost = observations["kind"].where(known, "run " + observations["run"])[~kept]
    rows = observations[kept].assign(code=code[kept])
    inside = _elements(rows, _LETTERS, _OURS)
    by_run = ("<ZC>\n" + inside + "</ZC>\n").groupby(rows["run"].to_numpy(), sort=False).agg("".join)
    runs = runs.assign(ran_on=runs["ran_on"].dt.strftime("%Y-%m-%d").astype("str"))
    all_of_run = runs["run"].map(by_run).astype("str").fillna("")
    blocks = "<ZB>\n" + _elements(runs, _RUN_LETTERS, _RUN_OURS) + all_of_run + "</ZB>\n"
    text = _HEAD + "".join(blocks) + "</DATA>\n"
    if bad := _NO_XML.search(text):
        raise SourceError(f"a text holds the character U+{ord(bad[0]):04X}, which XML cannot; correct it in its file")
    return text, {str(kind): int(count) for kind, count in lost.value_counts().sort_index().items()}


def _elements(rows: pd.DataFrame, letters: Mapping[str, str], ours: tuple[str, ...]) -> "pd.Series[str]":
    """The fields of each row as elements, letters first; nothing where a cell is empty."""
    told = pd.Series("", index=rows.index, dtype="str")
    names = {letter: column for letter, column in letters.items() if column in rows}
    names |= {f"s:{column.removesuffix('_m')}": column for column in ours if column in rows}
    for name, column in names.items():
        told = told + (f"<{name}>" + _texts(rows[column], name) + f"</{name}>\n").fillna("")
    return told


def _texts(column: "pd.Series[str]", name: str) -> "pd.Series[str]":
    """Cells as XML text: lengths (``I``) to a millimetre, other numbers as short as they read back the same."""
    if pd.api.types.is_numeric_dtype(column):
        form = "{:.3f}".format if name == "I" else "{!r}".format
        texts = column.astype(float).map(form, na_action="ignore").astype("str")
        return texts if name == "I" else texts.str.removesuffix(".0")
    return column.map(_escaped, na_action="ignore").astype("str")


def _escaped(text: object) -> str:
    return escape(str(text), {"\r": "&#13;"})
