"""Every page type of a site, how to open it, and how to tell that it stands."""

from typing import Any

READY = "document.body.dataset.ready === 'true'"
TOWN = f"{READY} && sewermap.tiles.quiet() && document.body.dataset.listed === 'true'"
LIST = "document.querySelector('table.rows, main .none') !== null"

STANDS = {
    "index": TOWN,
    "street": READY,
    "property": READY,
    "due": LIST,
    "repeats": LIST,
    "changes": LIST,
    "quality": LIST,
    "public": LIST,
}
"""By page type: true when all that its scripts bring has come."""

LINKS = {
    "the town": ("index", ""),
    "the town with a card": ("index", "#lateral={lateral}&colour=due"),
    "the town at another time": ("index", "#day=2023-01-01&state=all"),
    "all streets": ("street", ""),
    "a street": ("street", "#street={street}"),
    "an unknown street": ("street", "#street=Nowhere"),
    "a property": ("property", "#lateral={lateral}"),
    "a property with a cross-bore": ("property", "#lateral={bore}"),
    "no property": ("property", ""),
    "an unknown property": ("property", "#lateral=Nobody"),
    "due": ("due", ""),
    "all that is due": ("due", "#state=all"),
    "repeats": ("repeats", ""),
    "changes": ("changes", "#since=2024-01-01"),
    "quality": ("quality", ""),
}
"""What a person may open, as page type and link; ``{lateral}``, ``{bore}`` and ``{street}`` are names of the town."""


def stood(visit: Any, kind: str, seconds: float = 20.0) -> Any:
    """Wait until a page of this type stands, and give its page. Fails with what the page complained of."""
    page = visit.page
    for _ in range(int(seconds * 20)):
        if page.evaluate(STANDS[kind]):
            return page
        page.wait_for_timeout(50)
    raise AssertionError(f"{page.url} does not stand; it said {visit.messages}, and could not read {visit.failed}")
