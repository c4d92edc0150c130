"""The names by which a row refers to others: its lateral (also by address), its run, the known point it passes."""

from collections.abc import Callable

import numpy as np
import pandas as pd

from etl.batch import Batch
from etl.catalogue import names_lateral
from etl.known import looked_up
from etl.problems import Finding, finding, warning
from etl.vocabulary import EVERY_LINE_HAS, our_word

_SHOWN = 5
_APART = "\x1f"
"""Between a lateral and a name in a key: a sign that neither holds."""


def folded(names: "pd.Series[str]") -> "pd.Series[str]":
    """Names without regard to case and to runs of blanks, as ``etl.vocabulary.fold``."""
    return names.str.strip().str.replace(r"\s+", " ", regex=True).str.casefold()


def laterals(batch: Batch, frame: pd.DataFrame) -> tuple["pd.Series[str]", list[Finding]]:
    """The lateral of each row, by its name, or by an address that one lateral alone has; and rows whose lateral is unknown.

    An address is known by itself (``14``) and with its street (``14 Alder Street``). A name goes before an address.
    """
    wanted = frame["lateral"].fillna(frame["address"])
    field = pd.Series(np.where(frame["lateral"].isna(), "address", "lateral"), index=frame.index)
    found = _by_name(wanted, batch.known.laterals["lateral"])
    addresses = _addresses(batch.known.laterals)
    once = addresses.drop_duplicates("key", keep=False).set_index("key")["lateral"]
    found = found.fillna(folded(wanted).map(once).astype("str"))
    lost = wanted.notna() & found.isna()
    reason = _why_lost(batch, wanted, lost, "laterals", lambda name: _no_lateral(name, addresses))
    return found, [finding(lost & (field == name), name, reason, value=wanted) for name in ("lateral", "address")]


def runs(batch: Batch, frame: pd.DataFrame) -> tuple["pd.Series[str]", list[Finding]]:
    """The run of each row as its own file names it; and rows whose run is unknown."""
    found = _by_name(frame["run"], batch.known.runs["run"])
    lost = frame["run"].notna() & found.isna()
    reason = _why_lost(batch, frame["run"], lost, "runs", lambda name: f"no run '{name}' is known")
    return found, [finding(lost, "run", reason)]


def launches(batch: Batch, frame: pd.DataFrame) -> tuple[pd.DataFrame, list[Finding]]:
    """Where each run was launched and which way it went: columns launch and direction.

    Without a word on it a run starts at the building; its direction follows a launch at an end of the line. A launch that
    is no known point is rejected, unless ``launch_measure`` says where it is.
    """
    has_measure = frame["launch_measure_m"].notna()
    said = frame["launch"].mask(frame["launch"].isna() & batch.written["launch_measure"].isna(), "building")
    launch = _points(batch, frame["lateral"], said)
    lost = said.notna() & launch.isna() & ~has_measure & frame["lateral"].notna()
    hint = "'; add it to the referents, or say launch_measure"
    reason = "launch position unknown: its lateral has no known point '" + said + hint
    launch = launch.fillna(said.where(has_measure))
    follows = launch.map({"building": "to main", "tie-in": "to building"})
    direction = frame["direction"].fillna(follows.where(batch.written["direction"].isna()))
    return frame.assign(launch=launch, direction=direction.astype("str")), [finding(lost, "launch", reason)]


def points_passed(batch: Batch, frame: pd.DataFrame) -> tuple["pd.Series[str]", list[Finding]]:
    """The known point that each observation names; one that its lateral does not have is kept as written, with a warning."""
    lateral = looked_up(batch.known.runs, frame["run"], "lateral")
    found = _points(batch, lateral, frame["referent"])
    lost = frame["referent"].notna() & found.isna() & lateral.notna()
    reason = "its lateral has no known point '" + frame["referent"] + "', so the reading is not tied to one"
    return found.fillna(frame["referent"]), [warning(lost, "referent", reason)]


