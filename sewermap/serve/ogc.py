"""OGC API - Features, Part 1: Core (OGC 17-069r4) under ``/ogc``, by pygeoapi, over a provider of ours; JSON alone.

pygeoapi's own pages would load scripts and map tiles from elsewhere, so HTML is not answered. Its rows come through
``ogc_provider``, which reads both engines and by the spatial index: pygeoapi's own provider for GeoPackages needs a library
that pip does not bring.
"""

from __future__ import annotations

import json
from importlib.util import find_spec
from typing import TYPE_CHECKING, Any
from urllib.parse import quote

from starlette.concurrency import run_in_threadpool
from starlette.responses import Response
from starlette.routing import Route

from sewermap.answers.features import LAYERS, columns_of
from sewermap.errors import SewermapError
from sewermap.serve.live import json_answer
from sewermap.serve.ogc_settings import NEEDED, conformance, settings
from sewermap.serve.pages import is_known

if TYPE_CHECKING:
    from collections.abc import Callable

    from starlette.requests import Request

    from sewermap.book import Book

PREFIX = "/ogc"
MISSING = "the OGC API needs pygeoapi where the server runs: pip install 'sewermap[ogc]'"
_OF_ITEMS = frozenset(("bbox", "limit", "offset", "datetime", "properties", "skipGeometry", "crs", "bbox-crs"))
_NOT_ANSWERED = frozenset(("text/html", "application/ld+json"))
_KEPT = 8


def ogc_routes(book: Book, version: Callable[[], str]) -> list[Route]:
    """The addresses of the OGC API, or one that says what is missing."""
    if find_spec("pygeoapi") is None:

        async def missing(request: Request) -> Response:
            return _refused(request, 501, "NotImplemented", MISSING)

        return [Route(PREFIX, missing), Route(PREFIX + "/{rest:path}", missing)]
    ogc = Ogc(book, version)
    one = PREFIX + "/collections/{collection}"
    return [
        Route(PREFIX, ogc.landing),
        Route(PREFIX + "/", ogc.landing),
        Route(PREFIX + "/conformance", ogc.conformance),
        Route(PREFIX + "/openapi", ogc.openapi),
        Route(PREFIX + "/collections", ogc.collections),
        Route(one, ogc.collection),
        Route(one + "/schema", ogc.schema),
        Route(one + "/queryables", ogc.queryables),
        Route(one + "/items", ogc.items),
        Route(one + "/items/{name:path}", ogc.item),
    ]


