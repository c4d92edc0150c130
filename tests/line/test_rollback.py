"""Counters that rolled back while the cable was pulled and pushed again: found by film times, fixes and what was seen."""

import numpy as np
import pandas as pd
import pytest

from sewermap.follow.together import placed_together
from sewermap.line.rollback import as_one_run, film_seconds, rolled_back, second_pushes
from tests.line.one_pipe import NO_WORKS, WORDS, one_pipe, seen

RUN = {"run": ["A"], "unit": ["m"], "ran_on": ["2024-05-01"], "end_reading_m": [33.0]}
KINDS = ["roots", "crack", "open joint", "hole", "deposits", "infiltration", "tie-in"]
TRUE_M = np.array([36.0, 30.0, 22.0, 16.0, 12.0, 5.0, 0.0])
TIMES = ["0:40", "1:10", "2:05", "3:00", "3:20", "4:10", "5:02"]
SLIPPED_M = 7.0


def log(*, slipped_m: float = SLIPPED_M, times=TIMES, rows: int = 7, kinds=KINDS) -> dict:
    """What a run from the building saw, in order of time: its counter lost some metres after the third thing."""
    paid = 40.0 - TRUE_M
    paid[3:] -= slipped_m
    columns = {"run": ["A"] * 7, "kind": kinds, "reading_m": paid.tolist(), "film_time": times}
    return {name: values[:rows] for name, values in columns.items()}


def placed(columns: dict, **run):
    """Places of the run's observations, and its warnings."""
    scene = one_pipe({**RUN, **{name: [value] for name, value in run.items()}})
    places, _ = placed_together(scene, seen(scene, **columns), NO_WORKS, WORDS)
    told = places.warnings
    return places, told[told["push"] >= 0]["reason"].tolist()


@pytest.mark.parametrize(
    ("text", "seconds"),
    [("1:02:03", 3723), ("2:05", 125), ("02:05.5", 125.5), ("02:05,5", 125.5), ("125", 125), ("125 s", 125), (" 0:40 ", 40)],
)
def test_film_times_are_read_as_players_show_them(text: str, seconds: float) -> None:
    """Hours, minutes and seconds, or seconds alone."""
    assert film_seconds(pd.Series([text], dtype="str")).tolist() == [seconds]


@pytest.mark.parametrize("text", ["", "at the end", "2:5:7:1", "2:05 pm"])
def test_other_texts_are_no_film_time(text: str) -> None:
    """Nothing is guessed."""
    assert np.isnan(film_seconds(pd.Series([text], dtype="str"))).all()


def test_a_fix_after_it_tells_that_the_counter_rolled_back_and_by_how_much() -> None:
    """The run ends at the tie-in with 33 m on its counter for 40 m of line: what was read later is placed as a second push."""
    places, told = placed(log())
    went_back = (
        "its counter went back from 18.0 to 17.0 m at film time 3:00 while the camera went on (what it passed later says so)"
    )
    assert told == [f"{went_back}: what was read after it is placed as a second push"]
    off = np.abs(places.observations["measure_m"].to_numpy() - TRUE_M)
    assert (off <= 3.0 * places.observations["sigma_m"].to_numpy()).all()
    assert off.max() < 0.6
    assert places.observations["sigma_m"].max() < 0.6


def test_without_film_times_the_same_readings_were_metres_off() -> None:
    """Order cannot be told then, so nothing is said of a rollback; the contradiction of the fix stays told."""
    places, told = placed(log(times=[None] * 7))
    assert np.abs(places.observations["measure_m"].to_numpy() - TRUE_M).max() > 2.0
    assert told == ["its one fix is 7.0 m (10.6 sigma) from where the launch puts it: sigma widened"]


def test_the_order_of_rows_means_nothing() -> None:
    """Only film times do: shuffled rows give each thing the same place."""
    columns = log()
    scene = one_pipe(RUN)
    order = np.random.default_rng(1).permutation(7)
    one, _ = placed_together(scene, seen(scene, **columns), NO_WORKS, WORDS)
    other, _ = placed_together(scene, seen(scene, **columns).iloc[order].reset_index(drop=True), NO_WORKS, WORDS)
    pd.testing.assert_frame_equal(one.observations.iloc[order].reset_index(drop=True), other.observations)
    assert one.coverages.astype(str).equals(other.coverages.astype(str))


