"""A strange file to a SOURCES.toml: guesses which section it is and which column is which field, each with its reason."""

from etl.draft.drafted import draft

__all__ = ["draft"]
