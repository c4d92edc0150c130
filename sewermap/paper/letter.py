r"""A letter in blocks, and the two ways to put it on paper: plain text for a mail, a page made for print.

A block is what it is for, never how it looks. Texts are a user's: they are cleaned of control characters, and in the page they
are text, never markup.

>>> print(plain_text([Heading("What is claimed"), Facts((("lateral", "L-1"), ("kind", "roots")))]), end="")
What is claimed
---------------
  lateral  L-1
  kind     roots
"""

import textwrap
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass

from sewermap.paper import markup
from sewermap.paper.words import one_line

WIDTH = 78
LONGEST = 2000
"""A longer text of a user's is cut."""


@dataclass(frozen=True)
class Title:
    """What the letter is about; once."""

    text: str


@dataclass(frozen=True)
class Heading:
    """What the next blocks are about."""

    text: str


@dataclass(frozen=True)
class Point:
    """One thing under a heading."""

    text: str


@dataclass(frozen=True)
class Paragraph:
    """Running text."""

    text: str


@dataclass(frozen=True)
class Warn:
    """What must not be overlooked: boxed and told by words, never by colour alone."""

    text: str


@dataclass(frozen=True)
class Facts:
    """Rows of a name and its value; a value of several lines is several texts: a line end in a text makes no line."""

    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True)
class Items:
    """A list whose entries stand on lines of their own."""

    texts: tuple[str, ...]


Block = Title | Heading | Point | Paragraph | Warn | Facts | Items


def plain_text(blocks: Sequence[Block]) -> str:
    """The letter as plain text, at most 78 columns wide where no single word is longer; ends with a line end."""
    return "\n".join(_TEXTS[type(block)](block) for block in _cleaned(blocks)).rstrip("\n") + "\n"  # type: ignore[operator]


def page(blocks: Sequence[Block], title: str, mark: str) -> str:
    """The letter as HTML made for print: on the printer's own paper, black on white, no script, no network.

    ``mark`` (ours, no user's text) stands at the head of each sheet. What comes before the title is a sheet of its own.
    """
    shown = [(type(block).__name__, block) for block in _cleaned(blocks)]
    return markup.page("letter.html", title=one_line(title, LONGEST), mark=mark, blocks=shown) + "\n"


def _cleaned(blocks: Sequence[Block]) -> list[Block]:
    return [_clean(block) for block in blocks]


def _clean(block: Block) -> Block:
    if isinstance(block, Facts):
        return Facts(tuple(tuple(map(_line, row)) for row in block.rows))
    if isinstance(block, Items):
        return Items(tuple(map(_line, block.texts)))
    return type(block)(_line(block.text))


def _line(text: str) -> str:
    return one_line(text, LONGEST)


def _columns(text: str) -> int:
    """How many columns a text takes: signs of East Asian scripts take two, marks on other signs none."""
    wide = sum(unicodedata.east_asian_width(sign) in "WF" for sign in text)
    return len(text) + wide - sum(unicodedata.combining(sign) > 0 for sign in text)


def _wrapped(text: str, first: str = "", rest: str = "") -> str:
    lines = textwrap.wrap(
        text, WIDTH, initial_indent=first, subsequent_indent=rest, break_long_words=False, break_on_hyphens=False
    )
    return "\n".join(lines)


def _title(block: Title) -> str:
    return f"{_wrapped(block.text)}\n{'=' * min(_columns(block.text), WIDTH)}\n"


def _heading(block: Heading) -> str:
    return f"{_wrapped(block.text)}\n{'-' * min(_columns(block.text), WIDTH)}"


def _paragraph(block: Point | Paragraph) -> str:
    return _wrapped(block.text) + "\n"


def _warn(block: Warn) -> str:
    return _wrapped(block.text, "*** ", "*** ") + "\n"


def _facts(block: Facts) -> str:
    broad = max((_columns(row[0]) for row in block.rows), default=0)
    blank = " " * (broad + 4)
    lines = []
    for name, *values in block.rows:
        heads = [f"  {name}{' ' * (broad - _columns(name))}  ", *[blank] * (len(values) - 1)]
        lines += [_wrapped(value, head, blank) or head.rstrip() for head, value in zip(heads, values, strict=True)]
    return "\n".join(lines) + "\n"


def _items(block: Items) -> str:
    return "\n".join(_wrapped(text, "  - ", "    ") for text in block.texts) + "\n"


_TEXTS = {Title: _title, Heading: _heading, Point: _paragraph, Paragraph: _paragraph, Warn: _warn, Facts: _facts, Items: _items}
