"""The words of the pages in one language: flat keys like ``due.title`` with {placeholders}, from languages/*.toml."""

import re
import tomllib
from collections.abc import Mapping
from datetime import date
from functools import cache
from importlib import resources
from typing import Any

from sewermap.errors import SewermapError
from sewermap.web.packing import call
from sewermap.web.site_tables import SiteTables

LANGUAGES = ("en", "fr")
"""The first is the one that others fall back to."""

PLACE = re.compile(r"\{(\w+)\}")


class Words:
    """What the pages say. A key that the language lacks is told in English; one that English lacks is a KeyError.

    Raises SewermapError for a language without a file.

    >>> Words("en").tn("list.rows", 1), Words("fr").tn("list.rows", 0)
    ('1 row', '0 ligne')
    """

    def __init__(self, language: str = "en") -> None:
        """Read the files of the language and of English."""
        if language not in LANGUAGES:
            raise SewermapError(f"the pages know no language '{language}'; they know {', '.join(LANGUAGES)}")
        self.language = language
        self.texts: dict[str, str] = {**keys(LANGUAGES[0]), **keys(language)}

    def t(self, key: str, **values: object) -> str:
        """The text of a key, its placeholders filled in; one that is not given stays as it is."""
        return PLACE.sub(lambda place: str(values.get(place[1], place[0])), self.texts[key])

    def tn(self, key: str, count: int, **values: object) -> str:
        """The text for one or for many, ``{count}`` filled in. In French none is told like one (CLDR plural rules)."""
        one = count < 2 if self.language == "fr" else count == 1  # noqa: PLR2004 - the rule
        return self.t(f"{key}.{'one' if one else 'many'}", count=self.number(count), **values)

    def number(self, value: int) -> str:
        """A whole number, its thousands apart as the language does (CLDR: comma, narrow no-break space)."""
        return f"{value:,}".replace(",", "\u202f" if self.language == "fr" else ",")

    def day(self, day: date) -> str:
        """A day with its month in letters.

        >>> Words("en").day(date(2026, 1, 31)), Words("fr").day(date(2026, 1, 31))
        ('31 January 2026', '31 janvier 2026')
        """
        return f"{day.day} {self.t(f'month.{day.month}')} {day.year}"

    def kind(self, name: str) -> str:
        """A kind, state or side in words: the key ``kind.NAME``, or the name itself where a town has words of its own."""
        return self.texts.get(f"kind.{name}", name)


@cache
def keys(language: str) -> Mapping[str, str]:
    """The texts of one language's file by flat key."""
    text = (resources.files(__package__) / "languages" / f"{language}.toml").read_text(encoding="utf-8")
    return dict(_flat(tomllib.loads(text)))


def words_file(words: Words, tables: SiteTables) -> str:
    """``data/words.js``: the page's language, its words, and what they are told with."""
    about = {"language": words.language, "units": tables.units, "as_of": tables.as_of.isoformat(), "public": tables.public}
    return call("sewermap.wordsData", {**about, "words": dict(sorted(words.texts.items()))})


def _flat(table: Mapping[str, Any], before: str = "") -> list[tuple[str, str]]:
    """Keys of tables in tables joined by dots."""
    found = []
    for key, value in table.items():
        found += _flat(value, f"{before}{key}.") if isinstance(value, Mapping) else [(before + key, str(value))]
    return found
