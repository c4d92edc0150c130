"""Dig sheets in the site's folder: one page an issue, under a name that every disk and web server takes."""

import re
from collections.abc import Iterable, Mapping

_STRANGE = re.compile(r"[^A-Za-z0-9._-]+")
_LONGEST = 60


def sheet_names(issues: Iterable[str]) -> dict[str, str]:
    """The file of each issue's sheet, like ``dig/L-0018-1.html``; where two would be called the same, the later has a number.

    >>> sheet_names(["L-7/1", "L-7-1"])
    {'L-7-1': 'dig/L-7-1.html', 'L-7/1': 'dig/L-7-1-2.html'}
    """
    names: dict[str, str] = {}
    taken: set[str] = set()
    for issue in sorted(issues):
        plain = _STRANGE.sub("-", issue)[:_LONGEST].strip(".-") or "issue"
        name, count = plain, 1
        # Disks that do not tell large letters from small ones are common.
        while name.casefold() in taken:
            count += 1
            name = f"{plain}-{count}"
        taken.add(name.casefold())
        names[issue] = f"dig/{name}.html"
    return names


def contents(sheets: Mapping[str, str]) -> dict[str, str]:
    """The sheets by their file in the site's folder."""
    return {name: sheets[issue] for issue, name in sheet_names(sheets).items()}
