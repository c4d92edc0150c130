"""Computed tables anew: the laterals of which something changed, or all of them.

The counter's figures are estimated from every fix in the database. When a rounded figure moves, every lateral is placed anew,
so that what stands in the database never depends on the order in which files were loaded.
"""

from collections.abc import Collection
from dataclasses import replace

import numpy as np
import pandas as pd
import shapely
import sqlalchemy as sa

from etl.pictures_joined import moved as moved_pictures
from etl.pictures_joined import pictures_joined
from etl.placed_rows import placed_rows
from etl.story import story_of
from sewermap.follow.issue_rows import issue_tables
from sewermap.follow.together import placed_together
from sewermap.history.grading import grade_table
from sewermap.history.kinds import vocabulary
from sewermap.history.life_rules import life_rules
from sewermap.line.counter_model import CounterModel
from sewermap.line.known_points import Laterals
from sewermap.line.line_doubt import with_line_doubts
from sewermap.line.located import Located, located_points, with_heads
from sewermap.line.material_changes import with_material_changes
from sewermap.line.place_figures import figures_of_place
from sewermap.line.places import Places
from sewermap.line.scene import Scene
from sewermap.store import bulk, computed, recorded
from sewermap.store import tables as schema
from sewermap.store.scene import read_located, read_meant_fixes, read_observations, read_scene
from sewermap.store.session import Store
from sewermap.store.sketches import sketch_rows

FIGURES = ("launch_m", "scale", "slip_m")
"""The figures of the counter model that data can tell."""

WORDS = ("property_line_from", "property_line_note", "private_ends_at")
OF_SKETCH = ("method", "accuracy_along")
OF_PROPERTY_LINE = (
    "property_line_m", "property_line_sigma_m", "property_line_fix_m", "property_line_fix_sigma_m", "private_ends_m",
    "private_ends_sigma_m", *WORDS,
)  # fmt: skip
"""What places and sides depend on besides a lateral's own runs."""


def recompute(store: Store, conn: sa.Connection, touched: Collection[str] | None = None) -> pd.DataFrame:
    """Place anew the laterals named in ``touched`` (None: all) and whatever else moved with them.

    Returns warnings: columns file, table, row, field, value, reason.
    """
    given = read_located(conn, store.crs)
    scene = read_scene(store, conn, given)
    seen_fixes = read_meant_fixes(conn, scene, store.crs)
    located = located_points(given, seen_fixes, scene)
    scene = with_line_doubts(scene, located)
    meant_fixes = with_heads(located.told_once(seen_fixes), located.heads())
    model, origin = _model_in_force(conn, scene, meant_fixes)
    moved = _keep_figures(conn, model, origin)
    scene = with_material_changes(replace(scene, rules=replace(scene.rules, counter=model)), meant_fixes)
    computed.replace_sketches(conn, sketch_rows(scene.sketches))
    names = None if touched is None or moved else set(touched) | _with_another_line(conn, scene.laterals)
    names = names if names is None else names | _with_moved_property_line(conn, scene.laterals)
    joined = pictures_joined(conn)
    names = names if names is None else names | moved_pictures(conn, joined)
    if names is not None and not names:
        return joined.warnings(names)
    observations = located.told_once(read_observations(conn, scene, names, store.crs))
    works = recorded.current(conn, schema.works)
    works = works if names is None else works[works["lateral"].isin(names)]
    rules = recorded.rules(conn)
    words = vocabulary(rules.get("kinds"))
    places, followed = placed_together(scene, observations, works, words, _heads_of(scene, located, names))
    rows = _computed_rows(scene, observations, places, names)
    story = story_of(conn, scene, rows["placed_observations"], followed, rows["run_coverages"], works)
    told = issue_tables(story, scene.laterals, life_rules(words), grade_table(rules.get("grades")))
    rows |= _issue_rows(told, rows["laterals"])
    rows["placed_observations"] = joined.filled(_with_issues(rows["placed_observations"], rows["issue_sightings"]))
    rows |= {name: _with_owners(rows[name], scene.nowhere) for name in ("placed_observations", "issues")}
    computed.replace_laterals(conn, names, rows)
    warned = [_warnings(scene, observations, places, names), _of_located(given, located, names), joined.warnings(names)]
    return pd.concat(warned, ignore_index=True)


