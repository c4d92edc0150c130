"""The rules of an issue's state, one by one."""

import numpy as np
import pandas as pd
import pytest

from sewermap.history.kinds import vocabulary
from sewermap.history.life import STATES, lives
from tests.history.life_told import RULES, Run, Work, told

SPRING, SUMMER, AUTUMN, WINTER, LATER = "2023-03-01", "2023-06-01", "2023-09-01", "2023-12-01", "2024-06-01"


def test_new_is_seen_by_its_first_and_only_run() -> None:
    """One sighting: new, on that day, once; a run before it that passed the place changes nothing."""
    one = told(Run(SPRING), Run(SUMMER, ("I",))).of()
    assert one["state"] == "new"
    assert one["first_seen"] == one["last_seen"] == one["last_looked"] == pd.Timestamp(SUMMER)
    assert one["times_seen"] == 1
    assert not one["repeat"]
    assert pd.isna(one["work"])


@pytest.mark.parametrize(
    ("before", "now", "state"),
    [
        (("roots", 20.0, np.nan), ("roots", 20.0, np.nan), "same"),
        (("roots", 20.0, np.nan), ("roots", 30.0, np.nan), "same"),
        (("roots", 20.0, np.nan), ("roots", 40.0, np.nan), "worse"),
        (("roots", 60.0, np.nan), ("roots", 30.0, np.nan), "better"),
        (("roots", np.nan, np.nan), ("roots", 60.0, np.nan), "same"),
        (("roots", np.nan, 2.0), ("roots", np.nan, 3.0), "worse"),
        (("roots", np.nan, 4.0), ("roots", np.nan, 3.0), "better"),
        (("roots", 60.0, 2.0), ("roots", 30.0, 3.0), "worse"),
        (("crack", np.nan, 3.0), ("open crack", np.nan, 2.0), "worse"),
        (("crack", np.nan, np.nan), ("collapse", np.nan, np.nan), "worse"),
        (("open crack", np.nan, np.nan), ("crack", np.nan, np.nan), "same"),
        (("crack", 3.0, np.nan), ("sag", 60.0, np.nan), "same"),
    ],
)
def test_worse_and_better_are_told_against_the_sighting_before(before, now, state) -> None:
    """A graver kind is worse, else the grade decides where it changed, else a size beyond the tolerance; sizes in different
    units (millimetres, percent) and unknown ones tell nothing, and a milder word is no cure.
    """
    assert told(Run(SPRING, {"I": before}), Run(SUMMER, {"I": now}), issues={"I": (before[0], 10.0, 0.1)}).state == state


def test_a_change_is_told_against_the_last_sighting_not_the_first() -> None:
    """Worse, then unchanged: same."""
    runs = [Run(day, {"I": ("roots", size, np.nan)}) for day, size in ((SPRING, 10.0), (SUMMER, 50.0), (AUTUMN, 50.0))]
    assert told(*runs[:2]).state == "worse"
    assert told(*runs).state == "same"


def test_not_seen_is_covered_and_not_there_without_a_work() -> None:
    """A run that passed the place and found nothing, with no work in between: not seen; seen again: same."""
    history = [Run(SPRING, ("I",)), Run(SUMMER)]
    assert told(*history).state == "not seen"
    assert told(*history).of()["last_looked"] == pd.Timestamp(SUMMER)
    assert told(*history, Run(AUTUMN, ("I",))).state == "same"


def test_without_a_work_a_run_that_could_not_see_changes_nothing() -> None:
    """A push that stopped short of the place leaves the state as it was."""
    one = told(Run(SPRING, ("I",)), Run(SUMMER, start=12.0)).of()
    assert one["state"] == "new"
    assert one["last_looked"] == pd.Timestamp(SPRING)
    assert told(Run(SPRING, ("I",)), Run(SUMMER), Run(AUTUMN, end=9.0)).state == "not seen"


def test_not_looked_is_a_work_and_no_look_since() -> None:
    """After a work: not looked, and still so after a run that could not see the place."""
    history = [Run(SPRING, ("I",)), Work(SUMMER)]
    assert told(*history).state == "not looked"
    assert told(*history, Run(AUTUMN, start=12.0)).state == "not looked"
    assert told(*history).of()["work"] == "W1"


