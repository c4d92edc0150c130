"""The words that a column's drop-down offers: our vocabulary, or names from another sheet."""

from dataclasses import dataclass

from etl.catalogue import Field
from etl.vocabulary import EVERY_LINE_HAS, VOCABULARY
from sewermap.history.kinds import Vocabulary

_SHORT = 200
"""Excel takes a list of at most 255 characters inside a rule; a longer one stands on a sheet."""

_SUGGESTED = {
    "material": ("clay", "cast iron", "PVC", "ABS", "HDPE", "concrete", "asbestos cement", "bituminous fibre", "liner"),
    "term": ("P1Y", "P18M", "P2Y", "P90D"),
    "tie_in_from": ("start", "end"),
}
"""Words that are usual, not all there are (common practice, no source)."""

_NAMES_OF = {
    ("observations", "run"): ("runs", "run"),
    ("located", "run"): ("runs", "run"),
    ("warranties", "work"): ("works", "work"),
}
"""Columns that name a row of another sheet: its section and field."""


@dataclass(frozen=True)
class Choice:
    """What a drop-down offers: ``words``, or the column ``names_of`` (section, field). ``closed``: there are no others."""

    words: tuple[str, ...] = ()
    names_of: tuple[str, str] | None = None
    closed: bool = False

    @property
    def is_long(self) -> bool:
        """Whether the words do not fit into the rule itself."""
        return len(",".join(self.words)) > _SHORT


def choice_of(section: str, field: Field, vocabulary: Vocabulary) -> Choice | None:
    """The drop-down of a column, None where anything may stand.

    >>> from sewermap.history.kinds import vocabulary
    >>> choice_of("legs", Field("hand", "hand"), vocabulary()).words
    ('left', 'right')
    """
    if (section, field.name) in _NAMES_OF:
        return Choice(names_of=_NAMES_OF[section, field.name])
    if field.reader in VOCABULARY:
        return Choice(tuple(VOCABULARY[field.reader]), closed=True)
    if field.reader == "unit":
        return Choice(("ft", "m"), closed=True)
    if field.reader in {"kind", "kinds"}:
        wanted = [name for name in vocabulary.names if field.reader == "kind" or vocabulary.roles[name] == "defect"]
        return Choice(tuple(wanted))
    if field.reader in {"grade", "clock"}:
        return Choice(tuple(map(str, range(1, (5 if field.reader == "grade" else 12) + 1))))
    return _suggested(section, field)


def _suggested(section: str, field: Field) -> Choice | None:
    if field.name == "launch":
        return Choice(EVERY_LINE_HAS if section == "runs" else ("tie-in", "building"))
    words = _SUGGESTED.get("material" if field.name == "material_after" else field.name)
    return Choice(words) if words else None
