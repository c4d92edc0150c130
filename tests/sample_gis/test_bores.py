"""A suspected cross-bore is put into the town without changing anything else."""

from dataclasses import replace

import pandas as pd

from sample_gis import DEMO, make_town


def test_rest_of_the_town_stays():
    """With and without a cross-bore all else is the same: observations, defects, states and works."""
    with_one, without = make_town(), make_town(settings=replace(DEMO, cross_bores=0))
    for name in ("observations", "defects", "states"):
        ours, theirs = getattr(with_one, name), getattr(without, name)
        ours = ours[ours["truth_id"] != "D00160"].reset_index(drop=True)
        drop = ["picture"] if name == "observations" else []
        pd.testing.assert_frame_equal(ours.drop(columns=drop), theirs.drop(columns=drop), check_dtype=False)
    pd.testing.assert_frame_equal(with_one.works, without.works)


def test_it_lies_under_the_street_and_is_seen_once():
    """Each cross-bore lies on the public side, was bored between the last two runs, and is seen by the last alone, apart."""
    town = make_town(4, 600, replace(DEMO, cross_bores=5))
    seen = town.observations[town.observations["kind"] == "cross-bore"]
    assert len(seen) == 5
    assert (seen["true_measure_m"].astype(float) < town.ground.property_line_m[seen["lateral"]]).all()
    assert seen["reading"].notna().all()
    born = town.defects.set_index("truth_id")["born_on"]
    for lateral, run, truth_id, measure_m in seen[["lateral", "run", "truth_id", "true_measure_m"]].itertuples(index=False):
        days = town.runs.loc[town.runs["lateral"] == lateral, "ran_on"]
        assert town.runs["ran_on"][run] == days.max()
        assert days.iloc[-2] <= born[truth_id] < days.max()
        others = town.observations[(town.observations["run"] == run) & (town.observations["truth_id"] != truth_id)]
        assert (others["true_measure_m"].astype(float) - measure_m).abs().min() >= 0.8
        states = town.states[town.states["truth_id"] == truth_id]
        assert states["true_state"].tolist() == ["new"]


def test_its_reading_is_in_order():
    """A cross-bore's reading lies between those noted before and after it by the same run."""
    town = make_town(4, 600, replace(DEMO, cross_bores=5))
    runs = town.observations.loc[town.observations["kind"] == "cross-bore", "run"]
    for run in runs:
        rows = town.observations[town.observations["run"] == run].astype({"true_measure_m": float})
        order = rows.sort_values("reading_m")["true_measure_m"]
        up = bool(town.runs["towards_building"][run])
        assert (order.diff().dropna() * (1 if up else -1) > -0.6).all()