def test_mended_is_not_seen_after_a_work_that_mends_it() -> None:
    """The work, then a run that passed and found nothing: mended; a later stop short or a second work on it leaves it so."""
    history = [Run(SPRING, ("I",)), Work(SUMMER, "root cutting"), Run(AUTUMN)]
    assert told(*history).state == "mended"
    assert told(*history, Run(WINTER, start=12.0)).state == "mended"
    assert told(*history, Work(WINTER, "root cutting")).state == "mended"
    assert not told(*history).of()["repeat"]


def test_not_seen_then_worked_on_is_not_looked_until_somebody_looks() -> None:
    """A run that overlooked it before the work cannot vouch for the work."""
    history = [Run(SPRING, ("I",)), Run(SUMMER), Work(AUTUMN)]
    assert told(*history).state == "not looked"
    assert told(*history, Run(WINTER)).state == "mended"


def test_returned_is_seen_again_after_a_work_that_mends_it() -> None:
    """Whether some run found it mended in between or not; with the work's name and the days since."""
    at_once = told(Run(SPRING, ("I",)), Work(SUMMER), Run("2023-06-11", ("I",))).of()
    after_mended = told(Run(SPRING, ("I",)), Work(SUMMER), Run(AUTUMN), Run(WINTER, ("I",))).of()
    assert at_once["state"] == after_mended["state"] == "returned"
    assert at_once["returned_after"] == "W1"
    assert at_once["returned_after_on"] == pd.Timestamp(SUMMER)
    assert at_once["returned_on"] == pd.Timestamp("2023-06-11")
    assert at_once["returned_days"] == 10.0
    assert after_mended["returned_days"] == 183.0  # 1 June to 1 December
    assert at_once["repeat"]
    assert after_mended["repeat"]


def test_returned_stays_until_a_later_work() -> None:
    """Seen again, or overlooked: still returned. A later work: not looked, then mended or returned anew."""
    history = [Run(SPRING, ("I",)), Work(SUMMER), Run(AUTUMN, ("I",))]
    assert told(*history, Run(WINTER, ("I",))).state == "returned"
    assert told(*history, Run(WINTER)).state == "returned"
    assert told(*history, Run(WINTER, start=12.0)).state == "returned"
    again = [*history, Work(WINTER)]
    assert told(*again).state == "not looked"
    assert told(*again, Run(LATER)).state == "mended"
    twice = told(*again, Run(LATER, ("I",))).of()
    assert (twice["state"], twice["returned_after"]) == ("returned", "W3")


def test_a_repeat_stays_one_when_it_is_mended_at_last() -> None:
    """Seen on two days with a work in between: a repeat, also after the work that mended it; what came back is still told."""
    one = told(Run(SPRING, ("I",)), Work(SUMMER), Run(AUTUMN, ("I",)), Work(WINTER), Run(LATER)).of()
    assert one["state"] == "mended"
    assert one["repeat"]
    assert (one["returned_after"], one["work"]) == ("W1", "W3")


def test_a_work_on_the_same_day_comes_after_the_run() -> None:
    """Looked at in the morning, repaired in the afternoon: that sighting is no return."""
    assert told(Run(SPRING, ("I",)), Work(SPRING)).state == "not looked"
    assert told(Run(SPRING, ("I",)), Run(SUMMER), Work(SUMMER)).state == "not looked"


def test_a_run_for_the_work_comes_after_it() -> None:
    """A run of reason work on the day of the work judges it; what it still sees has returned, and is a repeat while it has."""
    after = Run(SPRING, reason="work")
    assert told(Run(SPRING, ("I",)), Work(SPRING), after).state == "mended"
    still = [Run(SPRING, ("I",)), Work(SPRING), Run(SPRING, ("I",), reason="work")]
    assert told(*still).state == "returned"
    assert told(*still).of()["repeat"]
    mended = told(*still, Work(SUMMER), Run(AUTUMN)).of()
    assert mended["state"] == "mended"
    assert not mended["repeat"]  # seen on one day only
    assert told(Work(SPRING), Run(SPRING, ("I",), reason="work")).state == "new"


