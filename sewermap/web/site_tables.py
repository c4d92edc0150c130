"""What a site is made of: plain tables, whoever brought them."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from pyproj import CRS

from sewermap.errors import SewermapError

COLUMNS: dict[str, tuple[str, ...]] = {
    "laterals": (
        *("lateral", "street", "address", "property", "installed_on", "material", "diameter", "method", "length_m"),
        *("tie_in_depth_m", "building_depth_m", "map_accuracy_m", "accuracy_assumed", "property_line_m", "property_line_sigma_m"),
        *("property_line_from", "property_line_note", "private_ends_m", "private_ends_sigma_m", "private_ends_at"),
        *("line_note", "grade", "grade_why", "issues", "repeats", "runs", "last_run_on", "scoped_m", "geometry"),
    ),
    "placed_observations": (
        *("observation", "run", "ran_on", "lateral", "property", "street", "address", "reading", "unit", "to_reading", "kind"),
        *("role", "measure_m", "sigma_m", "to_measure_m", "within_m", "x", "y", "side", "side_probability", "grade", "percent"),
        *("clock_from", "clock_to", "issue", "reason", "accuracy_assumed", "remark", "picture", "source_file", "source_row"),
        "geometry",
    ),
    "issues": (
        *(
            "issue",
            "lateral",
            "property",
            "street",
            "address",
            "kind",
            "grade",
            "crew_grade",
            "own_grade",
            "grade_why",
            "percent",
        ),
        *("measure_m", "sigma_m", "to_measure_m", "within_m", "x", "y", "side", "side_probability", "state", "first_seen"),
        *("last_seen", "times_seen", "is_repeat", "mending_work", "after_work", "after_work_kind", "days_after_work"),
        *("growth_low", "growth_high", "accuracy_assumed", "geometry"),
    ),
    "issue_sightings": (
        *("issue", "lateral", "run", "ran_on", "observation", "kind", "measure_m", "sigma_m", "grade", "crew_grade", "own_grade"),
        *("grade_why", "percent", "cost", "runner_up", "runner_up_cost", "by_hand"),
    ),
    "issue_events": ("issue", "day", "run", "work", "verdict", "reason", "state", "grade"),
    "run_coverages": ("run", "lateral", "ran_on", "from_measure_m", "to_measure_m", "fixes", "set_aside", "notes"),
    "runs": (
        *("run", "lateral", "ran_on", "unit", "launch", "direction", "launch_measure_m", "launch_reading", "end_reading"),
        *("lead_in", "reason", "crew", "remark", "film"),
    ),
    "works": ("work", "lateral", "done_on", "kind", "from_measure_m", "to_measure_m", "by", "remark"),
    "referents": ("lateral", "name", "kind", "measure_m", "x", "y", "sigma_m"),
    "due": (
        *("warranty", "lateral", "property", "street", "begins_on", "ends_on", "check_from", "check_by", "state", "days_left"),
        *("last_run_on", "open_issues", "address", "answerable", "work", "start_event", "cure", "from_measure_m"),
        *("to_measure_m", "left_to_look", "checked_on", "checked_by", "note", "x", "y"),
    ),
    "claims": (
        *("warranty", "issue", "lateral", "street", "kind", "grade", "first_seen", "ends_on", "notice_by", "reason", "property"),
        *("address", "answerable", "cure", "measure_m", "sigma_m", "side", "state", "days_left", "acceptance_run", "caution"),
    ),
    "falls": (
        *("lateral", "what", "from_measure_m", "to_measure_m", "value", "sigma", "least_or_most", "against", "verdict"),
        "note",
    ),
    "parcels": ("property", "map_accuracy_m", "geometry"),
    "streets": ("street", "geometry"),
    "mains": ("main", "geometry"),
    "buildings": ("building", "property", "geometry"),
    "rejects": ("section", "path", "row", "field", "value", "reason"),
    "warnings": ("section", "path", "row", "field", "value", "reason"),
}
"""The frames of a site and the columns that its pages read; further columns do no harm."""

UNITS = ("ft", "m")


@dataclass(frozen=True)
class SiteTables:
    """The tables of one town or city, in the map's CRS, with the column names of the database's tables.

    ``laterals`` bears the columns of lateral_states too; ``due`` and ``claims`` are the answers of these names (all states);
    ``falls`` are the findings of ``sewermap.answers.fall``;
    ``issue_events`` says what each run and work said of each issue: state and grade after the event, one row an event.
    Geometries are shapely or None, whichever the frame (an object column, or a GeoDataFrame's). An issue or observation
    without a geometry is one that could not be placed. Lengths are metres; ``units`` (``ft`` or ``m``) is what pages tell
    first. ``as_of`` is the day that the site tells of: no clock is read. ``pictures``: the files of pictures that were found, by
    the name that observations tell; ``films``: addresses of films that lie in the site's folder, by the name that runs tell.
    ``dig_sheets``: pages by issue. ``background``: the address of an online map's tiles, which
    the town map then offers. ``public``: pages leave out what points at a house, and tell streets with fewer than
    ``public_least`` laterals together.
    """

    laterals: pd.DataFrame
    placed_observations: pd.DataFrame
    issues: pd.DataFrame
    issue_sightings: pd.DataFrame
    issue_events: pd.DataFrame
    run_coverages: pd.DataFrame
    runs: pd.DataFrame
    works: pd.DataFrame
    referents: pd.DataFrame
    due: pd.DataFrame
    claims: pd.DataFrame
    falls: pd.DataFrame
    parcels: pd.DataFrame
    streets: pd.DataFrame
    mains: pd.DataFrame
    buildings: pd.DataFrame
    rejects: pd.DataFrame
    warnings: pd.DataFrame
    crs: CRS | None
    title: str
    as_of: date
    units: str = "ft"
    language: str = "en"
    background: str | None = None
    public: bool = False
    public_least: int = 5
    pictures: Mapping[str, Path] = field(default_factory=dict)
    films: Mapping[str, str] = field(default_factory=dict)
    dig_sheets: Mapping[str, str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        """Refuse units that no counter shows."""
        if self.units not in UNITS:
            raise SewermapError(f"the site's units are '{self.units}'; they must be ft or m")


def site_tables(frames: Mapping[str, pd.DataFrame], **about: Any) -> SiteTables:
    """Tables of a site from what there is: frames and columns that are missing are added without a value.

    ``about``: crs, title, as_of and, where they are not the usual ones, units, language, public. Raises SewermapError for units
    that are not ft or m, and for a frame that no site knows.

    >>> tables = site_tables({}, crs=None, title="Ottermarsh Quay", as_of=date(2026, 1, 31))
    >>> len(tables.issues), "state" in tables.issues
    (0, True)
    """
    strange = sorted(set(frames) - set(COLUMNS))
    if strange:
        raise SewermapError(f"a site has no table '{strange[0]}'; it knows {', '.join(COLUMNS)}")
    whole: dict[str, Any] = {name: _complete(frames.get(name), columns) for name, columns in COLUMNS.items()}
    return SiteTables(**whole, **about)


def _complete(frame: pd.DataFrame | None, columns: tuple[str, ...]) -> pd.DataFrame:
    known = pd.DataFrame() if frame is None else frame
    missing = [name for name in columns if name not in known.columns]
    if not missing:
        return known
    blank = {name: np.full(len(known), None if name == "geometry" else np.nan, dtype=object) for name in missing}
    return pd.DataFrame({**{name: known[name] for name in known.columns}, **blank}, index=known.index)
