"""OGC API - Features, Part 1: Core (OGC 17-069r4, docs.ogc.org/is/17-069r4/17-069r4.html) on both engines.

Requirements are named as the standard names them (/req/core/…). GDAL's own driver for it (OAPIF) reads the layers.
"""

import json
import subprocess
import sys
from typing import Any
from urllib.parse import urlsplit

import pytest
import shapely

from sewermap.answers.features import LAYERS, NAMED_BY
from sewermap.serve import ogc

CRS84 = "http://www.opengis.net/def/crs/OGC/1.3/CRS84"
CORE = "http://www.opengis.net/spec/ogcapi-features-1/1.0/conf"


def told(served, path: str, status: int = 200, **headers: str) -> Any:
    """What the API says at a path under /ogc."""
    answer = served.ask(f"/ogc{path}", **headers)
    assert answer.status == status, answer.body[:300]
    return json.loads(answer.body, parse_constant=pytest.fail)


def link(document: dict[str, Any], rel: str) -> str:
    """The path and query of a document's link of a relation."""
    parts = urlsplit(next(one["href"] for one in document["links"] if one["rel"] == rel))
    return f"{parts.path}?{parts.query}".removeprefix("/ogc").rstrip("?")


def test_the_landing_page_leads_on(town) -> None:
    """/req/core/root-success: links to the definition (service-desc), conformance and data; each of them answers."""
    landing = told(town, "/")
    for rel in ("service-desc", "conformance", "data"):
        told(town, link(landing, rel))
    definition = town.ask("/ogc/openapi")
    assert definition.headers["content-type"] == "application/vnd.oai.openapi+json;version=3.0"


def test_conformance_names_what_is_served(town) -> None:
    """/req/core/conformance-success: Core, OpenAPI 3.0 and GeoJSON, and nothing that is refused here."""
    assert told(town, "/conformance")["conformsTo"] == [f"{CORE}/core", f"{CORE}/oas30", f"{CORE}/geojson"]


def test_collections_are_described(each_town) -> None:
    """/req/core/sfc-md-success and following: every collection with an id, items link and extent, which holds its features."""
    listed = told(each_town, "/collections")
    assert [one["id"] for one in listed["collections"]] == list(LAYERS)
    for one in listed["collections"]:
        alone = told(each_town, f"/collections/{one['id']}")
        assert alone["extent"] == one["extent"]
        assert one["itemType"] == "feature"
        assert one["crs"] == [CRS84]
        west, south, east, north = one["extent"]["spatial"]["bbox"][0]
        within = told(each_town, f"/collections/{one['id']}/items?bbox={west},{south},{east},{north}")
        placed = each_town.book.layer(one["id"]).geometry.notna().sum()
        assert within["numberMatched"] == placed > 0
        assert link(one, "items") == f"/collections/{one['id']}/items?f=json"


@pytest.mark.parametrize("layer", LAYERS)
def test_next_links_lead_through_all(each_town, layer: str) -> None:
    """/req/core/fc-limit-response-1, fc-links, fc-numberMatched: pages of the limit, next until all were seen once."""
    seen: list[str] = []
    path = f"/collections/{layer}/items?limit=50"
    while path:
        page = told(each_town, path)
        assert page["type"] == "FeatureCollection"
        assert page["numberReturned"] == len(page["features"]) <= 50
        seen += [one["id"] for one in page["features"]]
        path = link(page, "next") if any(one["rel"] == "next" for one in page["links"]) else ""
    assert len(seen) == page["numberMatched"] == len(set(seen))
    assert sorted(seen) == sorted(each_town.book.layer(layer)[NAMED_BY[layer]])


