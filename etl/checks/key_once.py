"""One key, two contents: nobody knows which of the two is meant."""

import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from etl.batch import Batch
from etl.problems import Finding, finding
from sewermap.store.tables import RECORDED

_PLACE = {"source_file", "source_row"}


def key_once(batch: Batch) -> list[Finding]:
    """Rejected: rows that share a key and say different things, each naming the other. Equal rows are all kept."""
    key = list(RECORDED[batch.name].key)
    if not key:
        return []
    known = batch.frame[key].notna().all(axis=1)
    several = known & batch.frame.duplicated(key, keep=False)
    if not several.any():
        return []
    rows = batch.frame[several]
    group = rows.groupby(key, sort=False).ngroup()
    content = pd.Series(_contents(rows), index=rows.index)
    first = ~group.duplicated()
    different = content.ne(group.map(dict(zip(group[first], content[first], strict=True))))
    if not different.any():
        return []
    clash = group.isin(group[different])
    other = _other_place(rows, group, different)
    reason = "'" + rows[key[-1]] + "' stands here and in " + other + ", and the two say different things"
    where = several.copy()
    where[several] = clash
    return [finding(where, key[-1], reason.reindex(batch.frame.index).astype("str"))]


def _contents(rows: pd.DataFrame) -> NDArray[np.uint64]:
    said = rows.drop(columns=[*_PLACE, "geometry"], errors="ignore")
    if "geometry" in rows:
        said = said.assign(shape=shapely.to_wkb(rows["geometry"].to_numpy(dtype=object), hex=True))
    return np.asarray(pd.util.hash_pandas_object(said.astype("str"), index=False), dtype=np.uint64)


def _other_place(rows: pd.DataFrame, group: "pd.Series[int]", different: "pd.Series[bool]") -> "pd.Series[str]":
    """For each row the place of one that says something else: the first row of its key, or the first that differs from it."""
    place = rows["source_file"] + ", row " + rows["source_row"].astype(str)
    first = ~group.duplicated()
    of_first = group.map(dict(zip(group[first], place[first], strict=True)))
    odd = different & ~group.where(different).duplicated()
    of_odd = group.map(dict(zip(group[odd], place[odd], strict=True)))
    return of_first.where(different, of_odd)
