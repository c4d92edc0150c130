"""Pictures joined to observations, from the recorded tables alone, so that either may come first.

By name where the observation names it; else by the counter in the picture, the film's clock, or order of time. An observation
shows the first picture that it names, under the path that was loaded; one that names none the first that was taken of it. What
could not be joined is told with its reason.
"""

from collections.abc import Collection
from dataclasses import dataclass

import numpy as np
import pandas as pd
import sqlalchemy as sa

from etl.film_check import films_told
from etl.picture_matches import BY_ORDER, by_reading, by_time, metres
from etl.picture_runs import named, own_runs, with_runs
from etl.sources.media import is_film
from sewermap.store import bulk, recorded
from sewermap.store import tables as schema

_MANY_RUNS = 5000
_COLUMNS = ("file", "table", "row", "field", "value", "reason")


@dataclass(frozen=True)
class Joined:
    """``shown``: the path of the picture that an observation shows, by its id; ``told``: warnings, with their lateral."""

    shown: "pd.Series[str]"
    told: pd.DataFrame

    def filled(self, placed: pd.DataFrame) -> pd.DataFrame:
        """Placed observations with their pictures."""
        return placed.assign(picture=placed["id"].map(self.shown).astype("str").fillna(placed["picture"]))

    def warnings(self, laterals: Collection[str] | None) -> pd.DataFrame:
        """What is to be told of these laterals (None: all), and of pictures that are of none."""
        told = self.told
        mine = told if laterals is None else told[told["lateral"].isna() | told["lateral"].isin(laterals)]
        return mine[list(_COLUMNS)]


def pictures_joined(conn: sa.Connection) -> Joined:
    """What the recorded pictures show of the recorded observations."""
    pictures = recorded.with_source(conn, schema.pictures)
    runs = recorded.current(conn, schema.runs, ["run", "lateral", "ran_on", "unit", "film"])
    if pictures.empty:
        return Joined(pd.Series(dtype="str"), _told(pictures, "", "", runs))
    pictures["own_run"] = own_runs(pictures, runs)
    naming = _observations(conn, schema.observations.c.picture.is_not(None))
    observed = naming.set_index("id")["run"]
    meant = named(pictures, naming.set_index("id")["picture"], observed)
    pictures = with_runs(pictures, runs, meant, observed)
    seen = _of_runs(conn, pictures["of_run"].dropna().unique().tolist()).set_index("id")
    return _joined(pictures, runs, seen, _in_these(meant, naming, seen))


def moved(conn: sa.Connection, joined: Joined) -> set[str]:
    """Laterals with an observation that no longer shows the picture that it showed when it was placed."""
    if not bulk.next_id(conn, schema.pictures) > 1:
        return set()
    placed, given = schema.placed_observations, schema.observations
    query = sa.select(placed.c.id, placed.c.lateral, placed.c.picture, given.c.picture.label("written"))
    query = query.join_from(placed, given, placed.c.id == given.c.id)
    joined_before = sa.or_(given.c.picture.is_(None), placed.c.picture != given.c.picture)
    before = bulk.read(conn, query.where(placed.c.picture.is_not(None), joined_before))
    ids = joined.shown.index.to_numpy(np.int64)
    fresh = bulk.read(conn, query.where(placed.c.id.in_(ids.tolist()))) if 0 < len(ids) <= _MANY_RUNS else bulk.read(conn, query)
    both = pd.concat([before, fresh[fresh["id"].isin(ids)]]).drop_duplicates("id")
    now = both["id"].map(joined.shown).astype("str").fillna(both["written"])
    return set(both.loc[now.fillna("") != both["picture"].fillna(""), "lateral"].dropna())


def _observations(conn: sa.Connection, which: sa.ColumnElement[bool]) -> pd.DataFrame:
    table, files = schema.observations, schema.source_files
    names = ("id", "run", "reading", "reading_m", "kind", "picture", "film_time", "source_row")
    query = sa.select(*(table.c[name] for name in names), files.c.path.label("source_file"))
    query = query.join_from(table, files, table.c.loaded_in == files.c.id).where(recorded.is_current(table), which)
    return bulk.read(conn, query.order_by(table.c.id))


def _of_runs(conn: sa.Connection, names: list[str]) -> pd.DataFrame:
    run = schema.observations.c.run
    if len(names) <= _MANY_RUNS:
        return _observations(conn, run.in_(names))
    return _observations(conn, run.is_not(None)).query("run in @names").reset_index(drop=True)


def _in_these(meant: pd.DataFrame, naming: pd.DataFrame, seen: pd.DataFrame) -> pd.DataFrame:
    """What observations of runs with pictures name, and what any names that was found."""
    return meant[(meant["picture"].notna() | meant["of"].isin(seen.index)).to_numpy(bool)].merge(
        naming[["id", "run", "source_file", "source_row"]], left_on="of", right_on="id"
    )


