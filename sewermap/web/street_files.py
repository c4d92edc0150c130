"""What the property and street pages read of a street: ``data/street-N.js``, all laterals of it with all that is known of them.

Each table is told by columns, its rows in the order of the street's laterals; ``of`` is the lateral's number within the street.
"""

import json
from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sewermap.plain import WHOLE
from sewermap.web.film_links import film_links
from sewermap.web.list_data import list_file, place_of
from sewermap.web.packing import call, packed_bytes
from sewermap.web.picture_files import site_names, small_names
from sewermap.web.sheet_files import sheet_names
from sewermap.web.site_index import SiteIndex
from sewermap.web.site_tables import SiteTables
from sewermap.web.street_rollup import rollup

Whole = NDArray[np.int64]

OF_LATERAL = (
    *("lateral", "place", "street", "address", "property", "installed_on", "material", "diameter", "method", "length_m"),
    *("tie_in_depth_m", "building_depth_m", "map_accuracy_m", "accuracy_assumed", "property_line_m", "property_line_sigma_m"),
    *("property_line_from", "property_line_note", "private_ends_m", "private_ends_sigma_m", "private_ends_at"),
    *("line_note", "grade", "grade_why", "issues", "repeats", "runs", "last_run_on", "scoped_m"),
)
OF_ISSUE = (
    *("issue", "kind", "grade", "grade_why", "percent", "measure_m", "sigma_m", "to_measure_m", "within_m", "side"),
    *("side_probability", "state", "first_seen", "last_seen", "times_seen", "is_repeat", "mending_work", "after_work"),
    *("after_work_kind", "days_after_work", "growth_low", "growth_high", "dig"),
)
OF_RUN = (
    *("run", "ran_on", "unit", "launch", "direction", "launch_reading", "end_reading", "reason", "crew", "remark", "film"),
    *("from_measure_m", "to_measure_m", "notes"),
)
OF_OBSERVATION = (
    *("observation", "run", "ran_on", "reading", "unit", "to_reading", "kind", "role", "measure_m", "sigma_m", "to_measure_m"),
    *("side", "side_probability", "grade", "percent", "clock_from", "clock_to", "issue", "reason", "remark", "picture"),
    *("picture_file", "picture_small", "film_time", "film_link", "source_file", "source_row"),
)
OF_SIGHTING = ("issue", "run", "ran_on", "observation", "kind", "measure_m", "sigma_m", "grade", "percent")
OF_EVENT = ("issue", "day", "run", "work", "verdict", "reason", "state", "grade")
OF_WORK = ("work", "done_on", "kind", "from_measure_m", "to_measure_m", "by", "remark")
OF_REFERENT = ("name", "kind", "measure_m", "sigma_m")
OF_DUE = (
    *("warranty", "begins_on", "ends_on", "check_from", "check_by", "state", "days_left", "answerable", "work", "start_event"),
    *("cure", "from_measure_m", "to_measure_m", "left_to_look", "checked_on", "checked_by", "note"),
)
OF_CLAIM = ("warranty", "issue", "kind", "first_seen", "ends_on", "notice_by", "days_left", "reason", "caution")
OF_FALL = ("what", "from_measure_m", "to_measure_m", "value", "sigma", "least_or_most", "against", "verdict", "note")
PER_MILLE = 1000.0
"""Slopes are told as millimetres a metre: three decimals of a fall per length would say too little."""

ORDERS: dict[str, tuple[str, ...]] = {
    "runs": ("ran_on", "run"),
    "observations": ("ran_on", "run", "measure_m", "kind", "observation"),
    "sightings": ("issue", "ran_on", "run", "measure_m"),
    "works": ("done_on", "work"),
    "referents": ("measure_m", "name"),
    "due": ("check_by", "warranty"),
    "claims": ("notice_by", "warranty", "issue"),
    "falls": ("what", "from_measure_m", "note"),
}
"""What rows of one lateral are sorted by; tables that are not named keep the order they came in."""


def files(tables: SiteTables, index: SiteIndex) -> dict[str, str]:
    """data/street-N.js for each street number N that has laterals (0: no street), and data/streets.js, the roll-up.

    Lengths are metres to the millimetre, days YYYY-MM-DD texts, what is missing is null. ``picture_file``, ``picture_small``
    and ``dig`` name files of the site's folder where it has them. A public site has none of these files.
    """
    if tables.public:
        return {}
    parts = {name: _Part(frame, columns, of) for name, (frame, columns, of) in _frames(tables, index).items()}
    made = {"data/streets.js": list_file("streets", {"streets": rollup(tables, index)})}
    starts = np.searchsorted(index.lateral_street, np.arange(len(index.streets) + 1))
    for number in np.flatnonzero(np.diff(starts)).tolist():
        first, end = int(starts[number]), int(starts[number + 1])
        told = {name: part.of(first, end) for name, part in parts.items()}
        text = json.dumps(told, ensure_ascii=False, allow_nan=False, separators=(",", ":"), check_circular=False)
        # A lone surrogate has no UTF-8: it is told as a question mark.
        made[f"data/street-{number}.js"] = call("sewermap.streetData", number, packed_bytes(text.encode("utf-8", "replace")))
    return made


