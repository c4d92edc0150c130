"""The text of a sheet to records, and the lines that are no record.

The fast way (pandas' parser) is taken where nothing can be misread: no quotation mark, no NUL, and as many separators in
every line as in the header. Else Python's csv module reads record by record, strictly: a quotation mark that is opened
and not closed where a cell ends spoils its own line, never the lines after it.
"""

import csv
import io
import itertools
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from etl.sources.decode import has_no_text

SEPARATORS = (",", ";", "\t", "|")
_SHOWN = 120
_LOOKED_AT = 50
csv.field_size_limit(2**31 - 1)


@dataclass(frozen=True)
class Records:
    """Header, cells by column (text, empty where nothing stands), record numbers from 1, and what was wrong."""

    header: list[str]
    columns: list["pd.Series[str]"]
    row: NDArray[np.int64]
    broken: list[tuple[int, str, str]]


def separator_of(text: str) -> str:
    r"""The separator that gives most lines as many cells as the header; more cells win a tie.

    >>> separator_of("run;reading\nR1;4,5\nR2;13,2\n")
    ';'
    """
    lines = text[:100_000].splitlines()[:_LOOKED_AT]

    def fitness(separator: str) -> tuple[float, int]:
        counts = [len(cells) for cells in csv.reader(lines, delimiter=separator) if cells]
        if not counts or counts[0] == 1:
            return (0.0, 1)
        return (sum(count == counts[0] for count in counts) / len(counts), counts[0])

    return max(SEPARATORS, key=fitness)


def records_of(text: str, separator: str) -> Records | None:
    """All records of a sheet; None when it holds not even a header. Blank lines are counted but are no record."""
    if not text.strip():
        return None
    return _fast(text, separator) or _careful(text, separator)


def _fast(text: str, separator: str) -> Records | None:
    content = text.encode("utf-8", errors="surrogatepass")
    first, _, rest = content.partition(b"\n")
    if b'"' in content or b"\0" in content or b"\xed" in content or not first.strip() or not rest.strip():
        return None
    if b"\r" in content.replace(b"\r\n", b"") or not _even(content, separator.encode()):
        return None
    header = next(csv.reader([first.decode()], delimiter=separator))
    frame = pd.read_csv(
        io.BytesIO(content), sep=separator, header=None, skiprows=1, dtype="str", na_filter=False, skip_blank_lines=False,
        quoting=csv.QUOTE_NONE, engine="c", encoding="utf-8", names=range(len(header)),
    )  # fmt: skip
    row = np.arange(2, len(frame) + 2, dtype=np.int64)
    columns = [frame[name] for name in frame.columns]
    return _without_blank(Records(header, columns, row, []))


def _even(content: bytes, separator: bytes) -> bool:
    """Whether each line that is not blank has as many separators as the first."""
    signs = np.frombuffer(content, dtype=np.uint8)
    ends = np.append(np.flatnonzero(signs == ord("\n")), len(signs))
    counts = np.diff(np.concatenate([[0], np.searchsorted(np.flatnonzero(signs == ord(separator)), ends)]))
    lengths = np.diff(np.concatenate([[-1], ends])) - 1
    before = signs[np.maximum(ends - 1, 0)]
    blank = (lengths == 0) | ((lengths == 1) & (before == ord("\r")))
    return bool(np.all(blank | (counts == counts[0])))


def _without_blank(records: Records) -> Records:
    some = np.zeros(len(records.row), dtype=bool)
    for column in records.columns:
        some |= (column.str.strip() != "").to_numpy(dtype=bool)
    if some.all():
        return records
    columns = [column[some].reset_index(drop=True) for column in records.columns]
    return Records(records.header, columns, records.row[some], records.broken)


def _careful(text: str, separator: str) -> Records | None:
    reader = _Strict(list(io.StringIO(text, newline="")), separator)
    numbers, rows = reader.records()
    start = next((at for at, cells in enumerate(rows) if any(cell.strip() for cell in cells)), None)
    if start is None:
        return None
    header, rows, row = rows[start], rows[start + 1 :], np.array(numbers[start + 1 :], dtype=np.int64)
    good = np.fromiter(map(len, rows), dtype=np.int64, count=len(rows)) == len(header)
    if has_no_text(text):
        good &= ~np.fromiter((has_no_text("".join(cells)) for cells in rows), dtype=bool, count=len(rows))
    broken = reader.broken + [
        (int(row[at]), _shown(separator.join(rows[at])), _fault(rows[at], header))
        for at in np.flatnonzero(~good).tolist()
        if any(cell.strip() for cell in rows[at])
    ]
    by_column = list(zip(*itertools.compress(rows, good), strict=True)) or [()] * len(header)
    columns = [pd.Series(pd.array(list(cells), dtype="str")) for cells in by_column]
    return _without_blank(Records(header, columns, row[good], sorted(broken)))


def _fault(cells: list[str], header: list[str]) -> str:
    if len(cells) == len(header):
        return "the row holds bytes that are no text (NUL or another code page)"
    many = "many" if len(cells) > len(header) else "few"
    return f"the row has too {many} cells: {len(cells)}, and the header has {len(header)}"


def _shown(text: str) -> str:
    """A value fit for a list: short, and without signs that no database takes."""
    shown = text.encode("utf-8", errors="replace").decode().replace("\0", "␀").rstrip("\r\n")
    return shown if len(shown) <= _SHOWN else shown[: _SHOWN - 1] + "…"


class _Strict:
    """Reads lines as csv does, but gives up a line whose quotation marks do not pair, and goes on with the next."""

    def __init__(self, lines: list[str], separator: str) -> None:
        self.lines = lines
        self.separator = separator
        self.broken: list[tuple[int, str, str]] = []
        header = next((line for line in lines if line.strip()), "")
        self.enough = len(next(csv.reader([header], delimiter=separator), [])) - 1

    def records(self) -> tuple[list[int], list[list[str]]]:
        """All records that can be read, and their numbers from 1; those that cannot are in ``broken`` and are counted too."""
        numbers: list[int] = []
        records: list[list[str]] = []
        at, number = 0, 1
        while at < len(self.lines):
            taken, used = self._stretch(at)
            numbers.extend(range(number, number + len(taken)))
            records.extend(taken)
            at, number = at + used, number + len(taken)
            if at < len(self.lines):
                reason = "a quotation mark is opened and not closed in this line"
                self.broken.append((number, _shown(self.lines[at]), reason))
                at, number = at + 1, number + 1
        return numbers, records

    def _stretch(self, start: int) -> tuple[list[list[str]], int]:
        """Records from a line on, up to the first that is malformed, and how many lines they took."""
        taken: list[list[str]] = []
        used = 0
        lines = self.lines[start:] if start else self.lines
        reader = csv.reader(lines, delimiter=self.separator, strict=True)
        try:
            for cells in reader:
                if reader.line_num - used > 1 and self._swallows(lines[used], lines[reader.line_num - 1]):
                    return taken, used
                taken.append(cells)
                used = reader.line_num
        except csv.Error:
            return taken, used
        return taken, used

    def _swallows(self, first: str, last: str) -> bool:
        """Whether a record over several lines is rather two rows, each with a quotation mark too many: both its first and
        its last line are as long as a row.
        """
        return self.enough > 0 and min(first.count(self.separator), last.count(self.separator)) >= self.enough
