"""What pygeoapi is told: three layers for reading, where they lie, and no word of anybody."""

import re
from typing import Any

from sewermap import cautions
from sewermap.answers.features import DAY_OF, LAYERS, NAMED_BY, Box, extent_in_degrees
from sewermap.store.session import Store

LIMIT, MOST = 1000, 10_000
TITLES = {
    "laterals": "Laterals: the building sewers as lines, from the tie-in to the building",
    "issues": "Issues: each defect as it was last seen, with its state",
    "placed_observations": "Placed observations: everything that runs saw, where on the ground it lies",
}
EVERYWHERE: Box = (-180.0, -90.0, 180.0, 90.0)
NEEDED = re.compile(r"^/(conformance|openapi|collections(/[a-z_]+(/(items(/\{featureId\})?|queryables|schema))?)?)?$")
"""The paths that are served."""

_CORE = "http://www.opengis.net/spec/ogcapi-features-1/1.0/conf"


def conformance() -> dict[str, list[str]]:
    """The classes of OGC 17-069r4 that are served.

    >>> len(conformance()["conformsTo"])
    3
    """
    return {"conformsTo": [f"{_CORE}/{name}" for name in ("core", "oas30", "geojson")]}


def settings(store: Store, base: str) -> dict[str, Any]:
    """Pygeoapi's configuration for a database that is called by the address ``base``."""
    blank = "none"
    return {
        "server": {
            "url": base,
            "mimetype": "application/json; charset=UTF-8",
            "encoding": "utf-8",
            "languages": ["en-US"],
            "limits": {"default_items": LIMIT, "max_items": MOST, "on_exceed": "throttle"},
            "gzip": False,
        },
        "logging": {"level": "CRITICAL"},
        "metadata": {
            "identification": {
                "title": "Laterals",
                "description": " ".join(cautions.DIG),
                "keywords": ["sewer", "lateral"],
                "terms_of_service": blank,
                "url": base,
            },
            "license": {"name": blank, "url": base},
            "provider": {"name": blank, "url": base},
            "contact": {"name": blank, "url": base},
        },
        "resources": {layer: _collection(store, layer) for layer in LAYERS},
    }


def _collection(store: Store, layer: str) -> dict[str, Any]:
    box = extent_in_degrees(store, layer) or EVERYWHERE
    return {
        "type": "collection",
        "title": TITLES[layer],
        "description": f"{TITLES[layer]}. A question by datetime looks at {DAY_OF[layer]}.",
        "keywords": ["sewer", "lateral"],
        "links": [],
        # No temporal extent: pygeoapi would answer a day outside it with an error, where the standard wants no features.
        "extents": {"spatial": {"bbox": list(box), "crs": "http://www.opengis.net/def/crs/OGC/1.3/CRS84"}},
        "providers": [
            {
                "type": "feature",
                "name": "sewermap.serve.ogc_provider.LayerProvider",
                "data": layer,
                "store": Held(store),
                "id_field": NAMED_BY[layer],
                "time_field": DAY_OF[layer],
                "crs": ["http://www.opengis.net/def/crs/OGC/1.3/CRS84"],
            }
        ],
    }


class Held:
    """A store inside a configuration: pygeoapi copies that whole, and a store's connections are not to be copied."""

    def __init__(self, store: Store) -> None:
        self.store = store

    def __deepcopy__(self, _memo: dict[int, Any]) -> "Held":
        return self
