"""Our layers as pygeoapi wants them: what it asks, in the words of ``sewermap.answers.features``."""

import math
from datetime import date
from typing import Any
from urllib.parse import unquote

from dateutil import parser
from pygeoapi.provider.base import BaseProvider, ProviderInvalidQueryError, ProviderItemNotFoundError

from sewermap.answers.features import Asked, Box, columns_of, feature, features, matched
from sewermap.errors import SewermapError

OPEN = ("", "..")
_WITH_HEIGHTS = 6
_WORLD = (180.0, 90.0)


class LayerProvider(BaseProvider):  # type: ignore[misc]  # pygeoapi carries no types
    """One layer of a database, for reading."""

    def __init__(self, provider_def: dict[str, Any]) -> None:
        super().__init__(provider_def)
        self._fields: dict[str, dict[str, str]] = {}
        self._store = provider_def["store"].store
        self.get_fields()

    def get_fields(self) -> dict[str, dict[str, str]]:
        """The properties of the features, with their types as JSON Schema has them."""
        if not self._fields:
            self._fields = {
                name: {"type": "string", "format": "date"} if kind == "date" else {"type": kind}
                for name, kind in columns_of(self.data).items()
            }
        return dict(self._fields)

    def query(
        self,
        *,
        offset: int = 0,
        limit: int = 10,
        resulttype: str = "results",
        bbox: list[float] | None = None,
        datetime_: str | None = None,
        properties: list[tuple[str, str]] | None = None,
        select_properties: list[str] | None = None,
        skip_geometry: bool = False,
        **_further: Any,
    ) -> dict[str, Any]:
        """One page of features, with how many there are in all."""
        try:
            since, until = days_of(datetime_) if datetime_ else (None, None)
            asked = Asked(box=box_of(bbox) if bbox else None, since=since, until=until, equal=dict(properties or []))
            hits = resulttype == "hits"
            found = [] if hits else features(self._store, self.data, asked, limit=limit, offset=offset)
            count = matched(self._store, self.data, asked)
        except SewermapError as error:
            raise ProviderInvalidQueryError(user_msg=str(error)) from error
        shown = [_part(one, select_properties, skip_geometry=skip_geometry) for one in found]
        return {"type": "FeatureCollection", "features": shown, "numberMatched": count, "numberReturned": len(shown)}

    def get(self, identifier: str, **_further: Any) -> dict[str, Any]:
        """The feature of a name (quoted as in an address)."""
        found = feature(self._store, self.data, unquote(identifier))
        if found is None:
            raise ProviderItemNotFoundError(user_msg=f"there is no feature '{unquote(identifier)}' in {self.data}")
        return found


def box_of(bbox: list[float]) -> Box:
    """West, south, east, north of a bbox of 4 or, with heights that are passed over, 6 numbers.

    >>> box_of([1, 2, -10, 3, 4, 10])
    (1.0, 2.0, 3.0, 4.0)
    """
    flat = [*bbox[:2], *bbox[3:5]] if len(bbox) == _WITH_HEIGHTS else bbox
    if not all(math.isfinite(value) and abs(value) <= most for value, most in zip(flat, _WORLD * 2, strict=True)):
        raise ProviderInvalidQueryError(user_msg="bbox is west,south,east,north in degrees")
    west, south, east, north = map(float, flat)
    return west, south, east, north


def days_of(text: str) -> tuple[date | None, date | None]:
    """First and last day of a datetime parameter (17-069r4, section 7.15.4); None is open.

    >>> days_of("2025-03-04T10:00:00Z/..")
    (datetime.date(2025, 3, 4), None)
    >>> days_of("2025-03-04")
    (datetime.date(2025, 3, 4), datetime.date(2025, 3, 4))
    """
    parts = text.split("/")
    try:
        days = [None if part in OPEN else parser.isoparse(part).date() for part in parts]
    except ValueError as error:
        raise ProviderInvalidQueryError(user_msg=f"'{text}' is no day or interval of days (RFC 3339)") from error
    if len(days) > 2 or (len(days) == 1 and days[0] is None):  # noqa: PLR2004 - a first and a last
        raise ProviderInvalidQueryError(user_msg=f"'{text}' is no day or interval of days (RFC 3339)")
    return days[0], days[-1]


def _part(one: dict[str, Any], select: list[str] | None, *, skip_geometry: bool) -> dict[str, Any]:
    properties = {name: one["properties"][name] for name in select} if select else one["properties"]
    return {**one, "properties": properties, "geometry": None if skip_geometry else one["geometry"]}
