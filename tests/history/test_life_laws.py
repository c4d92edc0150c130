"""Laws of an issue's life that hold for any history, and the rules told once more as a plain loop."""

import itertools

import numpy as np
import pandas as pd
from hypothesis import given, settings
from hypothesis import strategies as st

from sewermap.history.life import lives
from tests.history.life_told import RULES, Run, Told, Work, told

ISSUES = {"A": ("roots", 4.0, 0.1), "B": ("grease", 10.0, 0.1), "C": ("crack", 10.1, 0.2), "D": ("sag", 15.0, 0.1, 17.0)}
DAYS = [f"2023-01-{day:02d}" for day in range(1, 9)]
KINDS = ("spot repair", "relining", "root cutting", "cleaning", "other")

sizes = st.sampled_from([np.nan, 10.0, 20.0, 50.0])
grades = st.sampled_from([np.nan, 1.0, 3.0, 5.0])
unhurried = settings(deadline=None, max_examples=40)


@st.composite
def runs(draw, names=tuple(ISSUES)) -> Run:
    """A run on one of a few days that saw some of the issues, wherever it is said to have been."""
    saw = draw(st.sets(st.sampled_from(names))) if names else set()
    ends = draw(st.sampled_from([(0.0, 20.0), (0.0, 10.05), (9.0, 20.0), (0.0, 2.0), (np.nan, np.nan)]))
    looks = draw(st.sampled_from([(), (("lens dirty", 3.0, 11.0),), (("under water", 15.5, np.nan),)]))
    what = {name: (ISSUES[name][0], draw(sizes), draw(grades)) for name in sorted(saw)}
    return Run(draw(st.sampled_from(DAYS)), what, *ends, draw(st.sampled_from(["check", "work"])), looks)


@st.composite
def works(draw) -> Work:
    """A work on one of a few days, on all of the line or some of it."""
    stretch = draw(st.sampled_from([(np.nan, np.nan), (3.0, 5.0), (9.0, 10.5), (12.0, 20.0)]))
    return Work(draw(st.sampled_from(DAYS)), draw(st.sampled_from(KINDS)), *stretch)


@st.composite
def histories(draw) -> list[Run | Work]:
    """Some runs and works, and among them one that saw every issue."""
    events = draw(st.lists(runs() | works(), max_size=8))
    return [Run(draw(st.sampled_from(["2022-12-01", *DAYS[:3]])), tuple(ISSUES)), *events]


def story(known: Told) -> pd.DataFrame:
    """The events of all issues in words, day after day, with what is needed to judge them by hand."""
    reason = known.frames[1].set_index("run")["reason"]
    rows = known.timeline
    turn = np.where(rows["run"].isna(), 1, np.where(rows["run"].map(reason).eq("work"), 2, 0))
    return rows.assign(turn=turn)


def state_by_hand(rows: pd.DataFrame) -> str:
    """The state of one issue by the design's sentences, from its verdicts alone; any still there is ``there``."""
    state = ""
    worked = worked_ever = False  # since it was last seen; since it was first seen
    for verdict in rows["verdict"]:
        if verdict == "seen":
            state, worked = ("returned" if worked_ever else "there"), False
        elif verdict == "should have mended it":
            state, worked, worked_ever = ("mended" if state == "mended" else "not looked"), True, True
        elif verdict == "not seen" and state:
            state = "mended" if worked else "returned" if worked_ever else "not seen"
    return state


@unhurried
@given(histories())
def test_states_are_those_of_a_plain_loop(events) -> None:
    """Told event by event in a loop, each issue ends as the columns say."""
    known = told(*events, issues=ISSUES)
    rows = story(known)
    ends = known.known.states.set_index("issue")["state"].replace(dict.fromkeys(("new", "same", "worse", "better"), "there"))
    assert {name: state_by_hand(part) for name, part in rows.groupby("issue")} == ends.to_dict()


@unhurried
@given(histories())
def test_events_stand_in_order_of_time(events) -> None:
    """Days rise; on a day runs come first, then works, then the runs for the work."""
    for _, part in story(told(*events, issues=ISSUES)).groupby("issue"):
        order = list(zip(part["day"], part["turn"], strict=True))
        assert order == sorted(order)


