"""A town's codes to our kinds: the file that ``[crosswalk] from`` names, and the report of codes that have no partner.

Its columns: code, kind, size rule, note. A code that ends in ``*`` stands for all that begin so; an exact code goes first, then
the longest beginning. A code without a kind is known to have no partner here: its rows are kept as remarks, and listed.
"""

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np
import pandas as pd

from etl.problems import empty_broken
from etl.vocabulary import fold, near, plain
from sewermap.errors import SourceError, UnknownNameError
from sewermap.history.kinds import Vocabulary, kind_of

COLUMNS = ("code", "kind", "size rule", "note")
NO_PARTNER = "remark"
"""The kind that keeps what has no kind."""

_SAME = re.compile(r"(percent|grade|to_reading|clock_from|clock_to)(?:\s*=\s*(.+))?")
_SHARE = re.compile(r"mm of (\d+(?:\.\d+)?)(?:\s*mm)?\s*=\s*(.+)")
_CLASSES = re.compile(r"classes(?: of ([^:]+?))?\s*:\s*(.+)")
_RULES = "write percent, percent = COLUMN, grade = COLUMN, mm of 150 = COLUMN or classes of COLUMN: A=10, B=30"
_Texts = Callable[["pd.Series[str]"], "pd.Series[str]"]


@dataclass(frozen=True)
class SizeRule:
    """How their size becomes ours: the field it goes to, the column of theirs (None: the field's own), and the conversion."""

    field: str
    column: str | None
    convert: _Texts


def size_rule(text: str) -> SizeRule:
    """The rule that a cell states. Raises SourceError for a text that is none.

    >>> rule = size_rule("classes of Class: A=10, B=30")
    >>> rule.field, rule.column, rule.convert(pd.Series(["b", "C"])).tolist()
    ('percent', 'Class', ['30', 'C'])
    >>> size_rule("mm of 150 = D").convert(pd.Series(["45"])).tolist()
    ['30']
    """
    text = " ".join(text.split())
    if same := _SAME.fullmatch(text):
        return SizeRule(same[1], same[2], _unchanged)
    if share := _SHARE.fullmatch(text):
        if float(share[1]) > 0:
            return SizeRule("percent", share[2], partial(_share, of_mm=float(share[1])))
    elif classes := _CLASSES.fullmatch(text):
        pairs = [pair.split("=") for pair in classes[2].split(",")]
        if all(len(pair) == len(("A", "10")) and all(part.strip() for part in pair) for pair in pairs):
            return SizeRule("percent", classes[1], partial(_classed, by={fold(one): size.strip() for one, size in pairs}))
    raise SourceError(f"{text!r} is no size rule; {_RULES}")


class Crosswalk(Mapping[str, str]):
    """Folded codes to our kinds; looking up a code also finds the longest beginning (``ROT*``) that it has."""

    def __init__(
        self, words: Mapping[str, str], sizes: Mapping[str, SizeRule] | None = None, lost: frozenset[str] = frozenset()
    ) -> None:
        """``words``: kinds by folded code; ``sizes``: rules by the same; ``lost``: those known to have no partner."""
        self._words = dict(words)
        self._sizes = dict(sizes or {})
        self._lost = lost
        self._stems = sorted((code[:-1] for code in words if code.endswith("*")), key=len, reverse=True)

    def __getitem__(self, code: str) -> str:
        """The kind of a folded code. Raises KeyError."""
        key = self.entry(code)
        if key is None:
            raise KeyError(code)
        return self._words[key]

    def __iter__(self) -> Iterator[str]:
        """The codes as the file has them, folded."""
        return iter(self._words)

    def __len__(self) -> int:
        """How many codes there are."""
        return len(self._words)

    def entry(self, code: str) -> str | None:
        """The entry that a folded code falls under, None where there is none."""
        if code in self._words:
            return code
        return next((f"{stem}*" for stem in self._stems if code.startswith(stem)), None)

    def over(self, words: Mapping[str, str]) -> "Crosswalk":
        """The same with these words under it: they hold where it says nothing of the very same code."""
        return Crosswalk({**words, **self._words}, self._sizes, self._lost)

    def under(self, words: Mapping[str, str]) -> "Crosswalk":
        """The same with these words over it."""
        sizes = {code: rule for code, rule in self._sizes.items() if code not in words}
        return Crosswalk({**self._words, **words}, sizes, self._lost - set(words))

    def sized(self, cells: pd.DataFrame, theirs: pd.DataFrame) -> pd.DataFrame:
        """``cells`` (by field) with sizes by the rules of their codes; ``theirs``: all columns of the file, the same rows.

        Raises SourceError for a rule that names a column the file lacks.
        """
        if not self._sizes or "kind" not in cells:
            return cells
        codes, unique = pd.factorize(cells["kind"])
        entries = np.array([*(self.entry(fold(str(code))) for code in unique), None], dtype=object)[codes]
        columns = dict(cells.items())
        for code, rule in self._sizes.items():
            where = entries == code
            if where.any():
                now = columns.get(rule.field, pd.Series(np.nan, index=cells.index, dtype="str"))
                source = now if rule.column is None else theirs[_column(rule.column, theirs, code)]
                columns[rule.field] = now.mask(where, rule.convert(source[where]).reindex(cells.index)).astype("str")
        return pd.DataFrame(columns, index=cells.index)

    def told(self, kinds: "pd.Series[str]", rows: pd.Series, vocabulary: Vocabulary) -> pd.DataFrame:
        """The codes of one file without a partner, each once: row (the first), field, value, reason; as ``aside`` of ``Rows``.

        ``kinds``: the cells as written; ``rows``: the row of each.
        """
        found = pd.DataFrame({"value": kinds, "row": rows}).dropna()
        by_code = found.groupby("value", sort=False)["row"].agg(["first", "size"])
        reasons = [self._reason(str(code), int(count), vocabulary) for code, count in by_code["size"].items()]
        listed = by_code.rename_axis("value").reset_index().assign(field="kind", reason=reasons).rename(columns={"first": "row"})
        listed = listed.loc[listed["reason"] != "", ["row", "field", "value", "reason"]]
        return listed.astype({"field": "str", "value": "str", "reason": "str"}) if len(listed) else empty_broken()

    def _reason(self, code: str, count: int, vocabulary: Vocabulary) -> str:
        rows = "1 row" if count == 1 else f"{count} rows"
        entry = self.entry(fold(code))
        if entry in self._lost:
            return f"the crosswalk gives the code no kind: {rows} kept as {NO_PARTNER}, with the code as written"
        if entry is not None:
            return ""
        try:
            kind_of(code, vocabulary)
        except UnknownNameError:
            return f"the code has no partner in the crosswalk: {rows} not loaded; give it a kind there, or an empty one"
        return ""


