r"""Names and addresses, loaded when somebody first needs one.

Three lists of lines, deflated: laterals, addresses, issues, in the order of the index. A backslash tells what stands in for
something longer: ``\s`` the lateral's street, ``\l`` the lateral's name, ``\n`` a new line, ``\\`` a backslash.
"""

from itertools import repeat
from typing import Any

import numpy as np
import pandas as pd

from sewermap.web.packing import call, packed_bytes
from sewermap.web.site_index import SiteIndex, plain_texts

NEVER = "\n"
"""No escaped text holds it: what stands for a name that is empty, so that nothing is replaced."""


def names_file(index: SiteIndex) -> str:
    """``data/names.js``."""
    lateral = _escaped(index.laterals["lateral"])
    street = _escaped(pd.Series(index.streets, dtype="str"))[index.lateral_street]
    lists = (
        lateral,
        _with(_escaped(index.laterals["address"]), street, r"\s"),
        _with(_escaped(index.issues["issue"]), lateral[index.issue_lateral], r"\l"),
    )
    return call("sewermap.namesData", [packed_bytes("\n".join(texts).encode("utf-8", "replace")) for texts in lists])


def _escaped(column: "pd.Series[Any]") -> Any:
    texts = plain_texts(column)
    return texts.str.replace("\\", r"\\", regex=False).str.replace("\n", r"\n", regex=False).to_numpy(object)


def _with(texts: Any, names: Any, sign: str) -> Any:
    """Texts in which a sign stands in for the name beside each."""
    return np.array(list(map(str.replace, texts, np.where(names == "", NEVER, names), repeat(sign), repeat(1))), dtype=object)
