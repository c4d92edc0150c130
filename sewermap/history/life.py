"""The life of each issue: its state after each run and work, since when it is known, and what came back after which work.

An issue's state is the verdict of the last run that could see its place:

``new``         seen by its first and only run so far
``same``        seen again; ``worse`` or ``better`` where kind, grade or size changed against the sighting before
``not seen``    a run passed the place and it was not there, with no work in between that mends it
``mended``      not seen by a run that passed the place after a work that mends it
``returned``    seen again after such a work; stays so until a later one
``not looked``  such a work was done since it was last seen, and no run since could see the place

A work counts for an issue when it mends its kind and its stretch holds the issue (``life_events``). A run that could not see
the place changes nothing. On one day runs come before works, unless their reason is the work. A work that is done again on
what a run has found to be mended leaves it mended.

An issue is a *repeat* when its state is ``returned``, or when it was seen on two days with such a work in between.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sewermap.history.life_events import MISSED, REASONS, SEEN, VERDICTS, WORK, day_of, events_of
from sewermap.history.life_rules import LifeRules

Flags = NDArray[np.bool_]
Whole = NDArray[np.int64]
Days = NDArray[np.datetime64]

STATES = ("new", "same", "worse", "better", "not seen", "not looked", "mended", "returned")
NEW, SAME, WORSE, BETTER, NOT_SEEN, NOT_LOOKED, MENDED, RETURNED = range(8)
OPEN = tuple(state for state in STATES if state != "mended")
"""States of issues that still ask for something."""


@dataclass(frozen=True, eq=False)
class Lives:
    """``states``: one row an issue, in the order given. ``events``: codes and rows, see ``timeline`` for words."""

    states: pd.DataFrame
    events: pd.DataFrame


def lives(
    issues: pd.DataFrame,
    sightings: pd.DataFrame,
    coverages: pd.DataFrame,
    looks: pd.DataFrame,
    works: pd.DataFrame,
    rules: LifeRules,
) -> Lives:
    """The lives of all issues of all laterals at once. The order of rows means nothing.

    issues: issue (unique), lateral, kind, measure_m, sigma_m, and to_measure_m for one that runs along the line.
    sightings: issue, run, kind, size (in what its kind is measured in), grade; what is not known is NaN.
    coverages: one row a run of these laterals: run, lateral, ran_on, from_measure_m ≤ to_measure_m (NaN: nothing), reason.
    looks: run, kind, measure_m, to_measure_m: what the camera passed without seeing (other kinds of looks end a coverage and
    are not needed).
    works: work, lateral, done_on, kind, from_measure_m, to_measure_m (both NaN: the whole line; one: a point).

    ``states``: issue, lateral, state, first_seen, last_seen, last_looked, times_seen, repeat; work and work_on (the last work
    that should have mended it), returned_after and returned_after_on (the work after which it came back last), returned_on
    (first seen after that) and returned_days between the two. Missing: NaN, NaT.

    Raises ValueError for a sighting by a run that is not of the issue's lateral, or an issue that nobody saw.
    """
    events = events_of(issues, sightings, coverages, looks, works, rules)
    history = _History(events)
    events["state"] = history.states(_change(history, sightings, rules))
    return Lives(_states(issues, works, events, history), events)


def timeline(known: Lives, issues: pd.DataFrame, coverages: pd.DataFrame, works: pd.DataFrame) -> pd.DataFrame:
    """The events in words, for the frames that ``lives`` was given, sorted by issue (as given) and time.

    Columns: issue, day, run, work (one of the two), verdict, reason (why a run could not look, else NaN), state (after the
    event; NaN before anybody saw the issue). A run before the first sighting is told too: it looked and did not find it, or
    could not look.
    """
    events = known.events
    words = (("verdict", VERDICTS), ("reason", REASONS), ("state", STATES))
    told = {name: pd.Series(np.array([*texts, ""], dtype=object)[events[name].to_numpy()], dtype="str") for name, texts in words}
    return pd.DataFrame(
        {
            "issue": issues["issue"].to_numpy()[events["issue"].to_numpy()],
            "day": day_of(events["turn"].to_numpy()),
            "run": _taken(coverages["run"], events["run"].to_numpy()),
            "work": _taken(works["work"], events["work"].to_numpy()),
            **{name: texts.where(texts != "") for name, texts in told.items()},
        }
    )


class _History:
    """Positions in the sorted events: of each event, where its issue's last sighting (work, miss …) up to it stands, or −1."""

    def __init__(self, events: pd.DataFrame) -> None:
        issue, verdict = events["issue"].to_numpy(), events["verdict"].to_numpy()
        self.sighting, self.turn = events["sighting"].to_numpy(), events["turn"].to_numpy()
        self.at = np.arange(len(events))
        opens = np.concatenate([[True], issue[1:] != issue[:-1]])[: len(events)]
        self.start = self.at[opens][np.cumsum(opens) - 1] if len(events) else self.at
        self.ends = np.flatnonzero(np.concatenate([opens[1:], [True]])[: len(events)])
        self.seen, self.missed, self.worked = (verdict == code for code in (SEEN, MISSED, WORK))
        self.last_seen, self.last_work = self.last(self.seen), self.last(self.worked)
        self.seen_before, self.worked_before = self._before(self.last_seen), self._before(self.last_work)
        self.last_looked = self.last(self.seen | (self.missed & (self.last_seen >= 0)))
        # The first work since it was last seen; and the sighting that was the first after a work.
        self.first_work = self.last(self.worked & (self.worked_before < self.last_seen))
        self.came_back = self.last(self.seen & (self.last_work > self.seen_before))

    def last(self, flags: Flags) -> Whole:
        """The last flagged position of the same issue, up to and including each event."""
        found = np.maximum.accumulate(np.where(flags, self.at, -1)) if len(flags) else self.at
        return np.where(found >= self.start, found, -1)

    def _before(self, last: Whole) -> Whole:
        shifted = np.concatenate([[-1], last[:-1]])[: len(last)]
        return np.where(self.at > self.start, shifted, -1)

    def states(self, change: Whole) -> Whole:
        """The state after each event, −1 before the first sighting. ``change``: same, worse or better, of each sighting."""
        after_work = self.last_work >= 0
        found_gone = self.missed & (self.last_seen >= 0)
        confirmed = (self.first_work > self.last_seen) & (self.last(found_gone) > self.first_work)
        rules = (
            (self.seen & (self.seen_before < 0), NEW),
            (self.seen & after_work, RETURNED),
            (self.seen, change),
            (found_gone & (self.last_work > self.last_seen), MENDED),
            (found_gone & after_work, RETURNED),
            (found_gone, NOT_SEEN),
            (self.worked & confirmed, MENDED),
            (self.worked, NOT_LOOKED),
        )
        state = np.select([where for where, _ in rules], [what for _, what in rules], -1)
        said = self.last(state >= 0)
        return np.where(said >= 0, state[said], -1)

    def repeats(self) -> Flags:
        """Sightings on another day than the first, after a work that should have mended it."""
        first = self.last(self.seen & (self.seen_before < 0))
        return np.asarray(self.seen & (self.last_work >= 0) & (day_of(self.turn) > day_of(self.turn[first])))


