"""What is known when a row is read: what the database holds, and what this load has read before it."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

_KEYS = {"laterals": ("lateral",), "runs": ("run",), "referents": ("lateral", "name")}
_COLUMNS = {
    "laterals": {"lateral": "str", "address": "str", "street": "str", "installed_on": "datetime64[s]"},
    "runs": {
        "run": "str",
        "lateral": "str",
        "unit": "str",
        "ran_on": "datetime64[s]",
        "launch_reading_m": "float64",
        "end_reading_m": "float64",
    },
    "referents": {"lateral": "str", "name": "str"},
}


PICTURE = (
    "picture", "sha256", "taken_at", "taken_from", "reading", "unit", "sigma_m", "reading_from", "counter", "mark",
)  # fmt: skip


def looked_up(table: pd.DataFrame, names: "pd.Series[str]", column: str) -> pd.Series:
    """A column of a table of what is known, for each of these names (of laterals or runs); empty where one is unknown."""
    found = table.set_index(table.columns[0])[column].reindex(pd.Index(names))
    return found.set_axis(names.index)


def _none(table: str) -> pd.DataFrame:
    return pd.DataFrame({name: pd.Series([], dtype=kind) for name, kind in _COLUMNS[table].items()})


def _no_geometry() -> NDArray[np.object_]:
    return np.array([], dtype=object)


@dataclass(frozen=True)
class Known:
    """Current rows of the database that others refer to; ``joined`` adds the good rows of this load as it goes.

    laterals has columns lateral, address, street, installed_on; runs has run, lateral, unit (and, where known, ran_on,
    launch_reading_m, end_reading_m); referents has lateral, name. ``mains`` are geometries in the map's CRS.
    """

    laterals: pd.DataFrame = field(default_factory=lambda: _none("laterals"))
    runs: pd.DataFrame = field(default_factory=lambda: _none("runs"))
    referents: pd.DataFrame = field(default_factory=lambda: _none("referents"))
    mains: NDArray[np.object_] = field(default_factory=_no_geometry)
    rejected: Mapping[str, pd.DataFrame] = field(default_factory=dict)
    """By section: names that this load rejected, with columns name, file, row."""
    pictures: pd.DataFrame = field(default_factory=lambda: pd.DataFrame({name: pd.Series(dtype="str") for name in PICTURE}))
    """What is recorded of pictures and films, so that no counter is read twice: the columns ``PICTURE``."""
    rules: Mapping[str, str] = field(default_factory=dict)
    """The place's own rule files that earlier loads recorded, as text by name."""

    def __post_init__(self) -> None:
        for table, key in _KEYS.items():
            shaped = _shaped(table, getattr(self, table))
            object.__setattr__(self, table, shaped.drop_duplicates(list(key), keep="last", ignore_index=True))

    def joined(self, section: str, good: pd.DataFrame, bad: pd.DataFrame) -> "Known":
        """With the rows that a section of this load gave. A row of this load stands before the database's of the same key."""
        if section == "mains":
            return replace(self, mains=np.concatenate([self.mains, good["geometry"].to_numpy(dtype=object)]))
        if section not in _KEYS:
            return self
        both = pd.concat([getattr(self, section), _shaped(section, good)], ignore_index=True)
        tables: dict[str, Any] = {section: both}
        rejected = {**self.rejected, section: _rejected_names(section, good, bad)}
        return replace(self, **tables, rejected=rejected)


def _shaped(section: str, frame: pd.DataFrame) -> pd.DataFrame:
    return frame.reindex(columns=list(_COLUMNS[section])).astype(_COLUMNS[section])


def _rejected_names(section: str, good: pd.DataFrame, bad: pd.DataFrame) -> pd.DataFrame:
    name = _KEYS[section][-1]
    if bad.empty:
        return pd.DataFrame({"name": [], "file": [], "row": []}).astype({"name": "str", "file": "str", "row": "int64"})
    columns = {name: "name", "source_file": "file", "source_row": "row"}
    names = bad[list(columns)].rename(columns=columns).dropna(subset=["name"]).drop_duplicates("name")
    return names[~names["name"].isin(good[name])]