class Ogc:
    """The standard's resources. ``version`` tells the data's: extents are asked anew when it changes."""

    def __init__(self, book: Book, version: Callable[[], str]) -> None:
        from pygeoapi import api  # noqa: PLC0415 - a heavy library that not every installation has
        from pygeoapi.api import itemtypes  # noqa: PLC0415

        self._book, self._version, self._core, self._items = book, version, api, itemtypes
        self._apis: dict[tuple[str, str], Any] = {}

    async def landing(self, request: Request) -> Response:
        """The landing page (requirement 1)."""
        return await self._answer(request, self._core.landing_page)

    async def conformance(self, request: Request) -> Response:
        """What is conformed to (requirement 5): pygeoapi would tell of parts that are not served here."""
        return await self._answer(request, lambda _api, _asked: ({}, 200, json.dumps(conformance())))

    async def openapi(self, request: Request) -> Response:
        """The definition of this interface (requirement 3)."""
        return await self._answer(request, self._core.openapi_)

    async def collections(self, request: Request) -> Response:
        """All layers (requirement 11)."""
        return await self._answer(request, self._core.describe_collections)

    async def collection(self, request: Request) -> Response:
        """One layer (requirement 17)."""
        return await self._answer(request, self._core.describe_collections, request.path_params["collection"])

    async def schema(self, request: Request) -> Response:
        """The columns of a layer and their types."""
        return await self._answer(request, self._core.get_collection_schema, request.path_params["collection"])

    async def queryables(self, request: Request) -> Response:
        """The columns that a question may name."""
        return await self._answer(request, self._items.get_collection_queryables, request.path_params["collection"])

    async def items(self, request: Request) -> Response:
        """Features by box, day and value, page by page (requirements 18 to 31)."""
        collection = request.path_params["collection"]
        known = {*_OF_ITEMS, *columns_of(collection)} if collection in LAYERS else _OF_ITEMS
        return await self._answer(request, self._items.get_collection_items, collection, known=known)

    async def item(self, request: Request) -> Response:
        """One feature by its name (requirement 32)."""
        # Quoted, because pygeoapi makes an address of it; the provider takes that off again.
        name = quote(request.path_params["name"], safe="")
        return await self._answer(request, self._items.get_collection_item, request.path_params["collection"], name)

    async def _answer(
        self, request: Request, ask: Callable[..., tuple[Any, Any, Any]], *of: str, known: frozenset[str] | set[str] = frozenset()
    ) -> Response:
        strange = sorted(set(request.query_params) - known - {"f"})
        if strange:  # requirement 9: never a silent guess
            return _refused(request, 400, "InvalidParameterValue", f"the parameter '{strange[0]}' is not known here")
        if request.query_params.get("f", "json") != "json":
            return _refused(request, 400, "InvalidParameterValue", "only JSON is answered here: f=json")
        return await run_in_threadpool(self._asked, request, ask, of)

    def _asked(self, request: Request, ask: Callable[..., tuple[Any, Any, Any]], of: tuple[str, ...]) -> Response:
        try:
            version = self._version()
            mark = f'W/"{version}"'
            if is_known(request, mark):
                return Response(status_code=304, headers={"ETag": mark, "Vary": "Accept-Encoding"})
            api = self._api(_base(request), version)
            headers, status, content = ask(api, _json_request(self._core.APIRequest, request, api.locales), *of)
        except SewermapError as error:
            return _refused(request, 500, "NoApplicableCode", str(error))
        told = _without_pages(json.loads(content))
        good = int(status) == 200  # noqa: PLR2004 - OK
        kind = headers.get("Content-Type", "application/json") if good else "application/json"
        if good and told.get("type") in {"Feature", "FeatureCollection"}:
            kind = "application/geo+json"
        said = {"ETag": mark, **{name: headers[name] for name in ("Content-Crs",) if name in headers}} if good else None
        return json_answer(request, told, status=int(status), media_type=kind, headers=said)

    def _api(self, base: str, version: str) -> Any:
        """Pygeoapi for one address by which we are called and one version of the data."""
        if (base, version) not in self._apis:
            kept = list(self._apis.items())[-_KEPT:]
            self._apis = {**dict(kept), (base, version): _made(self._core.API, self._book, base)}
        return self._apis[base, version]


def _made(make: Any, book: Book, base: str) -> Any:
    from pygeoapi.openapi import get_oas  # noqa: PLC0415 - as above

    configuration = settings(book.store, base)
    definition = get_oas(configuration)
    for path, verbs in list(definition["paths"].items()):
        if not NEEDED.match(path):
            del definition["paths"][path]
            continue
        get = verbs["get"]
        get["parameters"] = [told for told in get.get("parameters", []) if _is_answered(told)]
        definition["paths"][path] = {"get": get}
    definition["components"]["parameters"]["f"]["schema"]["enum"] = ["json"]
    return make(configuration, definition)


_REFUSED = frozenset(("lang", "sortby", "filter", "filter-lang", "filter-crs", "q", "profile", "vendorSpecificParameters", "ui"))


def _is_answered(parameter: dict[str, Any]) -> bool:
    return parameter.get("$ref", parameter.get("name", "")).rsplit("/", 1)[-1] not in _REFUSED


def _json_request(kind: Any, request: Request, locales: Any) -> Any:
    """The request as pygeoapi takes it, but JSON whatever a browser's Accept header says."""
    asked = kind(request, locales)
    asked._format = "json"  # noqa: SLF001 - its class offers no other way
    return asked


def _base(request: Request) -> str:
    return f"{request.url.scheme}://{request.headers['host']}{request.scope.get('root_path', '')}{PREFIX}"


def _without_pages(told: Any) -> Any:
    """The same without links to documents that we do not answer."""
    if isinstance(told, list):
        return [_without_pages(part) for part in told]
    if not isinstance(told, dict):
        return told
    links = told.get("links")
    if isinstance(links, list):
        told = {**told, "links": [link for link in links if _is_served(link)]}
    return {name: part if name in {"geometry", "properties"} else _without_pages(part) for name, part in told.items()}


def _is_served(link: dict[str, Any]) -> bool:
    elsewhere = ("/processes", "/jobs", "TileMatrixSets?f=json")
    return link.get("type") not in _NOT_ANSWERED and not str(link.get("href", "")).endswith(elsewhere)


def _refused(request: Request, status: int, code: str, why: str) -> Response:
    """An error as pygeoapi words them, so that a client finds them in one form; ``error`` as elsewhere on this server."""
    return json_answer(request, {"code": code, "type": code, "description": why, "error": why}, status=status)
