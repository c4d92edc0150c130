"""What happened to each issue: every run of its lateral with its verdict, and every work that should have mended it."""

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sewermap.history.life_rules import WIDENED_SIGMAS, LifeRules

Flags = NDArray[np.bool_]
Floats = NDArray[np.float64]
Whole = NDArray[np.int64]

VERDICTS = ("could not look", "not seen", "seen", "should have mended it")
"""In the order in which events of one day and turn are told: of two runs on a day, the one that saw it has the last word."""

BLIND, MISSED, SEEN, WORK = range(4)
REASONS = ("", "did not get there", "under water", "lens dirty")
"""Why a run could not look."""

ONE_SPOT = "spot repair"
"""The kind of work that is done for one spot, not for a length of line."""

TURNS = 3
"""Of one day: first the runs, then the works, then the runs whose reason is the work."""


def events_of(
    issues: pd.DataFrame,
    sightings: pd.DataFrame,
    coverages: pd.DataFrame,
    looks: pd.DataFrame,
    works: pd.DataFrame,
    rules: LifeRules,
) -> pd.DataFrame:
    """All events of all issues, sorted by issue and time; the frames are those of ``sewermap.history.life.lives``.

    Columns: issue (row), turn (days since 1970 × 3 + turn of the day), verdict (code of ``VERDICTS``), reason (code of
    ``REASONS``), run, work, sighting (rows of their frames, −1 for none). A work counts from an issue's first sighting on.
    Raises ValueError for a sighting by a run that is not of the issue's lateral, or an issue that nobody saw.
    """
    looked = _runs_at(issues, sightings, coverages, looks, rules)
    first = np.full(len(issues), np.iinfo(np.int64).max)
    saw = looked[looked["verdict"] == SEEN]
    np.minimum.at(first, saw["issue"].to_numpy(), saw["turn"].to_numpy())
    if len(issues) and first.max() == np.iinfo(np.int64).max:
        raise ValueError(f"nobody saw the issue {issues['issue'].iloc[int(first.argmax())]}")
    worked = _works_on(issues, works, rules)
    worked = worked[worked["turn"].to_numpy() > first[worked["issue"].to_numpy()]]
    events = pd.concat([looked, worked], ignore_index=True)
    order = np.lexsort([events[name].to_numpy() for name in ("name", "verdict", "turn", "issue")])
    return pd.DataFrame({name: column.to_numpy()[order] for name, column in events.items() if name != "name"})


def turn_of(day: pd.Series, turn: Whole) -> Whole:
    """Days and turns of the day as one number that rises with time."""
    return np.asarray(day.to_numpy("datetime64[D]").astype(np.int64) * TURNS + turn)


