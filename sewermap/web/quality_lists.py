"""What is wrong, assumed or missing in a town's data, as lists."""

import numpy as np
import pandas as pd

from sewermap.line.line_doubt import DOUBTFUL
from sewermap.web.list_data import place_of, steps
from sewermap.web.site_index import SiteIndex, plain_texts
from sewermap.web.site_tables import SiteTables

OF_UNPLACED = ("lateral", "place", "kind", "reading", "unit", "run", "ran_on", "reason", "remark", "source_file", "source_row")
OF_REJECTED = ("path", "row", "section", "field", "value", "reason")


def lists(tables: SiteTables, index: SiteIndex) -> dict[str, pd.DataFrame]:
    """By name: unplaced, rejected, warnings, conflicts, never (scoped), assumed (accuracy).

    The last two tell laterals by their number in the index, as steps: most of a city may be in them.
    """
    seen = tables.placed_observations
    unplaced = seen[seen["measure_m"].isna()]
    unplaced = unplaced.assign(place=place_of(unplaced)).sort_values(["source_file", "source_row"], kind="stable")
    assumed = index.laterals["accuracy_assumed"].eq(True).fillna(False).to_numpy(bool)  # noqa: FBT003 - a value, no argument
    return {
        "unplaced": unplaced[list(OF_UNPLACED)],
        "rejected": tables.rejects.sort_values(["path", "row", "field"], kind="stable")[list(OF_REJECTED)],
        "warnings": tables.warnings.sort_values(["path", "row", "field"], kind="stable")[list(OF_REJECTED)],
        "conflicts": conflicts(tables),
        "never": pd.DataFrame({"step": steps(np.flatnonzero(~looked_at(tables, index)))}),
        "assumed": pd.DataFrame({"step": steps(np.flatnonzero(assumed))}),
    }


def looked_at(tables: SiteTables, index: SiteIndex) -> "np.ndarray[tuple[int], np.dtype[np.bool_]]":
    """By lateral, whether any run passed some of it."""
    runs = tables.run_coverages
    rows = index.lateral_rows(runs.loc[runs["from_measure_m"].notna(), "lateral"])
    seen = np.zeros(len(index.laterals), dtype=bool)
    seen[rows[rows >= 0]] = True
    return seen


def conflicts(tables: SiteTables) -> pd.DataFrame:
    """What contradicts itself: runs with their notes, laterals with the notes on their line and on their property line."""
    runs, laterals = tables.run_coverages, tables.laterals
    of_run = _noted(runs, "notes")
    told = [
        pd.DataFrame({"what": "run", "lateral": of_run["lateral"], "run": of_run["run"], "ran_on": of_run["ran_on"]}).assign(
            note=of_run["notes"]
        )
    ]
    for name in ("line_note", "property_line_note"):
        of_line = _noted(laterals, name)
        if name == "line_note":  # that no map draws a line is no contradiction
            of_line = of_line[plain_texts(of_line[name]).str.contains(DOUBTFUL, regex=False)]
        told.append(
            pd.DataFrame({"what": "line", "lateral": of_line["lateral"], "run": None, "ran_on": pd.NaT}).assign(
                note=of_line[name]
            )
        )
    places = pd.Series(place_of(laterals).to_numpy(), index=pd.Index(plain_texts(laterals["lateral"])), dtype="str")
    rows = pd.concat(told, ignore_index=True)
    rows = rows.assign(place=places.reindex(pd.Index(plain_texts(rows["lateral"]))).to_numpy())
    return rows.sort_values(["what", "lateral", "ran_on", "run"], ascending=[False, True, True, True], kind="stable")


def _noted(rows: pd.DataFrame, name: str) -> pd.DataFrame:
    """The rows of which a note says something."""
    return rows[rows[name].notna() & plain_texts(rows[name]).ne("")]
