"""Rows that name a suspected cross-bore say stop."""

import numpy as np
import pandas as pd

from sewermap.cautions import CROSS_BORE, STOP


def caution_of(kinds: "pd.Series[str]") -> "pd.Series[str]":
    """For each kind of defect what must be said wherever it is named; missing where nothing must.

    >>> caution_of(pd.Series(["roots", "cross-bore"])).str.split(":")[1]
    ['STOP at a suspected cross-bore', ' no cutting, no jetting, call the gas utility.']
    """
    return cautions_where(kinds == CROSS_BORE)


def cautions_where(suspected: "pd.Series[bool]") -> "pd.Series[str]":
    """The caution in the rows where a cross-bore is suspected, missing in the others."""
    return pd.Series(np.nan, index=suspected.index, dtype="str").mask(suspected, STOP)