def day_of(turn: Whole) -> NDArray[np.datetime64]:
    """The days of ``turn_of``, as datetime64[s]."""
    return np.asarray((turn // TURNS).astype("datetime64[D]").astype("datetime64[s]"))


def _runs_at(
    issues: pd.DataFrame, sightings: pd.DataFrame, coverages: pd.DataFrame, looks: pd.DataFrame, rules: LifeRules
) -> pd.DataFrame:
    """Each issue with each run of its lateral."""
    issue, run = _pairs(issues["lateral"], coverages["lateral"])
    sighting = _sighting_of(issue, run, issues, sightings, coverages)
    low, high = stretch_of(issues, "measure_m", "to_measure_m")
    from_m, to_m = coverages["from_measure_m"].to_numpy(float)[run], coverages["to_measure_m"].to_numpy(float)[run]
    covered = (from_m <= high[issue]) & (to_m >= low[issue])
    reason = np.where(covered, 0, 1)
    _hide(reason, issue, run, issues, coverages, looks, rules)
    reason = np.where(sighting >= 0, 0, reason)
    verdict = np.select([sighting >= 0, reason == 0], [SEEN, MISSED], BLIND)
    after_work = np.where(coverages["reason"].eq("work"), TURNS - 1, 0)
    return pd.DataFrame(
        {
            "issue": issue,
            "turn": turn_of(coverages["ran_on"], after_work)[run],
            "verdict": verdict,
            "reason": reason,
            "run": run,
            "work": -1,
            "sighting": sighting,
            "name": _rank(coverages["run"])[run],
        }
    )


def _pairs(left: pd.Series, right: pd.Series) -> tuple[Whole, Whole]:
    """Rows of left and right that name the same lateral."""
    rows = pd.DataFrame({"lateral": left.to_numpy(), "l": np.arange(len(left))})
    both = rows.merge(pd.DataFrame({"lateral": right.to_numpy(), "r": np.arange(len(right))}), on="lateral")
    return both["l"].to_numpy(np.int64), both["r"].to_numpy(np.int64)


def _rank(names: pd.Series) -> Whole:
    """Each name's place in the order of names, so that ties never depend on the order of rows."""
    return np.asarray(pd.factorize(names, sort=True)[0], dtype=np.int64)


def stretch_of(rows: pd.DataFrame, near: str, far: str) -> tuple[Floats, Floats]:
    """The lower and the higher measure of each row; a point where only one is given, NaN where none."""
    one = rows[near].to_numpy(float)
    other = rows[far].to_numpy(float) if far in rows else np.full(len(rows), np.nan)
    return np.fmin(one, other), np.fmax(one, other)


def _sighting_of(issue: Whole, run: Whole, issues: pd.DataFrame, sightings: pd.DataFrame, coverages: pd.DataFrame) -> Whole:
    """The sighting (row) of each pair of issue and run, −1 for none; of several, the worst."""
    of_issue = pd.Index(issues["issue"]).get_indexer(pd.Index(sightings["issue"]))
    of_run = pd.Index(coverages["run"]).get_indexer(pd.Index(sightings["run"]))
    key = of_issue.astype(np.int64) * len(coverages) + of_run
    badness = [-sightings[name].fillna(-1.0).to_numpy(float) for name in ("size", "grade")]
    worst_first = np.lexsort([_rank(sightings["kind"]), *badness, key])
    key = key[worst_first]
    heads = np.flatnonzero(np.diff(key, prepend=-1) != 0)
    known, row = np.append(key[heads], -1), np.append(worst_first[heads], -1)
    wanted = issue * len(coverages) + run
    at = np.searchsorted(known[:-1], wanted)  # past the last known: the −1 at the end, which is never wanted
    found = known[at] == wanted
    if (of_issue < 0).any() or (of_run < 0).any() or found.sum() < len(heads):
        raise ValueError("a sighting names an issue or run that is not there, or a run of another lateral")
    return np.where(found, row[at], -1)


def _hide(
    reason: Whole,
    issue: Whole,
    run: Whole,
    issues: pd.DataFrame,
    coverages: pd.DataFrame,
    looks: pd.DataFrame,
    rules: LifeRules,
) -> None:
    """Note in ``reason`` which pairs of issue and run were passed, but under water or through a dirty lens."""
    low, high = stretch_of(issues, "measure_m", "to_measure_m")
    kind = pd.Index(rules.names).get_indexer(pd.Index(issues["kind"]))
    for look, hides in rules.hidden_by.items():
        mine = looks[looks["kind"].eq(look).to_numpy()]
        of_run = pd.Index(coverages["run"]).get_indexer(pd.Index(mine["run"]))
        from_m, to_m = stretch_of(mine, "measure_m", "to_measure_m")
        reach_m = np.where(from_m == to_m, rules.point_reach_m, 0.0)
        touched = np.flatnonzero(np.isin(run, of_run) & (reason == 0) & hides[kind[issue]])
        pairs = pd.DataFrame({"run": run[touched], "pair": touched}).merge(
            pd.DataFrame({"run": of_run, "from_m": from_m - reach_m, "to_m": to_m + reach_m}), on="run"
        )
        pair = pairs["pair"].to_numpy()
        inside = (pairs["from_m"].to_numpy() <= low[issue[pair]]) & (pairs["to_m"].to_numpy() >= high[issue[pair]])
        reason[pair[inside]] = REASONS.index(look)


def _works_on(issues: pd.DataFrame, works: pd.DataFrame, rules: LifeRules) -> pd.DataFrame:
    """Each issue with each work of its lateral that should have mended it."""
    issue, work = _pairs(issues["lateral"], works["lateral"])
    kind = pd.Index(rules.names).get_indexer(pd.Index(issues["kind"]))[issue]
    known = list(rules.mends)
    mends = np.vstack([*(rules.mends[name] for name in known), np.zeros(len(rules.names), dtype=bool)])
    of_work = pd.Index(known).get_indexer(pd.Index(works["kind"]))  # −1, another kind of work: the last row, mends nothing
    suited = mends[of_work[work], kind]
    issue, work = issue[suited], work[suited]
    held = _in_stretch(issues, works, issue, work)
    issue, work = issue[held], work[held]
    return pd.DataFrame(
        {
            "issue": issue,
            "turn": turn_of(works["done_on"], np.ones(len(works), dtype=np.int64))[work],
            "verdict": WORK,
            "reason": 0,
            "run": -1,
            "work": work,
            "sighting": -1,
            "name": _rank(works["work"])[work],
        }
    )


def _in_stretch(issues: pd.DataFrame, works: pd.DataFrame, issue: Whole, work: Whole) -> Flags:
    """Which pairs lie in the work's stretch, widened at both ends by 2 sigma of the issue's measure; nearer ones go first.

    The widening is there because neither place is known better. A spot repair is done for one spot: its widening takes in an
    issue only where the stretch itself holds none that the work mends, and then the nearest alone (in sigmas; of equally near
    ones all). A work without a stretch was done on the whole line.
    """
    measure_m = stretch_of(issues, "measure_m", "to_measure_m")[0][issue]
    from_m, to_m = (side[work] for side in stretch_of(works, "from_measure_m", "to_measure_m"))
    off_m = np.maximum(0.0, np.maximum(from_m - measure_m, measure_m - to_m))
    sigma_m = issues["sigma_m"].to_numpy(float)[issue]
    off = np.where(off_m > 0.0, np.inf, off_m)
    np.divide(off_m, sigma_m, out=off, where=(off_m > 0.0) & (sigma_m > 0.0))
    off = np.where(np.isnan(from_m), 0.0, np.where(np.isnan(off), np.inf, off))
    nearest = np.full(len(works), np.inf)
    np.minimum.at(nearest, work, off)
    spot = works["kind"].eq(ONE_SPOT).to_numpy()[work]
    return np.asarray((off <= WIDENED_SIGMAS) & (~spot | (off <= nearest[work])))