def test_a_camera_that_only_went_back_to_look_again_is_left_alone() -> None:
    """A fix reached later at the reading that it should have: the counter was right all the time."""
    columns = {
        "run": ["A"] * 5,
        "kind": ["roots", "crack", "hole", "deposits", "tie-in"],
        "reading_m": [4.0, 18.0, 10.0, 14.0, 40.1],
        "film_time": ["0:40", "2:05", "3:00", "3:20", "5:02"],
    }
    _, told = placed(columns, end_reading_m=40.1)
    assert told == []


def test_the_same_things_seen_again_are_a_look_back() -> None:
    """Nothing passed later tells, but the second look sees the root that the first one saw, where it saw it."""
    columns = {
        "run": ["A"] * 5,
        "kind": ["roots", "crack", "roots", "hole", "deposits"],
        "reading_m": [10.0, 18.0, 10.2, 14.0, 20.0],
        "film_time": ["0:40", "2:05", "3:00", "3:20", "5:02"],
    }
    assert placed(columns, end_reading_m=20.0)[1] == []


def test_pulling_the_cable_out_is_no_rollback() -> None:
    """Things noted on the way out have falling readings that never rise again."""
    columns = {"run": ["A"] * 4, "kind": ["roots", "crack", "hole", "deposits"], "reading_m": [10.0, 30.0, 22.0, 12.0]}
    assert placed({**columns, "film_time": ["0:40", "2:05", "3:00", "3:20"]}, end_reading_m=30.0)[1] == []


def test_other_things_in_a_stretch_passed_before_suggest_it_and_widen_the_radius() -> None:
    """Without a fix nobody knows where the second push began: it is said so, and the later places are unsure by metres."""
    columns = log(slipped_m=14.0, rows=6)
    places, told = placed(columns, end_reading_m=21.0)
    assert len(told) == 1
    assert "went back from 18.0 to 10.0 m at film time 3:00" in told[0]
    assert "nobody knows well" in told[0]
    sigma = places.observations["sigma_m"].to_numpy()
    assert sigma[:3].max() < 0.6
    assert sigma[3:].min() > 2.0
    off = np.abs(places.observations["measure_m"].to_numpy() - TRUE_M[:6])
    assert (off < 3.0 * sigma).all()


def test_the_run_stays_one_run() -> None:
    """Its coverage is told once, from its launch to the end of the second push, with the note; fixes are counted together."""
    places, _ = placed(log())
    assert len(places.coverages) == 1
    row = places.coverages.iloc[0]
    assert (row["from_measure_m"], row["to_measure_m"]) == (pytest.approx(0.0, abs=0.2), pytest.approx(40.0, abs=0.2))
    assert row["notes"].count("its counter went back") == 1
    assert row["fixes"] == 1


def test_feet_are_told_in_feet() -> None:
    """The warning speaks the counter's unit."""
    assert "from 59.1 to 55.8 ft at film time 3:00" in placed(log(), unit="ft")[1][0]


def test_a_reading_without_a_film_time_goes_to_the_push_that_reached_it() -> None:
    """Beyond all that the first push showed, it can only be of the second."""
    scene = one_pipe(RUN)
    columns = log()
    rows = seen(scene, run=[*columns["run"], "A", "A"], kind=[*columns["kind"], "sag", "sag"], film_time=[*TIMES, None, None],
                reading_m=[*columns["reading_m"], 9.0, 25.0])  # fmt: skip
    found = rolled_back(scene, rows)
    pushed, moved = second_pushes(scene, rows, found)
    assert moved["push"].tolist() == [0, 0, 0, 1, 1, 1, 1, 0, 1]
    assert len(pushed.runs) == len(pushed.pushes.table) == 2
    assert as_one_run(pd.DataFrame({"notes": ["a"]}), found.iloc[:0])["notes"].tolist() == ["a"]