def crosswalk_of(cells: pd.DataFrame, rows: Sequence[int], file: str, vocabulary: Vocabulary) -> Crosswalk:
    """The crosswalk that a table holds; ``rows``: the number of each of its rows.

    Raises SourceError for a table without codes and kinds, an unknown kind, a rule that is none, and a code that stands twice
    with two meanings.
    """
    theirs = {plain(str(name)): str(name) for name in cells.columns}
    missing = [name for name in COLUMNS[:2] if name not in theirs]
    if missing:
        raise SourceError(f"{file} has no column {' and no column '.join(missing)}; a crosswalk has {', '.join(COLUMNS)}")
    column = [cells[theirs[name]] if name in theirs else pd.Series(np.nan, cells.index) for name in COLUMNS[:3]]
    column.append(cells[theirs["size"]] if "size" in theirs and "size rule" not in theirs else column[2])
    words: dict[str, str] = {}
    sizes: dict[str, SizeRule] = {}
    lost: set[str] = set()
    for row, code, kind, size in zip(rows, column[0], column[1], column[3], strict=True):
        where = f"{file}, row {row}"
        entry = fold(_text(code))
        if entry in {"", "*"}:
            raise SourceError(f"{where}: there is no code")
        meant = _kind(_text(kind), vocabulary, where)
        if words.setdefault(entry, meant) != meant:
            raise SourceError(f"{where}: the code '{code}' cannot mean {meant}: an earlier row says {words[entry]}")
        if not _text(kind):
            lost.add(entry)
        if _text(size):
            sizes[entry] = _rule(_text(size), where)
    return Crosswalk(words, sizes, frozenset(lost))


def standard_codes(vocabulary: Vocabulary) -> dict[str, str]:
    """The main codes of EN 13508-2 that ``kinds.toml`` knows and that only one kind bears, folded, with that kind."""
    codes = pd.Series(vocabulary.names, index=pd.Index(vocabulary.en13508))
    alone = codes[(codes.index != "") & ~codes.index.duplicated(keep=False)]
    return {fold(str(code)): str(kind) for code, kind in alone.items()}


def _kind(text: str, vocabulary: Vocabulary, where: str) -> str:
    if not text:
        return NO_PARTNER
    try:
        return kind_of(text, vocabulary)
    except UnknownNameError as error:
        raise SourceError(f"{where}: {error}") from None


def _rule(text: str, where: str) -> SizeRule:
    try:
        return size_rule(text)
    except SourceError as error:
        raise SourceError(f"{where}: {error}") from None


def _text(cell: object) -> str:
    return cell.strip() if isinstance(cell, str) else ""


def _column(name: str, theirs: pd.DataFrame, code: str) -> str:
    alike = [str(column) for column in theirs.columns if plain(str(column)) == plain(name)]
    if not alike:
        known = near(name, [str(column) for column in theirs.columns])
        raise SourceError(f"the size rule of the code '{code}' names the column {name!r}, which the file does not have; {known}")
    return alike[0]


def _unchanged(texts: "pd.Series[str]") -> "pd.Series[str]":
    return texts


def _share(texts: "pd.Series[str]", of_mm: float) -> "pd.Series[str]":
    """Millimetres as percent of a bore; what is no number stays, to be told."""
    shares = pd.to_numeric(texts, errors="coerce") * 100 / of_mm
    return shares.map("{:.6g}".format, na_action="ignore").astype("str").fillna(texts)


def _classed(texts: "pd.Series[str]", by: Mapping[str, str]) -> "pd.Series[str]":
    """Classes as numbers; a class that the rule does not name stays, to be told."""
    return texts.map(lambda text: by.get(fold(text), text), na_action="ignore").astype("str")