class _Part:
    """One table as lists of plain values, cut by lateral in no time: its rows stand in the order of the laterals."""

    def __init__(self, frame: pd.DataFrame, columns: tuple[str, ...], of: Whole) -> None:
        order = np.argsort(of, kind="stable")
        order = order[np.searchsorted(of[order], 0) :]
        self._of = of[order]
        self._columns = {name: values_of(frame[name])[order] for name in columns}

    def of(self, first: int, end: int) -> dict[str, list[Any]]:
        """The rows of laterals ``first`` to before ``end``."""
        low, high = np.searchsorted(self._of, (first, end))
        return {
            "of": (self._of[low:high] - first).tolist(),
            **{name: values[low:high].tolist() for name, values in self._columns.items()},
        }


def values_of(column: "pd.Series[Any]") -> NDArray[Any]:
    """A column as plain values that JSON takes, None for what is missing; numbers to three decimals.

    >>> values_of(pd.Series([1.23456, None])).tolist()
    [1.235, None]
    """
    missing = column.isna().to_numpy(bool)
    if pd.api.types.is_datetime64_any_dtype(column.dtype):
        plain = np.datetime_as_string(column.to_numpy("datetime64[D]")).astype(object)
    elif pd.api.types.is_bool_dtype(column.dtype):
        plain = column.fillna(value=False).to_numpy(bool).astype(object)
    elif pd.api.types.is_numeric_dtype(column.dtype):
        numbers = column.to_numpy(np.float64, na_value=0.0)
        whole = column.name in WHOLE or pd.api.types.is_integer_dtype(column.dtype)
        # Adding 0 turns −0 into 0.
        plain = (np.where(missing, 0.0, numbers).astype(np.int64) if whole else np.round(numbers, 3) + 0.0).astype(object)
    else:
        plain = column.astype(object).to_numpy(dtype=object, copy=True)
        if column.dtype == np.dtype(object) and not missing.all():
            plain = np.array([*(getattr(value, "item", lambda value=value: value)() for value in plain), None], dtype=object)[:-1]
    plain[missing] = None
    return plain


def _frames(tables: SiteTables, index: SiteIndex) -> dict[str, tuple[pd.DataFrame, tuple[str, ...], Whole]]:
    """Each table with its columns, sorted, and by row its lateral's number."""
    sources: Mapping[str, tuple[pd.DataFrame, tuple[str, ...]]] = {
        "runs": (_runs(tables), OF_RUN),
        "observations": (_observations(tables), OF_OBSERVATION),
        "sightings": (tables.issue_sightings, OF_SIGHTING),
        "works": (tables.works, OF_WORK),
        "referents": (tables.referents, OF_REFERENT),
        "due": (tables.due, OF_DUE),
        "claims": (tables.claims, OF_CLAIM),
        "falls": (_falls(tables), OF_FALL),
    }
    ordered = {name: (frame.sort_values(list(ORDERS[name]), kind="stable"), of) for name, (frame, of) in sources.items()}
    by_lateral = {name: (frame, columns, index.lateral_rows(frame["lateral"])) for name, (frame, columns) in ordered.items()}
    laterals = index.laterals.assign(place=place_of(index.laterals))
    issues = index.issues.assign(dig=index.issues["issue"].map(sheet_names(tables.dig_sheets)).astype(object))
    of_event = index.issue_rows(tables.issue_events["issue"])
    event_lateral = np.where(of_event < 0, -1, np.append(index.issue_lateral, -1)[of_event])
    return {
        "laterals": (laterals, OF_LATERAL, np.arange(len(laterals))),
        "issues": (issues, OF_ISSUE, index.issue_lateral),
        "events": (tables.issue_events, OF_EVENT, event_lateral),
        **by_lateral,
    }


def _runs(tables: SiteTables) -> pd.DataFrame:
    """Runs with the stretch that each passed."""
    passed = tables.run_coverages.drop_duplicates("run").set_index("run")[["from_measure_m", "to_measure_m", "notes"]]
    return tables.runs.join(passed, on="run")


def _falls(tables: SiteTables) -> pd.DataFrame:
    """Findings, their sizes as numbers: of slopes in mm/m, else in metres or degrees."""
    scale = np.where(tables.falls["what"] == "slope", PER_MILLE, 1.0)
    sizes = {name: tables.falls[name].astype(float) * scale for name in ("value", "sigma", "least_or_most")}
    measures = {name: tables.falls[name].astype(float) for name in ("from_measure_m", "to_measure_m")}
    return tables.falls.assign(**sizes, **measures)


def _observations(tables: SiteTables) -> pd.DataFrame:
    """Observations with the files of the site that show their picture, the film's time where the tables know it, and its link."""
    seen = tables.placed_observations
    whole, small = (seen["picture"].map(names(tables.pictures)).astype(object) for names in (site_names, small_names))
    film = seen["film_time"] if "film_time" in seen.columns else pd.Series(None, index=seen.index, dtype=object)
    seen = seen.assign(picture_file=whole, picture_small=small, film_time=film)
    return seen.assign(film_link=film_links(seen, tables.runs, tables.films).astype(object))
