"""The bytes of a sheet to text: UTF-8, UTF-16, or the code page that spreadsheets of the West save in."""

import codecs
import re
from pathlib import Path

from sewermap.errors import SourceError

_BOMS = ((codecs.BOM_UTF8, "utf-8-sig"), (codecs.BOM_UTF16_LE, "utf-16"), (codecs.BOM_UTF16_BE, "utf-16"))
_MANY_NULS = 0.2
"""Share of NUL bytes above which a file without a mark is UTF-16: every second byte of Latin text is NUL there."""
_STRANGE = re.compile("[\udc80-\udcff]")
_NO_TEXT = re.compile("[\0\udc80-\udcff]")


def text_of(path: Path, encoding: str | None) -> str:
    r"""The text of a file; bytes that are no text come as lone surrogates (``\udc80`` … ``\udcff``), see ``broken``.

    ``encoding`` as the section says it, or None: by the mark at the start, else UTF-8, else Windows-1252. Raises
    SourceError when the file cannot be read, or is not in the encoding said.
    """
    try:
        content = path.read_bytes()
    except OSError as error:
        raise SourceError(f"{path.name} cannot be read: {error.strerror}") from None
    return decoded(content, encoding or _marked(content), path.name)


def decoded(content: bytes, encoding: str | None, name: str) -> str:
    """The text that bytes hold, as ``text_of``; ``name`` is the file's, for the error.

    >>> decoded("Größe".encode("cp1252"), None, "a.csv")
    'Größe'
    """
    if encoding is None:
        return _guessed(content)
    try:
        return content.decode(encoding)
    except LookupError:
        raise SourceError(f"{name}: encoding = {encoding!r} is unknown; utf-8, utf-16 and cp1252 are known") from None
    except UnicodeDecodeError as error:
        raise SourceError(f"{name} is not in the encoding {encoding}: {error.reason} at byte {error.start + 1}") from None


def has_no_text(text: str) -> bool:
    """Whether a piece of text holds bytes that no text explains, or NUL."""
    return _NO_TEXT.search(text) is not None


def _marked(content: bytes) -> str | None:
    for mark, encoding in _BOMS:
        if content.startswith(mark):
            return encoding
    odd, even = content[1:4000:2], content[:4000:2]
    if odd and odd.count(0) > _MANY_NULS * len(odd) and not even.count(0):
        return "utf-16-le"
    if even and even.count(0) > _MANY_NULS * len(even) and not odd.count(0):
        return "utf-16-be"
    return None


def _guessed(content: bytes) -> str:
    try:
        return content.decode("utf-8")
    except UnicodeDecodeError:
        text = content.decode("utf-8", errors="surrogateescape")
    strange = len(_STRANGE.findall(text))
    # A file of UTF-8 with a spoilt row keeps its other rows; one that holds hardly any UTF-8 is in an older code page.
    if strange < sum(sign > "\x7f" for sign in text) - strange:
        return text
    try:
        return content.decode("cp1252")
    except UnicodeDecodeError:
        return content.decode("latin-1")