def _change(history: _History, sightings: pd.DataFrame, rules: LifeRules) -> Whole:
    """Of each sighting against the one before: a graver kind is worse; else another grade; else a size beyond the tolerance."""
    again = np.flatnonzero(history.seen & (history.seen_before >= 0))
    now, before = history.sighting[again], history.sighting[history.seen_before[again]]
    kind = pd.Index(rules.names).get_indexer(pd.Index(sightings["kind"]))
    grade, size = sightings["grade"].to_numpy(float), sightings["size"].to_numpy(float)
    graver = rules.graver[kind[before], kind[now]]
    by_grade = np.sign(np.nan_to_num(grade[now] - grade[before]))
    grown = np.where(rules.size[kind[now]] == rules.size[kind[before]], np.nan_to_num(size[now] - size[before]), 0.0)
    by_size = np.where(np.abs(grown) > rules.tolerance[kind[now]], np.sign(grown), 0.0)
    trend = np.where(by_grade != 0.0, by_grade, by_size)
    change = np.full(len(history.at), SAME)
    change[again] = np.select([graver | (trend > 0.0), trend < 0.0], [WORSE, BETTER], SAME)
    return change


def _states(issues: pd.DataFrame, works: pd.DataFrame, events: pd.DataFrame, history: _History) -> pd.DataFrame:
    """One row an issue, from its last event."""
    end = history.ends
    first = np.flatnonzero(history.seen & (history.seen_before < 0))
    day, work = day_of(history.turn), events["work"].to_numpy()
    state = events["state"].to_numpy()[end]
    seen_again = np.add.reduceat(history.repeats(), history.start[end]) > 0 if len(end) else np.zeros(0, dtype=bool)
    back = history.came_back[end]
    cause = np.where(back >= 0, history.last_work[back], -1)
    back_on, cause_on = _day_at(day, back), _day_at(day, cause)
    days = (back_on - cause_on).astype("timedelta64[D]").astype(float)
    return pd.DataFrame(
        {
            "issue": issues["issue"].to_numpy(),
            "lateral": issues["lateral"].to_numpy(),
            "state": pd.Series(np.array(STATES, dtype=object)[state], dtype="str"),
            "first_seen": day[first],
            "last_seen": day[history.last_seen[end]],
            "last_looked": day[history.last_looked[end]],
            "times_seen": np.add.reduceat(history.seen, history.start[end]) if len(end) else end,
            "repeat": (state == RETURNED) | seen_again,
            "work": _taken(works["work"], _taken_row(work, history.last_work[end])),
            "work_on": _day_at(day, history.last_work[end]),
            "returned_after": _taken(works["work"], _taken_row(work, cause)),
            "returned_after_on": cause_on,
            "returned_on": back_on,
            "returned_days": np.where(back >= 0, days, np.nan),
        }
    )


def _taken(names: pd.Series, rows: Whole) -> pd.Series:
    """The names of rows, missing for row −1."""
    return pd.Series(np.append(names.to_numpy(object), np.nan)[rows], dtype="str")


def _taken_row(work: Whole, at: Whole) -> Whole:
    return np.append(work, -1)[at]


def _day_at(day: Days, at: Whole) -> Days:
    """The days of positions, NaT for −1."""
    return np.asarray(np.append(day, np.datetime64("NaT", "s"))[at])
