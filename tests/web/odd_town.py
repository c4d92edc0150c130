"""The sample town with odd laterals: what no well-kept town has, but every real one."""

from dataclasses import replace

import numpy as np
import pandas as pd

from sewermap.web.site_tables import SiteTables

NEVER, NO_SIDE, UNPLACED, NO_LENGTH, HOSTILE, CLEAN_OUT = "L-0001", "L-0002", "L-0003", "L-0004", "L-0005", "L-0007"
HOSTILE_TEXT = "<script>alert(1)</script> \"' </script> \u2028 \u202eabc \u200f <img src=x onerror=alert(2)> " + "W" * 10_000
REASON = "past the end of the line by 4.2 m"
TEXTS = {
    "laterals": (
        "address",
        "material",
        "diameter",
        "property",
        "property_line_note",
        "property_line_from",
        "grade_why",
        "method",
    ),
    "runs": ("crew", "remark", "film", "reason", "launch", "end_reading"),
    "placed_observations": ("remark", "picture", "reading", "film_time"),
    "works": ("by", "remark", "kind"),
    "referents": ("name", "kind"),
    "run_coverages": ("notes",),
    "due": ("answerable", "note", "left_to_look"),
    "issues": ("kind",),
}


def odd_tables(tables: SiteTables) -> SiteTables:
    """One lateral never scoped, one without property line, unplaced observations, no length, hostile text everywhere."""
    frames = {name: getattr(tables, name).copy() for name in (*TEXTS, "issue_sightings", "issue_events")}
    for name in ("runs", "run_coverages", "placed_observations", "issues", "issue_sightings", "works"):
        frames[name] = frames[name][frames[name]["lateral"] != NEVER]
    laterals = frames["laterals"]
    of = {name: laterals["lateral"] == name for name in (NEVER, NO_SIDE, NO_LENGTH, CLEAN_OUT)}
    laterals.loc[of[NEVER], ["runs", "scoped_m", "grade"]] = np.nan
    laterals.loc[of[NEVER], "last_run_on"] = pd.NaT
    numbers = ["property_line_m", "property_line_sigma_m", "private_ends_m", "private_ends_sigma_m"]
    laterals.loc[of[NO_SIDE], numbers] = np.nan
    laterals.loc[of[NO_SIDE], ["private_ends_at", "property_line_from"]] = None
    laterals.loc[of[NO_LENGTH], ["length_m", *numbers]] = np.nan
    laterals.loc[of[CLEAN_OUT], "private_ends_at"] = "clean-out"
    laterals.loc[of[CLEAN_OUT], "private_ends_m"] -= 1.5
    seen = frames["placed_observations"]
    lost = ((seen["lateral"] == UNPLACED) & (seen["kind"] == "roots")) | (seen["lateral"] == NO_LENGTH)
    seen.loc[lost, ["measure_m", "sigma_m", "to_measure_m"]] = np.nan
    seen.loc[lost, "reason"] = REASON
    seen.loc[lost, "geometry"] = None
    _make_hostile(frames)
    return replace(tables, **frames)


def _make_hostile(frames: dict[str, pd.DataFrame]) -> None:
    for name, columns in TEXTS.items():
        frame = frames[name]
        for column in columns:
            if column not in frame.columns:
                frame[column] = None
            frame[column] = frame[column].astype(object)
            frame.loc[frame["lateral"] == HOSTILE, column] = HOSTILE_TEXT