def test_a_work_before_the_first_sighting_cannot_have_been_for_it() -> None:
    """What is first seen after a relining is new, not returned."""
    one = told(Work(SPRING, "relining"), Run(SUMMER, ("I",))).of()
    assert one["state"] == "new"
    assert pd.isna(one["work"])
    assert pd.isna(one["work_on"])


def test_of_two_runs_on_a_day_the_one_that_saw_it_has_the_last_word() -> None:
    """Whatever their names: a push that missed it does not outweigh one that saw it."""
    assert told(Run(SPRING, ("I",)), Run(SUMMER, ("I",)), Run(SUMMER)).state == "same"
    assert told(Run(SPRING, ("I",)), Run(SUMMER), Run(SUMMER, ("I",))).state == "same"


MENDS_ALL = ("spot repair", "relining", "replacement")


@pytest.mark.parametrize(
    ("work", "kinds"),
    [("root cutting", {"roots"}), ("cleaning", {"grease", "deposits", "debris"}), ("other", set()), ("blessing", set())],
)
def test_what_works_mend(work, kinds) -> None:
    """Root cutting mends roots, cleaning grease, deposits and debris; the design says so. Other works mend nothing."""
    for kind in ("roots", "grease", "deposits", "debris", "crack", "sag", "offset joint", "collapse"):
        history = [Run(SPRING, ("I",)), Work(SUMMER, work), Run(AUTUMN)]
        expected = "mended" if kind in kinds else "not seen"
        assert told(*history, issues={"I": (kind, 10.0, 0.1)}).state == expected
        for all_kinds in MENDS_ALL:
            history[1] = Work(SUMMER, all_kinds)
            assert told(*history, issues={"I": (kind, 10.0, 0.1)}).state == "mended"


@pytest.mark.parametrize(
    ("measure_m", "kind", "held"),
    [
        (9.0, "relining", True),
        (12.19, "relining", True),
        (12.21, "relining", False),
        (7.81, "relining", True),
        (7.79, "relining", False),
    ],
)
def test_a_stretch_is_widened_by_two_sigma(measure_m, kind, held) -> None:
    """From 8 to 12 m, sigma 0.1: issues from 7.8 to 12.2 m are in it; the rest saw no work."""
    one = told(Run(SPRING, ("I",)), Work(SUMMER, kind, 8.0, 12.0), issues={"I": ("crack", measure_m, 0.1)})
    assert one.state == ("not looked" if held else "new")
    backwards = told(Run(SPRING, ("I",)), Work(SUMMER, kind, 12.0, 8.0), issues={"I": ("crack", measure_m, 0.1)})
    assert backwards.state == one.state


def test_a_spot_repair_is_for_the_nearest() -> None:
    """What lies in its stretch goes before what only the widening reaches; with none in it, the nearest alone."""
    two = {"A": ("crack", 9.7, 0.3), "B": ("crack", 10.4, 0.3)}
    seen = Run(SPRING, ("A", "B"))
    between = told(seen, Work(SUMMER, "spot repair", 9.9, 10.0), issues=two)
    assert (between.of("A")["state"], between.of("B")["state"]) == ("not looked", "new")
    on_b = told(seen, Work(SUMMER, "spot repair", 10.2, 10.6), issues=two)
    assert (on_b.of("A")["state"], on_b.of("B")["state"]) == ("new", "not looked")
    on_both = told(seen, Work(SUMMER, "spot repair", 9.5, 10.5), issues=two)
    assert (on_both.of("A")["state"], on_both.of("B")["state"]) == ("not looked", "not looked")
    lining = told(seen, Work(SUMMER, "relining", 10.2, 14.0), issues=two)
    assert (lining.of("A")["state"], lining.of("B")["state"]) == ("not looked", "not looked")


