"""Claims of any town are those of the design's sentences told as a plain loop."""

from datetime import date, timedelta

import pandas as pd
from dateutil.relativedelta import relativedelta
from hypothesis import given, settings
from hypothesis import strategies as st

from sewermap.history.warranty import claimable
from tests.history.warranty_told import NO_WORKS, RULES, claimed_by_hand, days, in_force, runs, warranties

START = date(2024, 2, 25)
DAYS = st.integers(0, 70).map(lambda number: START + timedelta(days=number))
MEASURES = st.integers(0, 40).map(lambda half: half / 2)
LATERALS = st.sampled_from(["L1", "L2"])
STRETCHES = st.tuples(MEASURES, MEASURES).filter(lambda ends: ends[0] != ends[1])
SPANS = {"P1M": relativedelta(months=1), "P6W": relativedelta(weeks=6), "P45D": relativedelta(days=45)}


@st.composite
def towns(draw):
    """Warranties of no work, runs, and issues that some runs of their lateral saw."""
    ours = [
        {"warranty": f"G-{at}", "lateral": draw(LATERALS), "begins_on": draw(DAYS), "term": draw(st.sampled_from(sorted(SPANS))),
         "from": min(ends), "to": max(ends)}
        for at, ends in enumerate(draw(st.lists(STRETCHES, min_size=1, max_size=4)))
    ]  # fmt: skip
    done = [
        {"run": f"R-{at}", "lateral": draw(LATERALS), "ran_on": draw(DAYS), "from": 0.0, "to": draw(MEASURES),
         "reason": draw(st.sampled_from(["check", "acceptance", "work"]))}
        for at in range(draw(st.integers(1, 7)))
    ]  # fmt: skip
    found = []
    for at in range(draw(st.integers(1, 5))):
        lateral = draw(LATERALS)
        mine = [run for run in done if run["lateral"] == lateral]
        if mine:
            saw = draw(st.lists(st.sampled_from(mine), min_size=1, max_size=3, unique_by=lambda run: run["run"]))
            found.append(
                {
                    "issue": f"I-{at}",
                    "lateral": lateral,
                    "measure": draw(MEASURES),
                    "runs": saw,
                    "days": [run["ran_on"] for run in saw],
                }
            )
    return ours, done, found


def frames(ours, done, found) -> tuple[pd.DataFrame, tuple[pd.DataFrame, pd.DataFrame], pd.DataFrame]:
    recorded = warranties(*({**row, "from_measure_m": row["from"], "to_measure_m": row["to"]} for row in ours))
    coverages = runs(*((run["run"], run["ran_on"], run["from"], run["to"], run["reason"], run["lateral"]) for run in done))
    issues = pd.DataFrame(
        [(one["issue"], one["lateral"], "roots", one["measure"], 0.1) for one in found],
        columns=["issue", "lateral", "kind", "measure_m", "sigma_m"],
    ).astype({"issue": "str", "lateral": "str", "kind": "str", "measure_m": "float64", "sigma_m": "float64"})
    sightings = pd.DataFrame(
        [(one["issue"], run["run"], run["ran_on"]) for one in found for run in one["runs"]], columns=["issue", "run", "ran_on"]
    ).astype({"issue": "str", "run": "str"})
    return recorded, (issues, sightings.assign(ran_on=days(sightings["ran_on"]))), coverages


@settings(deadline=None, max_examples=50)
@given(towns(), DAYS, st.integers(0, 1000))
def test_claims_are_those_of_a_plain_loop(town, as_of, chance) -> None:
    """Each pair of warranty and issue is claimed where the sentences of the design, told in a loop, say so, and nowhere else; the
    order of rows means nothing.
    """
    recorded, (issues, sightings), coverages = frames(*town)
    known, lengths = in_force(recorded, NO_WORKS, RULES, as_of), pd.Series({"L1": 20.0, "L2": 20.0})
    table = claimable(known, lengths, issues, sightings, coverages, as_of, RULES)
    ours, done, found = town
    wanted = [
        (row["warranty"], issue["issue"])
        for row in (one | {"ends_on": one["begins_on"] + SPANS[one["term"]]} for one in ours)
        for issue in found
        if row["begins_on"] <= as_of and claimed_by_hand(row, issue, done, as_of)
    ]
    assert list(zip(table["warranty"], table["issue"], strict=True)) == sorted(wanted)
    mixed = [rows.sample(frac=1.0, random_state=chance) for rows in (known, issues, sightings, coverages)]
    pd.testing.assert_frame_equal(claimable(mixed[0], lengths, *mixed[1:], as_of, RULES), table)