def resolved(batch: Batch, frame: pd.DataFrame) -> tuple[pd.DataFrame, list[Finding]]:
    """The frame with its names as those know themselves that it refers to; empty where they are unknown."""
    if batch.name == "observations":
        run, findings = runs(batch, frame)
        frame = frame.assign(run=run)
        referent, more = points_passed(batch, frame)
        return frame.assign(referent=referent), findings + more
    if not names_lateral(batch.name):
        return frame, []
    lateral, findings = laterals(batch, frame)
    frame = frame.assign(lateral=lateral)
    if batch.name in {"located", "pictures"}:
        run, more = runs(batch, frame)
        return frame.assign(run=run), findings + more
    return frame, findings


def _by_name(wanted: "pd.Series[str]", known: "pd.Series[str]") -> "pd.Series[str]":
    """Names as the known ones are written: exactly so, else without regard to case and blanks where that means one."""
    found = wanted.where(pd.Index(known.unique()).get_indexer(pd.Index(wanted)) >= 0)
    if found.notna().sum() == wanted.notna().sum():
        return found
    alike = pd.Series(known.to_numpy(), index=pd.Index(folded(known))).dropna()
    once = alike[~alike.index.duplicated(keep=False)]
    return found.fillna(folded(wanted).map(once).astype("str"))


def _addresses(known: pd.DataFrame) -> pd.DataFrame:
    """Keys by which laterals can be found: columns key and lateral, each pair once."""
    alone = folded(known["address"])
    with_street = alone + " " + folded(known["street"])
    keys = [pd.DataFrame({"key": key, "lateral": known["lateral"]}) for key in (alone, with_street)]
    return pd.concat(keys, ignore_index=True).dropna().drop_duplicates(ignore_index=True)


def _no_lateral(name: str, addresses: pd.DataFrame) -> str:
    candidates = addresses.loc[addresses["key"] == " ".join(name.split()).casefold(), "lateral"]
    if candidates.empty:
        return f"no lateral and no address '{name}' is known"
    more = f" and {len(candidates) - _SHOWN} more" if len(candidates) > _SHOWN else ""
    shown = ", ".join(candidates.iloc[:_SHOWN])
    return f"'{name}' is the address of {len(candidates)} laterals: {shown}{more}; name one of them, or write the street too"


def _why_lost(
    batch: Batch, wanted: "pd.Series[str]", lost: "pd.Series[bool]", section: str, otherwise: Callable[[str], str]
) -> "pd.Series[str]":
    """A sentence for each lost name: it was rejected in this load, or is not known at all."""
    rejected = batch.known.rejected.get(section)
    places: dict[str, str] = {}
    if rejected is not None:
        places = dict(zip(rejected["name"], rejected["file"] + ", row " + rejected["row"].astype(str), strict=True))
    one = section.removesuffix("s")
    reasons = {
        name: f"its {one} '{name}' was itself rejected: {places[name]}" if name in places else otherwise(name)
        for name in wanted[lost].unique()
    }
    return wanted.where(lost).map(reasons).astype("str")


def _points(batch: Batch, lateral: "pd.Series[str]", said: "pd.Series[str]") -> "pd.Series[str]":
    """Names of known points as the referents have them, else as every line has them; NaN where a lateral has no such point."""
    some = said.notna() & lateral.notna()
    if not some.any():
        return said.where(some)
    referents = batch.known.referents
    names = pd.Series(referents["name"].to_numpy(), index=pd.Index(referents["lateral"] + _APART + folded(referents["name"])))
    names = names[~names.index.duplicated(keep="last")]
    found = (lateral[some] + _APART + folded(said[some])).map(names)
    standing = {word: our_word("referent", word) for word in said[some].unique()}
    common = said[some].map({word: ours for word, ours in standing.items() if ours in EVERY_LINE_HAS})
    return found.astype("str").fillna(common.astype("str")).reindex(said.index).astype("str")
