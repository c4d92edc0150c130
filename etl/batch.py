"""One section's rows of all its files, on their way through the stages ``fields`` and ``checks``."""

from dataclasses import dataclass

import numpy as np
import pandas as pd
import pyproj

from etl.catalogue import FIELDS, Field
from etl.known import Known
from etl.plan import Section
from etl.problems import Mask
from sewermap.history.kinds import Vocabulary


@dataclass(frozen=True)
class Batch:
    """Columns of one section, and all that a stage may ask of its surroundings.

    ``written`` holds the cells by field as they stood in the file, ``cells`` the same with words replaced and defaults
    filled in (both text, all fields). ``frame`` is what was made of them so far: columns of the section's table, and
    source_file and source_row; its geometry is in the map's CRS. ``vocabulary`` knows the place's own words for kinds.
    """

    section: Section
    written: pd.DataFrame
    cells: pd.DataFrame
    frame: pd.DataFrame
    known: Known
    crs: pyproj.CRS
    metres_per_unit: float
    today: pd.Timestamp
    vocabulary: Vocabulary

    @property
    def name(self) -> str:
        """The section's name."""
        return self.section.name

    @property
    def fields(self) -> tuple[Field, ...]:
        """The section's fields."""
        return FIELDS[self.section.name]

    def has(self, *columns: str) -> bool:
        """Whether the frame has all these columns."""
        return set(columns) <= set(self.frame.columns)

    def no(self) -> Mask:
        """A mask that holds for no row."""
        return np.zeros(len(self.frame), dtype=bool)