def _joined(pictures: pd.DataFrame, runs: pd.DataFrame, seen: pd.DataFrame, meant: pd.DataFrame) -> Joined:
    film = pictures["picture"].map(is_film).to_numpy(bool)
    by_run = runs.set_index("run")
    unit = pictures["of_run"].map(by_run["unit"]).astype("str")
    marked = pictures["mark"].notna() & pictures["reading"].notna()
    pictures = pictures.assign(at_m=metres(pictures, unit).mask(marked | film))
    left = pictures[~film & pictures["of_run"].notna() & ~pictures.index.isin(meant["picture"].dropna())]
    near = by_reading(left, seen)
    open_seen = seen[seen["picture"].isna() & ~seen.index.isin(near["of"])]
    clock, order = by_time(left[left["at_m"].isna()], open_seen)
    pairs = pd.concat([near, clock, order])
    told = [
        _not_named(meant, runs),
        _not_joined(pictures, left, pairs, open_seen, runs),
        _told(pictures.loc[order["picture"]], "picture", _order_told(seen, order), runs),
        _told_of(films_told(pictures[film], by_run, seen), "observations", runs),
    ]
    by_name = meant[meant["picture"].notna()].drop_duplicates("of").set_index("of")["picture"].map(pictures["picture"])
    shown = pd.concat([by_name, _first(pairs, pictures, seen)])
    return Joined(shown[~shown.index.duplicated()], pd.concat(told, ignore_index=True))


def _first(pairs: pd.DataFrame, pictures: pd.DataFrame, seen: pd.DataFrame) -> "pd.Series[str]":
    """Of each observation that names none, the picture of it that was taken first."""
    of_open = pairs[pairs["of"].isin(seen.index[seen["picture"].isna()])]
    shown = of_open.join(pictures[["picture", "taken_at"]].rename(columns={"picture": "name"}), on="picture")
    shown = shown.sort_values(["of", "taken_at", "name"], kind="stable").drop_duplicates("of")
    return pd.Series(shown["name"].to_numpy(), index=shown["of"].to_numpy(np.int64), dtype="str")


def _order_told(seen: pd.DataFrame, order: pd.DataFrame) -> "pd.Series[str]":
    readings = seen["reading"].reindex(order["of"])
    return pd.Series([BY_ORDER.format(reading=reading) for reading in readings], index=order["picture"], dtype="str")


def _not_named(meant: pd.DataFrame, runs: pd.DataFrame) -> pd.DataFrame:
    """Names of pictures that were not found among those of their run, or that several bear."""
    lost = meant[meant["picture"].isna()]
    none = "it is not among the pictures that were loaded"
    many = lost["several"].astype("str") + " pictures bear that name; write it with its folder"
    return _told_of(
        lost.assign(field="picture", value=lost["name"], reason=many.where(lost["several"] > 1, none)), "observations", runs
    )


def _not_joined(
    pictures: pd.DataFrame, left: pd.DataFrame, pairs: pd.DataFrame, open_seen: pd.DataFrame, runs: pd.DataFrame
) -> pd.DataFrame:
    """Pictures of no run, and pictures of a run that show none of its observations, with the reason."""
    homeless = pictures[pictures["of_run"].isna()]
    lost = left[~left.index.isin(pairs["picture"])]
    run, reading = lost["of_run"], (lost["reading"] + (" " + lost["unit"]).fillna("")).fillna("")
    waiting = open_seen.groupby("run").size().reindex(run, fill_value=0).astype("str").to_numpy()
    without = left[left["at_m"].isna()].groupby("of_run").size().reindex(run, fill_value=0).astype("str").to_numpy()
    far = "its counter shows " + reading + ", and no observation of run " + run + " was read near that"
    time = "run " + run + " has " + waiting + " observations without a picture and " + without
    time = time + " pictures without a counter, so time does not tell which is which"
    doubt = "its counter was not used, for " + lost["mark"] + "; "
    reason = far.where(lost["at_m"].notna(), doubt.fillna("") + time)
    return pd.concat([_told(homeless, "picture", homeless["why"], runs), _told(lost, "picture", reason, runs)])


def _told(pictures: pd.DataFrame, field: str, reason: "str | pd.Series[str]", runs: pd.DataFrame) -> pd.DataFrame:
    of_run = pictures.get("of_run", pd.Series(np.nan, index=pictures.index, dtype="str"))
    about = pictures[["source_file", "source_row", "picture"]].rename(columns={"picture": "value"})
    return _told_of(about.assign(field=field, reason=reason, run=of_run), "pictures", runs)


def _told_of(about: pd.DataFrame, table: str, runs: pd.DataFrame) -> pd.DataFrame:
    """Warnings, with the lateral of their run. ``about``: source_file, source_row, field, value, reason, run."""
    lateral = about["run"].map(runs.drop_duplicates("run").set_index("run")["lateral"]).astype("str")
    told = about.rename(columns={"source_file": "file", "source_row": "row"}).assign(table=table, lateral=lateral)
    return told[[*_COLUMNS, "lateral"]].reset_index(drop=True)
