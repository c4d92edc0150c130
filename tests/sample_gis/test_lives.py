"""The true lives of defects: laws that no town may break."""

import numpy as np
import pandas as pd
import pytest

from sample_gis import HARD, make_town


@pytest.fixture(scope="module")
def town():
    """500 laterals of the hard sort."""
    return make_town(21, 500, HARD)


def test_same_seed_same_town():
    """A seed gives one town; another seed another."""
    one, again, other = make_town(3, 40), make_town(3, 40), make_town(4, 40)
    pd.testing.assert_frame_equal(one.observations, again.observations)
    pd.testing.assert_frame_equal(one.states, again.states)
    assert len(one.observations) != len(other.observations)


def test_what_is_seen_is_there_and_covered(town):
    """Nobody sees what is not there, or what the camera did not pass; each sighting has its state and the other way round."""
    seen = town.states[town.states["seen"]]
    assert (seen["there"] & seen["covered"]).all()
    sightings = town.observations.dropna(subset="truth_id")
    ours, theirs = (set(zip(rows["run"], rows["truth_id"], strict=True)) for rows in (sightings, seen))
    assert ours <= theirs
    assert len(ours) > 0.98 * len(theirs)


def test_share_missed_is_the_share_asked_for(town):
    """Of what was there and covered, the share that was overlooked is that of the settings."""
    covered = town.states[town.states["there"] & town.states["covered"]]
    assert 1.0 - covered["seen"].mean() == pytest.approx(HARD.missed, abs=0.02)


def test_states_are_what_happened(town):
    """Not looked means not covered; mended means not there; new means never seen before; returned needs a work and a sighting."""
    states = town.states.assign(seen_before=town.states.groupby("defect")["seen"].cumsum() - town.states["seen"])
    by = dict(iter(states.groupby("true_state")))
    assert not by["not looked"]["covered"].any()
    assert not by["mended"]["there"].any()
    assert (by["new"]["seen_before"] == 0).all()
    for name in ("same", "worse", "returned"):
        assert (by[name]["seen_before"] > 0).all()
        assert by[name]["there"].all()
    assert set(by["returned"]["truth_id"]) <= set(town.outcomes["truth_id"])
    assert set(by["mended"]["truth_id"]) <= set(town.outcomes.loc[town.outcomes["outcome"] != "failed", "truth_id"])


def test_works_mend_their_kinds_only(town):
    """Root cutting touches roots and nothing else; only roots come back; some works fail."""
    kind = town.defects["kind"].to_numpy()[town.outcomes["defect"]]
    work = town.works["kind"].to_numpy()[town.outcomes["work"]]
    assert set(kind[work == "root cutting"]) == {"roots"}
    assert set(kind[work == "cleaning"]) <= {"grease", "deposits", "debris"}
    assert set(kind[(town.outcomes["outcome"] == "comes back").to_numpy()]) == {"roots"}
    assert (town.outcomes["outcome"] == "failed").mean() == pytest.approx(HARD.work_fails, abs=0.05)


def test_hard_town_is_as_hard_as_it_says(town):
    """Five defects a lateral (water in sags beside), two counters in five badly zeroed, two pushes in five short, half the bends
    on record.
    """
    plain = town.defects[town.defects["kind"] != "standing water"]
    assert len(plain) / 500 == pytest.approx(5.0, rel=0.05)
    assert town.runs["badly_zeroed"].mean() == pytest.approx(0.4, abs=0.04)
    assert town.runs["stopped"].mean() == pytest.approx(0.4, abs=0.04)
    bends = town.points[town.points["kind"] == "bend"]
    assert bends["recorded"].astype(float).mean() == pytest.approx(0.5, abs=0.06)
    assert town.runs.loc[town.runs["badly_zeroed"], "launch_error_m"].std() == pytest.approx(0.5, rel=0.1)


def test_runs_follow_works_and_years(town):
    """All runs fall in 2023 to 2025; new lines have one acceptance run, first; a run of reason work follows a work."""
    assert town.runs["ran_on"].between("2023-01-01", "2025-12-31").all()
    acceptance = town.runs[town.runs["reason"] == "acceptance"]
    assert acceptance["lateral"].is_unique
    first = town.runs.drop_duplicates("lateral").set_index("lateral")["reason"]
    assert (first[acceptance["lateral"]] == "acceptance").all()
    after = town.runs[town.runs["reason"] == "work"].merge(town.works, on="lateral")
    assert set(after.loc[after["done_on"] < after["ran_on"], "run"]) == set(after["run"])


def test_truth_can_be_joined(town):
    """Run, reading and kind name one observation; its true point lies on the true pipe at its true measure."""
    seen = town.observations
    assert not seen.duplicated(["run_name", "reading", "kind"]).any()
    xy = town.ground.true.point_at(seen["lateral"].to_numpy(), seen["true_measure_m"].to_numpy(float))
    assert np.abs(xy - seen[["true_x", "true_y"]].to_numpy(float)).max() < 1e-9