def test_a_feature_by_its_name(each_town) -> None:
    """/req/core/f-success, f-links: the feature, with links to itself and its collection; an unknown one is 404."""
    name = each_town.book.layer("issues").loc[0, "issue"]
    assert "/" in name
    one = told(each_town, f"/collections/issues/items/{name.replace('/', '%2F')}")
    assert (one["type"], one["id"], one["properties"]["issue"]) == ("Feature", name, name)
    assert told(each_town, link(one, "self")) | {"timeStamp": 0} == one | {"timeStamp": 0}
    assert link(one, "collection") == "/collections/issues"
    answer = each_town.ask("/ogc/collections/issues/items")
    assert answer.headers["content-type"] == "application/geo+json"
    told(each_town, "/collections/issues/items/none", 404)
    told(each_town, "/collections/none/items", 404)
    told(each_town, "/collections/none", 404)


@pytest.mark.parametrize(
    "query",
    [
        *("limit=0", "limit=-1", "limit=ten", "bbox=1,2,3", "bbox=a,b,c,d", "bbox=nan,0,1,1", "bbox=0,0,inf,1", "bbox=0,5,1,4"),
        *("datetime=yesterday", "datetime=2025-01-01/2025-02-01/2025-03-01", "datetime=..", "crs=http://example/none"),
        *(
            "colour=red",
            "f=html",
            "f=jsonld",
            "f=csv",
            "filter=1%3D1",
            "sortby=kind",
            "grade=bad",
            "properties=none",
            "offset=-1",
        ),
    ],
)
def test_wrong_parameters_are_refused(town, query: str) -> None:
    """/req/core/query-param-invalid and query-param-unknown: status 400, whatever is wrong or not known."""
    assert told(town, f"/collections/issues/items?{query}", 400)["code"]


def test_a_limit_too_large_is_lowered(town) -> None:
    """/req/core/fc-limit-response-1: more than the server's most is no error."""
    assert told(town, "/collections/issues/items?limit=100000")["numberReturned"] > 50


def test_questions_by_day(each_town) -> None:
    """/req/core/fc-time-response: a day, an interval, half-bounded intervals, and a day on which nothing was seen."""
    issues = each_town.book.layer("issues")
    day = f"{issues['last_seen'].mode()[0]:%Y-%m-%d}"
    count = {
        day: (issues["last_seen"] == day).sum(),
        f"{day}T00:00:00Z": (issues["last_seen"] == day).sum(),
        f"{day}/..": (issues["last_seen"] >= day).sum(),
        f"../{day}": (issues["last_seen"] <= day).sum(),
        f"/{day}": (issues["last_seen"] <= day).sum(),
        "2024-01-01/2024-12-31": issues["last_seen"].between("2024-01-01", "2024-12-31").sum(),
        "1990-01-01": 0,
        "2090-01-01/..": 0,
    }
    for asked, wanted in count.items():
        assert told(each_town, f"/collections/issues/items?datetime={asked}")["numberMatched"] == wanted, asked


def test_bbox_with_heights_and_over_the_antimeridian(each_town) -> None:
    """/req/core/fc-bbox-definition: six numbers have heights, and west may be more than east."""
    everything = len(each_town.book.layer("laterals"))
    for box, wanted in {"-180,-90,-10,180,90,10": everything, "170,-90,-100,90": everything, "170,-90,-170,90": 0}.items():
        assert told(each_town, f"/collections/laterals/items?bbox={box}")["numberMatched"] == wanted, box


def test_columns_narrow_and_are_chosen(each_town) -> None:
    """/rec/core/fc-filters: a column's value narrows; ``properties`` and ``skipGeometry`` leave parts out."""
    roots = told(each_town, "/collections/issues/items?kind=roots&properties=kind,grade&skipGeometry=true")
    issues = each_town.book.layer("issues")
    assert roots["numberMatched"] == (issues["kind"] == "roots").sum() > 0
    assert all(set(one["properties"]) == {"kind", "grade"} and one["geometry"] is None for one in roots["features"])
    assert told(each_town, "/collections/issues/schema")["properties"]["measure_m"]["type"] == "number"
    assert "kind" in told(each_town, "/collections/issues/queryables")["properties"]