@unhurried
@given(histories(), st.randoms(use_true_random=False))
def test_the_order_of_rows_means_nothing(events, random) -> None:
    """Shuffled frames give the same states and the same events."""
    known = told(*events, issues=ISSUES)
    mixed = []
    for rows in (known.issues, *known.frames):
        order = list(range(len(rows)))
        random.shuffle(order)
        mixed.append(rows.iloc[order].reset_index(drop=True))
    again = Told(mixed[0], tuple(mixed[1:]), lives(*mixed, RULES))
    pd.testing.assert_frame_equal(
        again.known.states.sort_values("issue", ignore_index=True), known.known.states.sort_values("issue", ignore_index=True)
    )
    pd.testing.assert_frame_equal(
        again.timeline.sort_values("issue", kind="stable", ignore_index=True),
        known.timeline.sort_values("issue", kind="stable", ignore_index=True),
    )


@unhurried
@given(histories())
def test_a_later_run_that_sees_it_never_leaves_mended(events) -> None:
    """Whoever is seen last is there; it has returned if a work should have mended it."""
    before = told(*events, issues=ISSUES).known.states.set_index("issue")
    after = told(*events, Run("2024-01-01", tuple(ISSUES)), issues=ISSUES).known.states.set_index("issue")
    assert not after["state"].isin(["mended", "not seen", "not looked", "new"]).any()
    assert (after["state"].eq("returned") == before["work"].notna()).all()
    assert (after["times_seen"] == before["times_seen"] + 1).all()


@unhurried
@given(histories())
def test_a_later_run_that_passes_without_a_sighting_finds_nothing_there(events) -> None:
    """Never new, same, worse, better or not looked: it is mended, had come back before, or is not seen."""
    after = told(*events, Run("2024-01-01"), issues=ISSUES).known.states
    assert after["state"].isin(["mended", "returned", "not seen"]).all()
    assert (after["last_looked"] == pd.Timestamp("2024-01-01")).all()


@unhurried
@given(histories())
def test_a_later_run_that_could_not_look_changes_nothing(events) -> None:
    """Neither states nor days nor counts."""
    known = told(*events, issues=ISSUES)
    blind = told(*events, Run("2024-01-01", start=0.0, end=1.0), issues=ISSUES)
    pd.testing.assert_frame_equal(known.known.states, blind.known.states)


@unhurried
@given(histories(), st.sampled_from(KINDS[:2]))
def test_a_later_work_on_all_leaves_only_what_nobody_looked_at(events, kind) -> None:
    """After a work that mends everything: not looked, or mended already."""
    after = told(*events, Work("2024-01-01", kind), issues=ISSUES).known.states
    assert after["state"].isin(["not looked", "mended"]).all()
    assert (after["work_on"] == pd.Timestamp("2024-01-01")).all()


@unhurried
@given(histories())
def test_counts_and_days_fit_together(events) -> None:
    """First seen, last seen, last looked stand in order; a repeat has its work, the day it came back, and the days between."""
    states = told(*events, issues=ISSUES).known.states
    assert (states["first_seen"] <= states["last_seen"]).all()
    assert (states["last_seen"] <= states["last_looked"]).all()
    assert (states["times_seen"] >= 1).all()
    repeats = states[states["repeat"]]
    assert repeats[["returned_after", "returned_on", "returned_days"]].notna().all().all()
    assert (repeats["returned_days"] == (repeats["returned_on"] - repeats["returned_after_on"]).dt.days).all()
    assert (states["repeat"] | states["state"].ne("returned")).all()


@unhurried
@given(histories(), histories())
def test_laterals_do_not_meddle_with_each_other(one, other) -> None:
    """Two laterals told at once end as each by itself."""
    alone = [told(*events, issues=ISSUES) for events in (one, other)]
    both = []
    for number in range(5):
        parts = [(known.issues, *known.frames)[number].copy() for known in alone]
        for column, mark in itertools.product(("issue", "lateral", "run", "work"), "12"):
            part = parts[int(mark) - 1]
            if column in part:
                part[column] = part[column] + mark
        both.append(pd.concat(parts, ignore_index=True))
    together = lives(*both, RULES).states.drop(columns=["issue", "lateral", "work", "returned_after"])
    apart = pd.concat([known.known.states for known in alone], ignore_index=True)
    pd.testing.assert_frame_equal(together, apart[list(together)])
