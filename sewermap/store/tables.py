"""The one schema of sewermap, on both engines: all tables by name.

Two kinds of tables: *recorded* ones hold what was said, *computed* ones what follows from it. Lengths are metres (``_m``),
unless a column keeps a text as it was written. Names are plural because ``lateral`` is a reserved word of PostgreSQL.
"""

import sqlalchemy as sa

from sewermap.store.computed_tables import (
    counter_settings,
    issue_sightings,
    issues,
    lateral_states,
    laterals,
    placed_observations,
    run_coverages,
    sketches,
)
from sewermap.store.recorded_tables import (
    RECORDED,
    Recorded,
    buildings,
    file_says,
    issue_names,
    joins,
    lateral_lines,
    legs,
    located_points,
    mains,
    meta,
    observations,
    parcels,
    pictures,
    place_rules,
    properties,
    referents,
    rejects,
    runs,
    source_files,
    splits,
    streets,
    warranties,
    works,
)
from sewermap.store.schema import SCHEMA_VERSION, metadata

__all__ = [
    "COMPUTED",
    "LAYERS",
    "RECORDED",
    "SCHEMA_VERSION",
    "Recorded",
    "buildings",
    "counter_settings",
    "file_says",
    "issue_names",
    "issue_sightings",
    "issues",
    "joins",
    "lateral_lines",
    "lateral_states",
    "laterals",
    "legs",
    "located_points",
    "mains",
    "meta",
    "metadata",
    "observations",
    "parcels",
    "pictures",
    "place_rules",
    "placed_observations",
    "properties",
    "referents",
    "rejects",
    "run_coverages",
    "runs",
    "sketches",
    "source_files",
    "splits",
    "streets",
    "warranties",
    "works",
]

COMPUTED = (laterals, placed_observations, run_coverages, issues, issue_sightings, lateral_states, sketches, counter_settings)

LAYERS = (parcels, streets, mains, buildings, lateral_lines, laterals, placed_observations, issues, lateral_states, sketches)
"""Tables with a geometry."""

for _table, _columns in (
    (lateral_lines, ("lateral",)),
    (runs, ("run",)),
    (runs, ("lateral",)),
    (observations, ("run",)),
    (file_says, ("file_id",)),
    (laterals, ("lateral",)),
    (placed_observations, ("lateral",)),
    (placed_observations, ("run",)),
    (placed_observations, ("street", "kind")),
    (run_coverages, ("lateral",)),
    (issue_names, ("lateral",)),
    (issues, ("issue",)),
    (issues, ("lateral",)),
    (issues, ("street", "kind", "grade", "last_seen")),
    (issues, ("kind", "last_seen", "grade")),
    (issues, ("last_seen",)),
    (issue_sightings, ("issue",)),
    (issue_sightings, ("lateral",)),
    (lateral_states, ("lateral",)),
    (lateral_states, ("street",)),
    (sketches, ("lateral",)),
    (pictures, ("run",)),
):
    sa.Index(f"ix_{_table.name}_{'_'.join(_columns)}", *(_table.c[column] for column in _columns))
