"""Answers straight from the database: layers by box as GeoJSON, and the sheet for digging at an issue."""

from __future__ import annotations

import gzip
import json
import math
from typing import TYPE_CHECKING, Any

from starlette.concurrency import run_in_threadpool
from starlette.responses import Response

from sewermap.answers.features import LAYERS, Asked, features
from sewermap.errors import BusyError, MeasureError, SewermapError, SourceError, UnknownNameError
from sewermap.serve.pages import is_known, policy_of, takes_gzip

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from starlette.requests import Request

    from sewermap.answers.features import Box
    from sewermap.book import Book

GEOJSON = "application/geo+json"
LIMIT, MOST = 1000, 10_000
_SMALL = 1024
_STATUS: tuple[tuple[type[SewermapError], int], ...] = (
    (UnknownNameError, 404),
    (SourceError, 400),
    (MeasureError, 404),
    (BusyError, 503),
)


class Live:
    """Answers for the addresses under ``/features`` and ``/digsheet``. ``version`` tells the data's version."""

    def __init__(self, book: Book, version: Callable[[], str]) -> None:
        self._book, self._version = book, version

    async def layer(self, request: Request) -> Response:
        """``/features/LAYER.geojson?bbox=W,S,E,N&limit=N``: what touches the box, in degrees."""
        return await run_in_threadpool(self._told, request, self._layer)

    async def sheet(self, request: Request) -> Response:
        """``/digsheet/ISSUE?units=ft|m&paper=letter|a4``: the sheet as it is now."""
        return await run_in_threadpool(self._told, request, self._sheet)

    def _told(self, request: Request, answer: Callable[[Request], Response]) -> Response:
        """The answer, unless the asker has it already; an error in one sentence, as JSON."""
        try:
            mark = f'W/"{self._version()}"'
            if is_known(request, mark):
                return Response(status_code=304, headers={"ETag": mark, "Vary": "Accept-Encoding"})
            response = answer(request)
        except SewermapError as error:
            status = next((status for kind, status in _STATUS if isinstance(error, kind)), 500)
            return json_answer(request, {"error": " ".join(str(error).split())}, status=status)
        response.headers["ETag"] = mark
        return response

    def _layer(self, request: Request) -> Response:
        layer = request.path_params["layer"]
        if layer not in LAYERS:
            raise UnknownNameError(f"there is no layer '{layer}'; layers are {', '.join(LAYERS)}")
        _only(request, ("bbox", "limit"))
        bbox = request.query_params.get("bbox")
        asked = Asked(box=None if bbox is None else box_from_text(bbox))
        limit = limit_from_text(request.query_params.get("limit", str(LIMIT)))
        found = features(self._book.store, layer, asked, limit=limit + 1)
        told: dict[str, Any] = {"type": "FeatureCollection", "features": found[:limit]}
        # A foreign member (RFC 7946, section 6.1): so that nobody takes a part for the whole.
        return json_answer(request, {**told, "more": len(found) > limit}, media_type=GEOJSON)

    def _sheet(self, request: Request) -> Response:
        _only(request, ("units", "paper"))
        units, paper = request.query_params.get("units"), request.query_params.get("paper", "letter")
        if units not in {None, "ft", "m"} or paper not in {"letter", "a4"}:
            raise SourceError("units are ft or m, and paper is letter or a4")
        page = self._book.digsheet(request.path_params["issue"], units=units, paper=paper)
        return Response(page, media_type="text/html", headers={"Content-Security-Policy": policy_of(page[:_SMALL])})


def box_from_text(text: str) -> Box:
    """West, south, east, north in degrees out of ``W,S,E,N``. Raises SourceError.

    >>> box_from_text("-122.1,36.9,-122,37")
    (-122.1, 36.9, -122.0, 37.0)
    """
    try:
        west, south, east, north = (float(part) for part in text.split(","))
    except ValueError as error:
        raise SourceError(f"'{text}' is no box; write west,south,east,north in degrees") from error
    in_range = all(abs(x) <= 180 for x in (west, east)) and -90 <= south <= north <= 90  # noqa: PLR2004 - degrees
    if not (in_range and all(map(math.isfinite, (west, south, east, north)))):
        raise SourceError(f"'{text}' is no box on the earth; write west,south,east,north in degrees, south before north")
    return west, south, east, north


def limit_from_text(text: str) -> int:
    """A count of features from 1 on, at most ``MOST``. Raises SourceError."""
    if not (text.isascii() and text.isdigit() and int(text[:20]) > 0):
        raise SourceError(f"'{text}' is no limit; write a whole number from 1 to {MOST}")
    return min(int(text[:20]), MOST)


def json_answer(
    request: Request,
    told: Mapping[str, Any],
    *,
    status: int = 200,
    media_type: str = "application/json",
    headers: Mapping[str, str] | None = None,
) -> Response:
    """Plain values as strict JSON, packed where the asker takes that and it is worth it."""
    text = json.dumps(told, ensure_ascii=False, allow_nan=False, separators=(",", ":")).encode()
    said = {**(headers or {}), "Vary": "Accept-Encoding"}
    if len(text) > _SMALL and takes_gzip(request):
        text = gzip.compress(text, compresslevel=6, mtime=0)
        said["Content-Encoding"] = "gzip"
    return Response(text, status, said, media_type)


def _only(request: Request, known: tuple[str, ...]) -> None:
    strange = [name for name in request.query_params if name not in known]
    if strange:
        raise SourceError(f"'{strange[0]}' is not known here; known are {', '.join(known)}")
