"""States against the truth of sample towns, a third of whose works fail, some defects seen twice after."""

import numpy as np
import pandas as pd
import pytest

from sample_gis import DEMO, EASY, HARD
from sewermap.history.kinds import vocabulary
from sewermap.history.life import STATES, lives, timeline
from sewermap.history.life_rules import life_rules
from tests.history.life_town import CLASS_OF, TownLives, town_lives

RULES = life_rules(vocabulary())
CLASSES = ("mended", "returned", "not looked", "not seen", "still there")
RIGHT = 0.95
TOWNS = {"demo": (20239, 1000, DEMO), "easy": (611, 1500, EASY), "hard": (612, 600, HARD)}


@pytest.fixture(scope="module", params=TOWNS)
def town(request) -> TownLives:
    """A town with true clusters, placed as the program places it."""
    return town_lives(*TOWNS[request.param])


def shares_right(expected: pd.Series, states: pd.Series) -> pd.Series:
    """Of the issues of each class, the share whose state says so."""
    right = states.replace(CLASS_OF).to_numpy(object) == expected.to_numpy(object)
    return pd.Series(right).groupby(expected.to_numpy(object)).mean()


def test_states_are_right_in_each_class(town) -> None:
    """At least 95 % of the cases of each class, each class being there."""
    shares = shares_right(town.expected, lives(*town.given, RULES).states["state"])
    assert set(shares.index) == set(CLASSES)
    assert town.expected.value_counts().min() >= 40
    assert shares.min() >= RIGHT, shares.to_dict()


@pytest.mark.parametrize("answer", STATES)
def test_one_answer_for_all_fails(town, answer) -> None:
    """The test above would catch a program that always says the same."""
    assert shares_right(town.expected, pd.Series(answer, index=town.expected.index)).min() == 0.0


def test_believing_every_work_fails(town) -> None:
    """So would one that takes each work for a success: returned ones would be called mended."""
    states = lives(*town.given, RULES).states
    believed = states["state"].where(states["work"].isna(), "mended")
    assert shares_right(town.expected, believed)["returned"] < RIGHT


def test_each_sighting_has_its_true_state(town) -> None:
    """Run by run, not only at the end: new, returned, and still there (same, worse or better) as the truth table says. The
    truth table has no better: guessed sizes go up and down.
    """
    known = lives(*town.given, RULES)
    rows = timeline(known, town.issues, town.coverages, town.works)
    seen = rows[rows["verdict"] == "seen"]
    truth = town.sightings.set_index(["issue", "run"])["true_state"]
    true_state = truth.loc[pd.MultiIndex.from_frame(seen[["issue", "run"]])].to_numpy(object)
    again = {"same": "again", "worse": "again", "better": "again"}
    right = seen["state"].replace(again).to_numpy(object) == pd.Series(true_state).replace(again).to_numpy(object)
    assert pd.Series(right).groupby(true_state).mean().min() >= RIGHT
    is_worse = true_state == "worse"
    assert (seen["state"].to_numpy(object)[is_worse] == "worse").mean() >= RIGHT
    is_same = true_state == "same"
    assert (seen["state"].to_numpy(object)[is_same] == "same").mean() >= 0.85


def test_repeats_came_back_in_truth(town) -> None:
    """Of issues called repeats, nearly all were seen after a work that was done on them; the work named is one of those."""
    states = lives(*town.given, RULES).states
    repeats = states[states["repeat"]]
    assert len(repeats) > 20
    truth = set(zip(town.town.outcomes["truth_id"], town.town.outcomes["work_name"], strict=True))
    right = [pair in truth for pair in zip(repeats["issue"], repeats["returned_after"], strict=True)]
    # A stretch that is widened by two sigma takes in some that the work did not reach.
    assert np.mean(right) >= 0.8
    assert (repeats["returned_days"] >= 0).all()
