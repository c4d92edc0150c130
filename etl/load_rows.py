"""Good rows into recorded tables: what is new is added, what changed becomes a new version, what is known stays as it is.

Two kinds of sections. In a *keyed* one (laterals, runs, works …) a row is told apart by its key, and other content under a
known key is a new version. In a *grouped* one (observations of a run, pieces of a street …) rows have no name of their own:
a row is what it says, and a file states its groups whole, so what its newer version no longer says is withdrawn, unless
another file still says it. Equal rows within one file are kept and counted.

Everything here happens in the caller's one transaction, by columns.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
import pandas as pd
import sqlalchemy as sa
from numpy.typing import NDArray

from etl.content import contents, occurrence
from sewermap.store import recorded
from sewermap.store.tables import RECORDED, Recorded
from sewermap.store.tables import rejects as rejects_table

IDENTITY = ("run", "reading", "kind", "clock_from", "clock_to")
"""What an observation is known by; another remark or picture under the same identity is a new version of it."""


@dataclass
class Loaded:
    """What a load did, row by row counted for each file, and which laterals it touched."""

    files: pd.DataFrame
    laterals: set[str] = field(default_factory=set)
    changed: bool = False


@dataclass(frozen=True)
class _Outcome:
    """Of one section: for each given row, whether it was added; the new rows' and the gone rows' keys or groups."""

    is_new: NDArray[np.bool_]
    withdrawn: pd.Series
    touched: pd.DataFrame


def load_rows(conn: sa.Connection, tables: Mapping[str, pd.DataFrame], files: pd.DataFrame, rejects: pd.DataFrame) -> Loaded:
    """Bring the good rows of each section, and the rejects, into the recorded tables.

    ``tables``: by section, the table's columns with ``source_file`` and ``source_row``. ``files``: columns file, table, sha256
    and read. ``rejects``: columns file, table, row, field, value, reason. The returned ``files`` add loaded, unchanged, rejected
    and withdrawn (rows); read = loaded + unchanged + rejected.
    """
    versions = files.rename(columns={"file": "path", "table": "section"})
    versions["file_id"] = recorded.file_versions(conn, versions)
    done = Loaded(files.copy())
    counts: list[pd.DataFrame] = []
    for section, rule in RECORDED.items():
        if section not in set(files["table"]):
            continue
        rows = _prepared(tables.get(section), rule.table, versions[versions["section"] == section])
        outcome = (_load_keyed if rule.key else _load_grouped)(conn, section, rule, rows)
        counts.append(_counted(section, rows, outcome))
        done.changed |= bool(outcome.is_new.any()) or bool(outcome.withdrawn.sum())
        done.laterals |= _touched_laterals(conn, outcome.touched)
    done.files = _with_counts(files, pd.concat(counts) if counts else None, rejects)
    _load_rejects(conn, versions, rejects)
    return done


def _prepared(rows: pd.DataFrame | None, table: sa.Table, versions: pd.DataFrame) -> pd.DataFrame:
    """The rows in file order with their content and the id of the file version that says them."""
    if rows is None:
        rows = pd.DataFrame({"source_file": pd.Series(dtype="str"), "source_row": pd.Series(dtype="int64")})
    known = [column.name for column in table.c if column.name in rows.columns]
    rows = rows[[*dict.fromkeys([*known, "source_file", "source_row"])]].reset_index(drop=True)
    rows["content"] = contents(rows)
    places = versions.set_index("path")["file_id"]
    rows["loaded_in"] = rows["source_file"].map(places).astype("int64")
    return rows.sort_values(["loaded_in", "source_row"], kind="stable", ignore_index=True)


def _load_keyed(conn: sa.Connection, section: str, rule: Recorded, rows: pd.DataFrame) -> _Outcome:
    key = list(rule.key)
    columns = ["id", "content", *key, *(["lateral"] if "lateral" in rule.table.c and "lateral" not in key else [])]
    current = recorded.current(conn, rule.table, columns)
    said = recorded.said(conn, rule.table, section, ["content", *key])
    known = rows[[*key, "content", "source_file"]].merge(
        current[[*key, "id", "content"]], on=key, how="left", suffixes=("", "_now")
    )
    before = said.drop_duplicates(["path", *key], keep="last").rename(columns={"path": "source_file", "content": "content_said"})
    known = known.merge(before[["source_file", *key, "content_said", "row_id"]], on=["source_file", *key], how="left")
    # A file that says what it always said is no news, even where another file has corrected the row since.
    is_news = ((known["content"] != known["content_now"]) & (known["content"] != known["content_said"])).to_numpy()
    first_of_key = ~rows.assign(news=is_news).duplicated([*key, "news"]).to_numpy()
    is_new = is_news & first_of_key
    fresh = rows[is_new]
    new_ids = recorded.append(conn, rule.table, fresh.drop(columns="source_file"))
    old_ids = known["id"].to_numpy()[is_new]
    replaced = ~np.isnan(old_ids.astype(float))
    recorded.replace(conn, rule.table, old_ids[replaced].astype(np.int64), new_ids[replaced])

    # A row that is no news stands for the current version, or for the older one that its file goes on saying.
    row_ids = known["row_id"].where(known["content"] == known["content_said"], known["id"]).to_numpy(float, copy=True)
    news_ids = rows[is_news][key].merge(fresh[key].assign(new_id=new_ids), on=key, how="left")["new_id"]
    row_ids[is_news] = news_ids.to_numpy(float)
    _say_anew(conn, rows, row_ids.astype(np.int64), said, key)
    lateral_columns = [name for name in ("lateral",) if name in current.columns]
    touched = pd.concat([fresh[lateral_columns], current.loc[current["id"].isin(old_ids[replaced]), lateral_columns]])
    return _Outcome(is_new, pd.Series(dtype="int64"), touched)


def _load_grouped(conn: sa.Connection, section: str, rule: Recorded, rows: pd.DataFrame) -> _Outcome:
    group = list(rule.group)
    identity = [name for name in IDENTITY if name in rule.table.c]
    rows = rows.assign(nth=occurrence(rows, ["loaded_in", "content"]))
    current = recorded.current(conn, rule.table, ["id", "content", *dict.fromkeys([*group, *identity])])
    current["nth"] = occurrence(current, ["content"])
    known = rows[["content", "nth"]].merge(current[["content", "nth", "id"]], on=["content", "nth"], how="left")
    is_news = known["id"].isna().to_numpy()
    is_new = is_news & ~rows.duplicated(["content", "nth"]).to_numpy()
    fresh = rows[is_new]
    said = recorded.said(conn, rule.table, section, [*dict.fromkeys([*group, *identity]), "withdrawn_in", "replaced_by"])
    new_ids = recorded.append(conn, rule.table, fresh.drop(columns=["source_file", "nth"]))
    ids = rows[["content", "nth"]].merge(fresh[["content", "nth"]].assign(new_id=new_ids), on=["content", "nth"], how="left")
    row_ids = np.where(is_news, ids["new_id"], known["id"]).astype(np.int64)
    gone = _say_anew(conn, rows, row_ids, said, group)
    unsaid = _said_by_nobody(said, gone, rows, row_ids)
    withdrawn = _replace_or_withdraw(conn, rule.table, unsaid, fresh.assign(new_id=new_ids), identity)
    touched = pd.concat([fresh[group], unsaid[group]]).drop_duplicates()
    return _Outcome(is_new, withdrawn, touched)


def _say_anew(
    conn: sa.Connection, rows: pd.DataFrame, row_ids: NDArray[np.int64], said: pd.DataFrame, by: list[str]
) -> pd.DataFrame:
    """Bring ``file_says`` up to date for the keys or groups that each file mentions now; returns the sayings that ended."""
    now = pd.DataFrame({"path": rows["source_file"], "row_id": row_ids, "file_id": rows["loaded_in"]}).drop_duplicates(
        ["path", "row_id"]
    )
    compared = now.merge(said[["path", "row_id", "say_id"]], on=["path", "row_id"], how="left")
    added = compared[compared["say_id"].isna()]
    recorded.say(conn, added["file_id"].to_numpy(np.int64), added["row_id"].to_numpy(np.int64))
    mentioned = rows[["source_file", *by]].drop_duplicates().rename(columns={"source_file": "path"})
    ended = said.merge(mentioned, on=["path", *by]).merge(
        now[["path", "row_id"]], on=["path", "row_id"], how="left", indicator=True
    )
    ended = ended[ended["_merge"] == "left_only"].drop(columns="_merge")
    recorded.unsay(conn, ended["say_id"].to_numpy(np.int64))
    return ended


def _said_by_nobody(said: pd.DataFrame, ended: pd.DataFrame, rows: pd.DataFrame, row_ids: NDArray[np.int64]) -> pd.DataFrame:
    """Current rows that a file has stopped saying and that no other file says; with the file version that stopped."""
    still = set(said.loc[~said["say_id"].isin(ended["say_id"]), "row_id"]) | set(row_ids.tolist())
    is_current = ended["withdrawn_in"].isna() & ended["replaced_by"].isna()
    unsaid = ended[is_current & ~ended["row_id"].isin(still)].drop_duplicates("row_id")
    versions = rows.drop_duplicates("source_file").set_index("source_file")["loaded_in"]
    return unsaid.assign(file_id=unsaid["path"].map(versions).astype("int64"))


def _replace_or_withdraw(
    conn: sa.Connection, table: sa.Table, unsaid: pd.DataFrame, fresh: pd.DataFrame, identity: list[str]
) -> pd.Series:
    """An unsaid row whose identity a new row bears is replaced by it; the others are withdrawn, counted by file version."""
    if unsaid.empty:
        return pd.Series(dtype="int64")
    if identity:
        # Rows of one identity are paired in their order; a missing clock is a value like any other here.
        old = unsaid.assign(nth=unsaid.groupby(identity, dropna=False).cumcount())
        new = fresh.assign(nth=fresh.groupby(identity, dropna=False).cumcount())
        paired = old.merge(new[[*identity, "nth", "new_id"]], on=[*identity, "nth"], how="left")
    else:
        paired = unsaid.assign(new_id=np.nan)
    heirs = paired["new_id"].notna()
    recorded.replace(conn, table, paired.loc[heirs, "row_id"].to_numpy(np.int64), paired.loc[heirs, "new_id"].to_numpy(np.int64))
    lost = paired[~heirs]
    recorded.withdraw(conn, table, lost["row_id"].to_numpy(np.int64), lost["file_id"].to_numpy(np.int64))
    return lost.groupby("path").size()


def _touched_laterals(conn: sa.Connection, touched: pd.DataFrame) -> set[str]:
    """The laterals whose places may have moved; a run touches the lateral it now belongs to."""
    names = set(touched["lateral"].dropna()) if "lateral" in touched else set()
    if "run" in touched:
        runs = recorded.current(conn, RECORDED["runs"].table, ["run", "lateral"])
        names |= set(runs.loc[runs["run"].isin(touched["run"]), "lateral"])
    return names


def _counted(section: str, rows: pd.DataFrame, outcome: _Outcome) -> pd.DataFrame:
    """Loaded, unchanged and withdrawn rows of each file of a section."""
    by_file = rows.assign(loaded=outcome.is_new, unchanged=~outcome.is_new).groupby("source_file")[["loaded", "unchanged"]].sum()
    counts = by_file.join(outcome.withdrawn.rename("withdrawn"), how="outer").fillna(0).astype("int64")
    counts.index.name = "file"
    return counts.reset_index().assign(table=section)


def _with_counts(files: pd.DataFrame, counts: pd.DataFrame | None, rejects: pd.DataFrame) -> pd.DataFrame:
    """The files with all their counts."""
    rejected = rejects.drop_duplicates(["file", "table", "row"]).groupby(["file", "table"]).size().rename("rejected")
    numbers = ["read", "loaded", "unchanged", "rejected", "withdrawn"]
    table = files.join(rejected, on=["file", "table"])
    if counts is not None:
        table = table.merge(counts, on=["file", "table"], how="left")
    table = table.reindex(columns=["file", "table", *numbers])
    table[numbers] = table[numbers].fillna(0).astype("int64")
    return table


def _load_rejects(conn: sa.Connection, versions: pd.DataFrame, rejects: pd.DataFrame) -> None:
    """Keep the rejects of the files just read; those that no longer hold are withdrawn."""
    given = rejects.rename(columns={"file": "path", "table": "section"})
    given = given.merge(versions[["path", "section", "file_id"]], on=["path", "section"])
    given = given.rename(columns={"file_id": "loaded_in"}).assign(source_row=given["row"])
    columns = ["path", "section", "row", "field", "value", "reason"]
    given["content"] = contents(given[columns])
    given = given.drop_duplicates("content")
    current = recorded.current(conn, rejects_table, ["id", "path", "section", "content"])
    current = current.merge(versions[["path", "section", "file_id"]], on=["path", "section"])
    gone = current[~current["content"].isin(given["content"])]
    recorded.withdraw(conn, rejects_table, gone["id"].to_numpy(np.int64), gone["file_id"].to_numpy(np.int64))
    recorded.append(
        conn,
        rejects_table,
        given.loc[~given["content"].isin(current["content"]), [*columns, "content", "loaded_in", "source_row"]],
    )