def test_a_browser_gets_json_and_no_link_leads_away(town) -> None:
    """Whatever is accepted, JSON is answered, and every link of every document stays on this server."""
    for path in ("/", "/conformance", "/collections", "/collections/issues", "/collections/issues/items?limit=1"):
        answer = town.ask(f"/ogc{path}", Accept="text/html,application/xhtml+xml")
        assert answer.headers["content-type"].startswith(("application/json", "application/geo+json")), path
        for part in _links(json.loads(answer.body)):
            assert part["href"].startswith(f"{town.url}ogc"), part
            assert part.get("type") != "text/html"


def test_the_definition_tells_what_is_there(town) -> None:
    """/req/oas30/oas-definition-2: an OpenAPI 3.0 document whose paths answer, and whose only verb is get."""
    definition = told(town, "/openapi")
    assert definition["openapi"].startswith("3.0")
    for path, verbs in definition["paths"].items():
        assert list(verbs) == ["get"]
        told(town, path.replace("{featureId}", "none"), 404 if "{" in path else 200)


def test_it_is_not_sent_again(town) -> None:
    """With the ETag of the data's version, 304 without asking the database."""
    first = town.ask("/ogc/collections/issues/items")
    assert town.ask("/ogc/collections/issues/items", If_None_Match=first.headers["etag"]).status == 304


def test_gdal_reads_the_layers(each_town) -> None:
    """GDAL's OAPIF driver, which desktop programs use, reads each layer whole, and by box, as the database has it."""
    layers = {layer: each_town.book.layer(layer).to_crs(CRS84) for layer in LAYERS}
    first = {layer: whole.geometry.iloc[:3].union_all() for layer, whole in layers.items()}
    boxes = {layer: shape.buffer(1e-6).bounds for layer, shape in first.items()}
    # In a process of its own: in ours GDAL would wait for the server with Python's lock held, and the server for the lock.
    program = (
        "import json, sys; from pyogrio import read_dataframe as read; address, named_by, boxes = json.loads(sys.argv[1]); "
        "whole = {layer: read(address, layer=layer)[[name, 'geometry']] for layer, name in named_by.items()}; "
        "near = {layer: len(read(address, layer=layer, bbox=tuple(box))) for layer, box in boxes.items()}; "
        "print(json.dumps([{layer: rows.to_json(to_wgs84=False) for layer, rows in whole.items()}, near]))"
    )
    asked = json.dumps([f"OAPIF:{each_town.url}ogc", NAMED_BY, boxes])
    done = subprocess.run([sys.executable, "-c", program, asked], capture_output=True, text=True, check=True, timeout=120)
    read, near = json.loads(done.stdout.splitlines()[-1])
    for layer, whole in layers.items():
        name = NAMED_BY[layer]
        found = {one["properties"][name]: one["geometry"] for one in json.loads(read[layer])["features"]}
        assert sorted(found) == sorted(whole[name])
        shapes = [shapely.geometry.shape(found[one]) for one in whole[name]]
        assert shapely.distance(shapes, shapely.force_2d(whole.geometry.to_numpy())).max() < 2e-7
        assert near[layer] == whole.intersects(shapely.box(*boxes[layer])).sum() > 0


def test_without_pygeoapi_it_says_what_to_install(town, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where pygeoapi is missing, one address says so; the pages need it not."""
    monkeypatch.setattr(ogc, "find_spec", lambda _name: None)
    routes = ogc.ogc_routes(town.book, lambda: "1")
    assert [route.path for route in routes] == ["/ogc", "/ogc/{rest:path}"]
    assert "pip install 'sewermap[ogc]'" in ogc.MISSING


def _links(part: Any) -> list[dict[str, Any]]:
    if isinstance(part, list):
        return [one for each in part for one in _links(each)]
    if not isinstance(part, dict):
        return []
    own = [part] if "href" in part else []
    return own + [one for each in part.values() for one in _links(each)]
