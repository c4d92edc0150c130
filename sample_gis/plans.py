"""The SOURCES.toml files of the town: one for the map, the office's papers and the first crew; one for each further crew.

A section of a SOURCES.toml has one shape, and each crew has its own: so each further crew has its own file, loaded after.
"""

from collections.abc import Iterator, Mapping

from sample_gis.crews import ALL, Crew
from sample_gis.place_rules import RULE_FILES
from sample_gis.streets import CRS, TOWN

MAIN_PLAN = "SOURCES.toml"

_MAP = f"""# {TOWN}, a town that does not exist. Load this file first, then those of the other crews:
# {{others}}
crs = "{CRS}"

[laterals]
from = "gis/town.gpkg"
layer = "service_lines"
tie_in = "main"                # some were drawn from the house down, some from the main up
[laterals.fields]
lateral = "LINE_NO"
street = "STREET"
address = "HOUSE"
property = "LOT"
installed_on = "LAID"
material = "PIPE"
diameter = "SIZE"
map_accuracy = "DRAWN_TO_M"
tie_in_depth = "MAIN_DEEP_M"
building_depth = "HOUSE_DEEP_M"
tie_in_invert = "MAIN_INV_M"
building_invert = "HOUSE_INV_M"

[parcels]
from = "gis/lots.fgb"
[parcels.fields]
property = "LOT"
map_accuracy = "DRAWN_TO_M"

[buildings]
from = "gis/town.gpkg"
layer = "footprints"
[buildings.fields]
building = "HOUSE_ID"
property = "LOT"

[streets]
from = "gis/streets.geojson"
[streets.fields]
street = "name"

[mains]
from = "gis/mains.shp.zip"
[mains.fields]
main = "MAIN_ID"

[referents]
from = "office/known-points.csv"

[works]
from = "office/works.csv"

[warranties]
from = "office/warranties.csv"

[rules]
{{rules}}
"""


def plan_names() -> list[str]:
    """The names of the files, in the order in which they are to be loaded."""
    return [MAIN_PLAN, *(f"SOURCES-{crew.folder}.toml" for crew in ALL[1:])]


def plan_texts() -> dict[str, str]:
    """Each file's name and text, in the order of loading."""
    names = plan_names()
    rules = "\n".join(f'{name} = "{path}"' for name, (path, _) in RULE_FILES.items())
    texts = {MAIN_PLAN: _MAP.format(others=", ".join(names[1:]), rules=rules) + "\n" + _crew_text(ALL[0])}
    for name, crew in zip(names[1:], ALL[1:], strict=True):
        heading = f"# The logs of the crew {crew.folder.capitalize()} of {TOWN}; load {MAIN_PLAN} first.\n"
        texts[name] = f'{heading}crs = "{CRS}"\n\n{_crew_text(crew)}'
    return texts


def _crew_text(crew: Crew) -> str:
    return "\n".join([*_runs(crew), "", *_observations(crew), ""])


def _runs(crew: Crew) -> Iterator[str]:
    yield from _head(crew, "runs")
    yield "[runs.fields]"
    fields = dict(crew.runs)
    if crew.by_address:
        fields["address"] = fields.pop("lateral")
    yield from _pairs(fields)
    yield "[runs.defaults]"
    yield f'unit = "{crew.unit}"'
    yield from _values("runs", ("launch", "direction", "reason"), crew.words)


def _observations(crew: Crew) -> Iterator[str]:
    yield from _head(crew, "observations")
    yield "[observations.fields]"
    yield from _pairs(crew.observations)
    if crew.lonlat:
        yield "[observations.defaults]"
        yield 'located_crs = "EPSG:4326"'
    yield from _values("observations", ("kind", "referent"), {"kind": crew.kinds} | dict(crew.words))


def _head(crew: Crew, section: str) -> Iterator[str]:
    yield f"[{section}]"
    yield f'from = "logs/{crew.folder}/{section}-*.{crew.suffix}"'
    if section == "runs":
        yield f'dates = "{crew.dates}"'
    if crew.encoding == "cp1252":
        yield 'encoding = "windows-1252"'


def _values(section: str, fields: tuple[str, ...], words: Mapping[str, Mapping[str, str]]) -> Iterator[str]:
    for field in fields:
        if field in words:
            yield f"[{section}.values.{field}]"
            yield from (f'"{theirs}" = "{ours}"' for ours, theirs in words[field].items())


def _pairs(fields: Mapping[str, str]) -> Iterator[str]:
    for ours, theirs in fields.items():
        yield f'{ours} = "{theirs}"'
