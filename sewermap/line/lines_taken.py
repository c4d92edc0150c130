"""Which line each lateral has: the one that was drawn, else the best of those that were sketched."""

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sewermap.line.along import along_text, mean_accuracy
from sewermap.line.reference import lines_from_geometries

NO_LINE = "the lateral has no line: give legs, located points, or a tie-in distance along the main (`sewermap sketch` tells more)"
MADE_OF = {
    "traverse": "no map draws this line: it was made of bends and lengths",
    "located": "no map draws this line: it runs through points located from above",
    "guessed": "no map draws this line: it is a straight guess from the main to the house, and no ground to dig by",
}
"""What is to be said of a line that no map drew, by its method."""

_METHODS = ("traverse", "located", "guessed")
"""Of equally good ones the first holds."""


def with_taken(sketches: pd.DataFrame, drawn: pd.Series) -> pd.DataFrame:
    """The sketches with ``taken``: of each lateral that is not among ``drawn`` the one whose greatest sigma is least."""
    rank = sketches["method"].map({name: at for at, name in enumerate(_METHODS)})
    usable = sketches["geometry"].notna() & ~sketches["lateral"].isin(drawn)
    best = sketches.assign(rank=rank)[usable].sort_values(["lateral", "sigma_m", "rank"]).drop_duplicates("lateral")
    return sketches.assign(taken=sketches.index.isin(best.index))


def lines_taken(lateral_lines: pd.DataFrame, sketches: pd.DataFrame) -> pd.DataFrame:
    """Rows of lateral_lines that have a line, each with its geometry, method, map_accuracy_m, accuracy_along and line_note.

    ``sketches`` as ``with_taken`` gives them. The accuracy of a sketched line is the root of the mean square along it.
    """
    taken = sketches[sketches["taken"]].set_index("lateral")
    found = taken.reindex(lateral_lines["lateral"])
    sketched = (lateral_lines["geometry"].isna().to_numpy()) & found["geometry"].notna().to_numpy()
    table = lateral_lines.assign(accuracy_along=np.nan, line_note=np.nan).astype({"accuracy_along": "str", "line_note": "str"})
    if sketched.any():
        of = found[sketched]
        table.loc[sketched, "geometry"] = of["geometry"].to_numpy(object)
        table.loc[sketched, "method"] = of["method"].to_numpy(object)
        lines = lines_from_geometries(of["geometry"].to_numpy(object))
        table.loc[sketched, "map_accuracy_m"] = np.round(mean_accuracy(of["accuracy"].to_list(), lines), 4)
        table.loc[sketched, "accuracy_along"] = accuracy_texts(of["accuracy"])
        table.loc[sketched, "line_note"] = of["method"].map(MADE_OF).to_numpy(object)
    return table[table["geometry"].notna()].reset_index(drop=True)


def accuracy_texts(accuracy: pd.Series) -> NDArray[np.object_]:
    """The covariance at each vertex as text (see ``along``); None where there is no line."""
    texts = [None if one is None else along_text(one) for one in accuracy]
    return np.array([*texts, None], dtype=object)[:-1]
