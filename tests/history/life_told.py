"""Small histories of one lateral, told event by event."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from sewermap.history.kinds import vocabulary
from sewermap.history.life import Lives, lives, timeline
from sewermap.history.life_rules import life_rules

RULES = life_rules(vocabulary())


@dataclass(frozen=True)
class Run:
    """A run from ``start`` to ``end``; ``saw``: issue → (kind, size, grade), or only their names."""

    day: str
    saw: dict[str, tuple] | tuple[str, ...] = ()
    start: float = 0.0
    end: float = 20.0
    reason: str = "check"
    looks: tuple[tuple, ...] = ()


@dataclass(frozen=True)
class Work:
    """A work from ``start`` to ``end`` (empty: the whole line)."""

    day: str
    kind: str = "spot repair"
    start: float = np.nan
    end: float = np.nan


@dataclass(frozen=True)
class Told:
    """The frames of a history, and what came out of it."""

    issues: pd.DataFrame
    frames: tuple[pd.DataFrame, ...]
    known: Lives

    def of(self, issue: str = "I") -> pd.Series:
        """The row of one issue."""
        return self.known.states.set_index("issue").loc[issue]

    @property
    def state(self) -> str:
        """The state of the only issue, or of I."""
        return self.of()["state"]

    @property
    def timeline(self) -> pd.DataFrame:
        """All events in words."""
        return timeline(self.known, self.issues, self.frames[1], self.frames[3])


def told(*events: Run | Work, issues: dict[str, tuple] | None = None) -> Told:
    """The history of lateral L. ``issues``: name → (kind, measure_m, sigma_m[, to_measure_m]); I, roots at 10 m, if not said."""
    named = issues or {"I": ("roots", 10.0, 0.1)}
    rows = [(name, "L", *what, *[np.nan] * (4 - len(what))) for name, what in named.items()]
    table = pd.DataFrame(rows, columns=["issue", "lateral", "kind", "measure_m", "sigma_m", "to_measure_m"])
    frames = (_sightings(events, named), _coverages(events), _looks(events), _works(events))
    return Told(table, frames, lives(table, *frames, RULES))


def _sightings(events, issues) -> pd.DataFrame:
    rows = []
    for number, run in enumerate(events):
        if isinstance(run, Run):
            saw = run.saw if isinstance(run.saw, dict) else {name: (issues[name][0], np.nan, np.nan) for name in run.saw}
            rows += [(issue, f"R{number}", *what) for issue, what in saw.items()]
    return pd.DataFrame(rows, columns=["issue", "run", "kind", "size", "grade"])


def _coverages(events) -> pd.DataFrame:
    rows = [(f"R{at}", "L", run.day, run.start, run.end, run.reason) for at, run in enumerate(events) if isinstance(run, Run)]
    table = pd.DataFrame(rows, columns=["run", "lateral", "ran_on", "from_measure_m", "to_measure_m", "reason"])
    return table.assign(ran_on=pd.to_datetime(table["ran_on"]).astype("datetime64[s]"))


def _looks(events) -> pd.DataFrame:
    rows = [(f"R{at}", *look) for at, run in enumerate(events) if isinstance(run, Run) for look in run.looks]
    return pd.DataFrame(rows, columns=["run", "kind", "measure_m", "to_measure_m"])


def _works(events) -> pd.DataFrame:
    rows = [(f"W{at}", "L", one.day, one.kind, one.start, one.end) for at, one in enumerate(events) if isinstance(one, Work)]
    table = pd.DataFrame(rows, columns=["work", "lateral", "done_on", "kind", "from_measure_m", "to_measure_m"])
    return table.assign(done_on=pd.to_datetime(table["done_on"]).astype("datetime64[s]"))
