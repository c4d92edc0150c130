"""Which run each picture is of, and which pictures an observation names.

A picture's run is the one that its row says; else that of the observation, or of the film, that names it; else the one that a
folder of its path is called after; else the only run of its day (of its lateral, where its row says one).
"""

import pandas as pd

from etl.sources.media import is_film

_LIST = r"\s*[;,]\s*"


def keys(names: "pd.Series[str]") -> "pd.Series[str]":
    """Names of files without regard to case, to the sort of slash, and to blanks around them."""
    return names.str.strip().str.replace("\\", "/", regex=False).str.removeprefix("./").str.casefold()


def named(pictures: pd.DataFrame, names: "pd.Series[str]", runs: "pd.Series[str]") -> pd.DataFrame:
    """Which pictures names mean, with or without folders and suffix: columns ``of`` (index of ``names``), ``name``, ``picture``
    (index of ``pictures``; NaN: none) and ``several`` (as many pictures are meant as cannot be told apart; then picture is NaN).

    A name may list several files, apart by ``;`` or ``,``. Where several pictures bear it, the one whose row or folder says the
    run of its observation (``runs``, index of ``names``) is meant.
    """
    each = names.str.split(_LIST, regex=True).explode()
    each = each[each.notna() & (each != "")]
    wanted = pd.DataFrame({"of": each.index, "name": each.to_numpy()}).astype({"name": "str"})
    wanted["key"], wanted["run"] = keys(wanted["name"]), runs.reindex(wanted["of"]).to_numpy()
    found = wanted.reset_index(names="want").merge(_endings(pictures), on="key")
    own = found["run"].notna() & (found["run"] == pictures["own_run"].reindex(found["picture"]).to_numpy())
    found = found[own | ~own.groupby(found["want"]).transform("any")]
    several = found.groupby("want")["picture"].size().reindex(wanted.index, fill_value=0)
    only = found.drop_duplicates("want").set_index("want")["picture"].reindex(wanted.index)
    several = several.where(several > 1, 0)
    return pd.DataFrame({"of": wanted["of"], "name": wanted["name"], "picture": only.where(several == 0), "several": several})


def _endings(pictures: pd.DataFrame) -> pd.DataFrame:
    """Every way to name each picture: its path from any folder on, with its suffix and without; columns key, picture."""
    rest, parts = keys(pictures["picture"]), []
    while len(rest):
        parts += [rest, rest.str.replace(r"\.[^./]*$", "", regex=True)]
        rest = rest[rest.str.contains("/", regex=False)].str.replace(r"^[^/]*/", "", regex=True)
    if not parts:
        return pd.DataFrame({"key": pd.Series(dtype="str"), "picture": pd.Series(dtype="int64")})
    every = pd.concat(parts)
    return (
        pd.DataFrame({"key": every.to_numpy(), "picture": every.index}).astype({"key": "str"}).drop_duplicates(ignore_index=True)
    )


def own_runs(pictures: pd.DataFrame, runs: pd.DataFrame) -> "pd.Series[str]":
    """The run that a picture's row says, else the one that the nearest folder of its path is called after."""
    known = runs.assign(key=keys(runs["run"])).drop_duplicates("key", keep=False).set_index("key")
    own = pictures["run"].copy()
    folders = keys(pictures["picture"])
    while folders.str.contains("/", regex=False).any():
        folders = folders.str.rpartition("/")[0]
        key = folders.str.rpartition("/")[2]
        found, lateral = (key.map(known[name]).astype("str") for name in ("run", "lateral"))
        fits = pictures["lateral"].isna() | (pictures["lateral"] == lateral)
        own = own.fillna(found.where(fits))
    return own


def with_runs(pictures: pd.DataFrame, runs: pd.DataFrame, meant: pd.DataFrame, observed: "pd.Series[str]") -> pd.DataFrame:
    """Pictures with ``of_run``, and ``why``, the reason where there is none.

    ``pictures`` has own_run; ``runs``: run, lateral, ran_on, film; ``meant``: what ``named`` gave of observations, and
    ``observed`` the run of each.
    """
    known = meant[meant["picture"].notna()].drop_duplicates("picture").set_index("picture")["of"]
    by_name = pd.Series(observed.reindex(known).to_numpy(), index=known.index).reindex(pictures.index).astype("str")
    of_run = pictures["own_run"].fillna(by_name).fillna(_of_film(pictures, runs))
    by_day, why = _of_day(pictures, runs)
    return pictures.assign(of_run=of_run.fillna(by_day), why=why.where(of_run.isna() & by_day.isna()))


def _of_film(pictures: pd.DataFrame, runs: pd.DataFrame) -> "pd.Series[str]":
    films = pictures[pictures["picture"].map(is_film).to_numpy(bool)]
    meant = named(films, runs["film"].astype("str"), runs["run"])
    meant = meant[meant["picture"].notna()]
    meant = meant[~meant["picture"].duplicated(keep=False)]  # one film of several runs is of none alone
    found = pd.Series(runs["run"].reindex(meant["of"]).to_numpy(), index=meant["picture"])
    return found.reindex(pictures.index).astype("str")


def _of_day(pictures: pd.DataFrame, runs: pd.DataFrame) -> tuple["pd.Series[str]", "pd.Series[str]"]:
    day = pictures["taken_at"].str.slice(0, 10)
    asked = pd.DataFrame({"at": pictures.index, "day": day, "wanted": pictures["lateral"]})
    of_day = runs.assign(day=runs["ran_on"].astype("str").str.slice(0, 10))[["run", "lateral", "day"]]
    found = asked.merge(of_day.dropna(subset=["day"]), on="day")
    found = found[found["wanted"].isna() | (found["wanted"] == found["lateral"])]
    count = found.groupby("at").size().reindex(pictures.index, fill_value=0)
    only = found.drop_duplicates("at").set_index("at")["run"].reindex(pictures.index).where(count == 1).astype("str")
    where = (" of lateral " + pictures["lateral"]).fillna("")
    many = count.astype("str") + " runs" + where + " were made on " + day
    none = ("no run" + where + " was made on " + day).fillna("nobody says when it was taken")
    why = many.where(count > 1, none)
    return only, why + "; put it into a folder called after its run, or say run in [pictures.defaults]"