def _heads_of(scene: Scene, located: Located, names: Collection[str] | None) -> pd.DataFrame:
    """The located heads of the runs of these laterals."""
    heads = located.heads()
    of = scene.runs["lateral"].iloc[heads["push"].to_numpy(np.int64)]
    return heads if names is None else heads[of.isin(names).to_numpy()]


def _of_located(given: pd.DataFrame, located: Located, names: Collection[str] | None) -> pd.DataFrame:
    """What is to be told of located points of these laterals."""
    told = located.warnings()
    rows = given.iloc[told["row"].to_numpy(np.int64)]
    mine = np.ones(len(rows), dtype=bool) if names is None else rows["lateral"].isin(names).to_numpy()
    value = rows["x"].map("{:.10g}".format).astype("str").where((told["field"] == "x").to_numpy(), rows["run"])
    return _told("located", rows[mine], told[mine], value[mine])


def _model_in_force(conn: sa.Connection, scene: Scene, meant_fixes: pd.DataFrame) -> tuple[CounterModel, str]:
    rules = scene.rules
    fitted = figures_of_place(scene, meant_fixes)
    given = "the place's rule" if "counter" in recorded.rules(conn) else "common practice"
    return fitted, given if fitted == rules.counter else "estimated from the fixes of all runs"


def _keep_figures(conn: sa.Connection, model: CounterModel, origin: str) -> bool:
    """Keep the figures in force; tells whether one of them moved."""
    rows = pd.DataFrame({"name": FIGURES, "value": [getattr(model, name) for name in FIGURES], "origin": origin})
    before = computed.read_counter_settings(conn)
    if before[["name", "value", "origin"]].equals(rows.astype(before[["name", "value", "origin"]].dtypes)):
        return False
    computed.set_counter_settings(conn, rows)
    return before.empty or before["value"].tolist() != rows["value"].tolist()


def _with_moved_property_line(conn: sa.Connection, laterals: Laterals) -> set[str]:
    """Laterals whose property line, or end of private, is not what it was when they were placed: a parcel or building changed."""
    before = bulk.read(conn, sa.select(*(schema.laterals.c[name] for name in ("lateral", *OF_PROPERTY_LINE))))
    now = laterals.table[["lateral", *OF_PROPERTY_LINE]].merge(before, on="lateral", how="left", suffixes=("", "_before"))
    same = np.ones(len(now), dtype=bool)
    for name in OF_PROPERTY_LINE:
        nothing: float | str = "" if name in WORDS else -1.0
        same &= now[name].fillna(nothing).to_numpy() == now[f"{name}_before"].fillna(nothing).to_numpy()
    return set(now.loc[~same, "lateral"])


def _with_another_line(conn: sa.Connection, laterals: Laterals) -> set[str]:
    """Laterals whose line is not the one they were placed on: made of other legs, of another main or house, or gone."""
    columns = ["lateral", *OF_SKETCH, "geometry"]
    before = bulk.read(conn, sa.select(*(schema.laterals.c[name] for name in columns)).where(schema.laterals.c.method != "drawn"))
    now = laterals.table.loc[laterals.table["method"] != "drawn", columns]
    both = now.merge(before, on="lateral", how="outer", suffixes=("", "_before"))
    lines = [
        shapely.to_wkb(both[name].where(both[name].notna(), None).to_numpy(object)) for name in ("geometry", "geometry_before")
    ]
    same = lines[0] == lines[1]
    for name in OF_SKETCH:
        same &= (both[name].fillna("") == both[f"{name}_before"].fillna("")).to_numpy(bool)
    return set(both.loc[~same, "lateral"])