def test_nearest_is_counted_among_what_the_work_mends() -> None:
    """Roots that nobody cut do not keep a cleaning from the grease beside them."""
    two = {"A": ("roots", 10.0, 0.3), "B": ("grease", 10.7, 0.3)}
    known = told(Run(SPRING, ("A", "B")), Work(SUMMER, "cleaning", 9.8, 10.2), issues=two)
    assert (known.of("A")["state"], known.of("B")["state"]) == ("new", "not looked")


def test_a_place_that_is_known_exactly_or_not_at_all() -> None:
    """Sigma 0 is the stretch itself; an issue without a measure is in works on the whole line only, and no run passed it."""
    exact = {"I": ("crack", 12.0, 0.0)}
    assert told(Run(SPRING, ("I",)), Work(SUMMER, "relining", 8.0, 12.0), issues=exact).state == "not looked"
    assert told(Run(SPRING, ("I",)), Work(SUMMER, "relining", 8.0, 11.9), issues=exact).state == "new"
    nowhere = {"I": ("crack", np.nan, np.nan)}
    assert told(Run(SPRING, ("I",)), Work(SUMMER, "relining", 8.0, 12.0), issues=nowhere).state == "new"
    assert told(Run(SPRING, ("I",)), Work(SUMMER, "relining"), Run(AUTUMN), issues=nowhere).state == "not looked"


@pytest.mark.parametrize(
    ("kind", "looks", "state"),
    [
        ("crack", [("under water", 8.0, 12.0)], "not looked"),
        ("crack", [("under water", 12.0, 8.0)], "not looked"),
        ("crack", [("under water", 11.0, 12.0)], "mended"),
        ("crack", [("under water", 10.5, np.nan)], "not looked"),
        ("crack", [("under water", 12.5, np.nan)], "mended"),
        ("collapse", [("under water", 8.0, 12.0)], "mended"),
        ("collapse", [("lens dirty", 8.0, 12.0)], "not looked"),
        ("crack", [("turned back", 10.0, np.nan)], "mended"),
        ("crack", [("lens dirty", 1.0, 2.0), ("under water", 9.0, 11.0)], "not looked"),
    ],
)
def test_what_a_look_hides(kind, looks, state) -> None:
    """A stretch under water hides what is mostly not seen there, a dirty lens everything; one noted at a single reading hides a
    metre to either side; how a push ended hides nothing that it passed.
    """
    history = told(Run(SPRING, ("I",)), Work(SUMMER), Run(AUTUMN, looks=tuple(looks)), issues={"I": (kind, 10.0, 0.1)})
    assert history.state == state


def test_who_saw_it_could_see_it() -> None:
    """A sighting counts whatever was said of the water, or of where the run ended; it needs no excuse."""
    wet = told(Run(SPRING, ("I",)), Work(SUMMER), Run(AUTUMN, ("I",), end=9.8, looks=(("under water", 0.0, 20.0),)))
    assert wet.state == "returned"
    assert wet.timeline["reason"].isna().all()


def test_an_issue_that_runs_along_the_line_is_seen_from_either_end() -> None:
    """From 9 to 12 m, whichever is written first: passed by a run that met one end; hidden only when all of it is."""
    for ends in ((9.0, 12.0), (12.0, 9.0)):
        sag = {"I": ("grease", ends[0], 0.1, ends[1])}
        for run in (Run(AUTUMN, start=11.0), Run(AUTUMN, end=9.5), Run(AUTUMN, looks=(("lens dirty", 10.0, 13.0),))):
            assert told(Run(SPRING, ("I",)), Work(SUMMER, "cleaning"), run, issues=sag).state == "mended"
        for run in (Run(AUTUMN, start=12.5), Run(AUTUMN, end=8.5), Run(AUTUMN, looks=(("lens dirty", 8.0, 13.0),))):
            assert told(Run(SPRING, ("I",)), Work(SUMMER, "cleaning"), run, issues=sag).state == "not looked"


def test_a_run_that_covered_nothing_saw_nothing() -> None:
    """A run that could not be placed has no coverage, and cannot say that a place is mended."""
    assert told(Run(SPRING, ("I",)), Work(SUMMER), Run(AUTUMN, start=np.nan, end=np.nan)).state == "not looked"


