"""A place has two coordinates."""

from etl.batch import Batch
from etl.problems import Finding, finding

_PAIRS = (("x", "y"), ("located_x", "located_y"))
_PLACED_BY_KIND = ("tie-in", "property line", "building")


def both_coordinates(batch: Batch) -> list[Finding]:
    """Rejected: x without y, or y without x."""
    findings = []
    for x, y in _PAIRS:
        if batch.has(x, y) and not any(field.needed for field in batch.fields if field.name == x):
            for have, lack in ((x, y), (y, x)):
                alone = batch.cells[have].notna() & batch.cells[lack].isna()
                findings.append(finding(alone, lack, f"{have} without {lack} is no place"))
    return findings


def referent_has_place(batch: Batch) -> list[Finding]:
    """Rejected: a clean-out or bend of which nobody says where it is. The ends and the property line are known by the map."""
    if batch.name != "referents":
        return []
    cells = batch.cells
    nowhere = cells["measure"].isna() & cells["x"].isna() & cells["y"].isna()
    elsewhere = batch.frame["kind"].notna() & ~batch.frame["kind"].isin(_PLACED_BY_KIND)
    return [finding(nowhere & elsewhere, "measure", "say where it is: its measure, or its x and y")]