def _computed_rows(
    scene: Scene, observations: pd.DataFrame, places: Places, names: Collection[str] | None
) -> dict[str, pd.DataFrame]:
    table = scene.laterals.table
    wanted = np.ones(len(table), dtype=bool) if names is None else table["lateral"].isin(names).to_numpy()
    laterals = table[wanted].assign(map_accuracy_m=table["accuracy_m"])
    run_wanted = np.ones(len(scene.runs), dtype=bool) if names is None else scene.runs["lateral"].isin(names).to_numpy()
    coverages = places.coverages.drop(columns="lateral").assign(
        id=scene.runs["id"], run=scene.runs["run"], lateral=scene.runs["lateral"], ran_on=scene.runs["ran_on"]
    )[run_wanted]
    coverages["notes"] = coverages["notes"].astype("str").where(coverages["notes"] != "")
    return {
        "laterals": _only_columns(laterals, schema.laterals),
        "run_coverages": _only_columns(coverages, schema.run_coverages),
        "placed_observations": placed_rows(scene.runs, scene.laterals, observations, places),
    }


def _issue_rows(told: dict[str, pd.DataFrame], laterals: pd.DataFrame) -> dict[str, pd.DataFrame]:
    """The tables of issues in the shape of the store; of lateral_states only the laterals in question, under their ids."""
    states = told["lateral_states"]
    states = states[states["lateral"].isin(laterals["lateral"])]
    return {
        "issues": _only_columns(told["issues"], schema.issues),
        "issue_sightings": _only_columns(told["issue_sightings"], schema.issue_sightings),
        "lateral_states": _only_columns(states, schema.lateral_states),
    }


def _with_issues(placed: pd.DataFrame, sightings: pd.DataFrame) -> pd.DataFrame:
    """Placed observations with the name of the issue that each is a sighting of."""
    names = sightings.set_index("id")["issue"]
    return placed.assign(issue=pd.Series(names.reindex(placed["id"]).to_numpy(), index=placed.index, dtype="str"))


def _with_owners(rows: pd.DataFrame, nowhere: pd.DataFrame) -> pd.DataFrame:
    """Whose what was seen is, also on a lateral that lies nobody knows where: a street's defects are asked for by its name."""
    of = nowhere.set_index("lateral").reindex(rows["lateral"])
    return rows.assign(**{str(name): rows[name].fillna(of[name].set_axis(rows.index)) for name in of})


def _only_columns(rows: pd.DataFrame, table: sa.Table) -> pd.DataFrame:
    return rows[[column.name for column in table.c]]


def _no_warnings() -> pd.DataFrame:
    return pd.DataFrame({name: pd.Series(dtype="object") for name in ("file", "table", "row", "field", "value", "reason")})


def _warnings(scene: Scene, observations: pd.DataFrame, places: Places, names: Collection[str] | None) -> pd.DataFrame:
    """Everything worth telling, each with the file and row it is about."""
    told = places.warnings
    on_row, on_run = told[told["row"] >= 0], told[told["push"] >= 0]
    rows, runs, lines = observations.iloc[on_row["row"]], scene.runs.iloc[on_run["push"]], scene.laterals.table
    line_rows = lines.iloc[scene.laterals.index_of(scene.warnings["lateral"])]
    told_of_rows = _told(
        "observations", rows, on_row, rows["reading"].where(on_row["field"].to_numpy() == "reading", rows["referent"])
    )
    told_of_runs = _told("runs", runs, on_run, runs["run"])
    told_of_lines = _told("laterals", line_rows, scene.warnings, scene.warnings["value"])
    if names is not None:
        told_of_runs = told_of_runs[runs["lateral"].isin(names).to_numpy()]
        told_of_lines = told_of_lines[line_rows["lateral"].isin(names).to_numpy()]
    return pd.concat([_no_warnings(), told_of_lines, told_of_runs, told_of_rows], ignore_index=True)


def _told(table: str, rows: pd.DataFrame, about: pd.DataFrame, values: pd.Series) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "file": rows["source_file"].to_numpy(),
            "table": table,
            "row": rows["source_row"].to_numpy(),
            "field": about["field"].to_numpy(),
            "value": values.to_numpy(),
            "reason": about["reason"].to_numpy(),
        }
    )