def test_the_timeline_says_each_verdict_in_words() -> None:
    """Each run and each work on it in order of time, with its verdict, why it could not look, and the state after it."""
    known = told(
        Run("2023-01-01"),
        Run(SPRING, ("I",)),
        Work(SUMMER, "root cutting"),
        Work(SUMMER, "cleaning"),
        Run(AUTUMN, start=15.0),
        Run(WINTER, looks=(("lens dirty", 0.0, 20.0),)),
        Run(LATER),
    )
    rows = known.timeline
    assert rows["verdict"].tolist() == [
        "not seen",
        "seen",
        "should have mended it",
        "could not look",
        "could not look",
        "not seen",
    ]
    assert rows["state"].fillna("").tolist() == ["", "new", "not looked", "not looked", "not looked", "mended"]
    assert rows["reason"].fillna("").tolist() == ["", "", "", "did not get there", "lens dirty", ""]
    assert rows["run"].fillna("").tolist() == ["R0", "R1", "", "R4", "R5", "R6"]
    assert rows["work"].fillna("").tolist() == ["", "", "W2", "", "", ""]
    assert rows["day"].is_monotonic_increasing
    assert set(rows["issue"]) == {"I"}


def test_two_sightings_of_one_run_are_one() -> None:
    """Where two observations of a run are one issue, it was seen once, and the worse of the two counts."""
    known = told(Run(SPRING, {"I": ("roots", 10.0, 2.0)}), Run(SUMMER, {"I": ("roots", 10.0, 2.0)}))
    sightings, *others = known.frames
    doubled = pd.concat([sightings, sightings.iloc[[1]].assign(grade=4.0)], ignore_index=True)
    for rows in (doubled, doubled.iloc[::-1]):
        one = lives(known.issues, rows, *others, RULES).states.iloc[0]
        assert (one["state"], one["times_seen"]) == ("worse", 2)


def test_nothing_at_all() -> None:
    """No issues, no runs, no works: no states, and every column is there."""
    empty = told(Run(SPRING, ("I",)))
    none = lives(*(rows.iloc[:0] for rows in (empty.issues, *empty.frames)), RULES)
    assert len(none.states) == len(none.events) == 0
    assert list(none.states) == list(empty.known.states)


def test_sightings_that_cannot_be_are_refused() -> None:
    """An issue that nobody saw, and a sighting by a run of another lateral or by none, are a wrong program, not a state."""
    with pytest.raises(ValueError, match="nobody saw the issue I"):
        told(Run(SPRING))
    known = told(Run(SPRING, ("I",)))
    sightings, coverages, *others = known.frames
    for wrong in (coverages.assign(lateral="M"), coverages.assign(run="X")):
        with pytest.raises(ValueError, match="another lateral"):
            lives(known.issues, sightings, wrong, *others, RULES)


def test_states_have_the_types_of_the_store() -> None:
    """Words are str, days datetime64[s], flags bool; what is missing is NaN or NaT."""
    types = told(Run(SPRING, ("I",)), Work(SUMMER), Run(AUTUMN, ("I",))).known.states.dtypes
    assert all(types[name] == "str" for name in ("issue", "lateral", "state", "work", "returned_after"))
    days = ("first_seen", "last_seen", "last_looked", "work_on", "returned_after_on", "returned_on")
    assert all(types[name] == "datetime64[s]" for name in days)
    assert types["repeat"] == "bool"
    assert types["returned_days"] == "float64"


def test_graver_kinds_never_go_round() -> None:
    """No kind is graver than itself, however many chains lead on; only defects are graver than anything."""
    assert not RULES.graver.diagonal().any()
    assert not (RULES.graver & RULES.graver.T).any()
    assert not RULES.graver[:, ~vocabulary().is_defect].any()
    assert not RULES.graver[~vocabulary().is_defect].any()


def test_every_state_has_one_of_the_design_words() -> None:
    """The eight words of the design, and no other."""
    assert set(STATES) == {"new", "same", "worse", "better", "not seen", "not looked", "mended", "returned"}
