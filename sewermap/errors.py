"""The errors a user of sewermap can meet, all children of one.

Every message is one sentence (or two) that says what was wrong, where, and what to do; the command line prints it as it
is. A bad *row* of input is never an exception: it is a problem, kept as data (see ``etl.problems``).

    SewermapError
    ├── LengthError        a text or number that is no length, or could be two
    ├── MeasureError       a measure that its line does not have
    ├── SourceError        a source file, layer or SOURCES.toml that cannot be read as asked
    ├── StoreError         a database that cannot be opened, created or written
    │   └── BusyError      somebody else is writing; try again
    └── UnknownNameError   a lateral, run, kind, table … that the database does not hold
"""


class SewermapError(Exception):
    """Anything that went wrong and that the user can understand and mend."""


class LengthError(SewermapError, ValueError):
    """A text or number is no finite length, or could mean two lengths."""


class MeasureError(SewermapError, ValueError):
    """A measure lies outside the line it is asked of."""


class SourceError(SewermapError):
    """A source file, a layer in it, or the SOURCES.toml that names it cannot be read as asked."""


class StoreError(SewermapError):
    """A database cannot be created, opened, read or written."""


class BusyError(StoreError):
    """Another program is writing to the database; the same command may work in a moment."""


class UnknownNameError(SewermapError, LookupError):
    """A name was asked for that the database (or the vocabulary) does not hold."""
