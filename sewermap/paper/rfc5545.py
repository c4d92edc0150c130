r"""Lines of a calendar file as RFC 5545 wants them: text escaped (§ 3.3.11), lines folded (§ 3.1) and ended by CRLF.

A writer of our own: we write texts, days and one moment, which is less code than a library needs to be kept from its own ways
(stamps from the clock, an order of properties that changes between versions), so the base install needs one library less; and
the tests can read the file back with a library that had no part in it (icalendar).

>>> content_line("SUMMARY", escaped("Project XYZ Final Review\nConference Room - 3B\nCome Prepared."))
b'SUMMARY:Project XYZ Final Review\\nConference Room - 3B\\nCome Prepared.\r\n'
"""

import re
from datetime import date

OCTETS = 75
"""A line holds at most so many octets, without its end (§ 3.1)."""

_LINE_ENDS = re.compile("\r\n|[\r\n\v\f\x1c\x1d\x1e\x85\u2028\u2029]")
_CONTROLS = re.compile("[\x00-\x08\x0e-\x1f\x7f\ud800-\udfff]")
_IS_CONTINUED = 0b1000_0000
_TOP_TWO_BITS = 0b1100_0000


def escaped(text: str) -> str:
    r"""A TEXT value: backslash, semicolon, comma and line ends escaped; control characters, which it must not hold, are blanks.

    >>> print(escaped("a;b,c\\d: \"e\"\r\nf"))
    a\;b\,c\\d: "e"\nf
    """
    plain = _CONTROLS.sub(" ", _LINE_ENDS.sub("\n", text))
    return plain.replace("\\", "\\\\").replace(";", "\\;").replace(",", "\\,").replace("\n", "\\n")


def day_value(day: date) -> str:
    """A DATE value (§ 3.3.4), like 20240229."""
    return day.isoformat().replace("-", "")


def content_line(name: str, value: str) -> bytes:
    """One content line, folded so that no piece is longer than 75 octets and no UTF-8 character is cut.

    ``name`` with its parameters, like ``DTSTART;VALUE=DATE``; ``value`` escaped already where it is a text.
    """
    rest = f"{name}:{value}".encode()
    pieces: list[bytes] = []
    while len(rest) > OCTETS:
        end = OCTETS
        while rest[end] & _TOP_TWO_BITS == _IS_CONTINUED:
            end -= 1
        pieces.append(rest[:end])
        # The blank that marks a further piece counts among its octets.
        rest = b" " + rest[end:]
    return b"\r\n".join([*pieces, rest]) + b"\r\n"
